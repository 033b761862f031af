"""Cycle counts: what is due by value class, blind counts counted again, and how right the book was."""

import re
from collections.abc import Callable
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.platform.db import Database
from app.rules.stores.cycle_count import CountDays, accuracy, due_on, places_due, stands
from app.stores import queries
from tests.stores.shop import TODAY, faults, level, receive
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]
DAY = date(2026, 3, 2)


def test_a_part_is_due_after_the_days_of_its_class() -> None:
    days = CountDays(30, 91, 365)
    assert [days.of(c) for c in ("A", "B", "C", "")] == [30, 91, 365, 365]
    assert due_on(None, DAY, 30) == date(2026, 4, 1)
    assert due_on(date(2026, 3, 20), DAY, 30) == date(2026, 4, 19)


def test_places_come_the_longest_overdue_first() -> None:
    rows = [(1, "A", DAY), (1, "C", DAY + timedelta(90)), (2, "B", DAY - timedelta(3)), (3, "A", DAY + timedelta(1))]
    found = places_due(rows, DAY)
    assert [(p.location_id, p.parts, p.by_class) for p in found] == [(2, 1, {"B": 1}), (1, 1, {"A": 1})]


@given(counts=st.lists(st.integers(0, 4), max_size=5), book=st.integers(0, 4))
def test_a_count_stands_when_it_agrees_with_the_book_or_with_the_one_before(counts: list[int], book: int) -> None:
    expected = bool(counts) and (counts[-1] == book or (len(counts) > 1 and counts[-2] == counts[-1]))
    assert stands(counts, book) is expected


def test_accuracy_is_lots_that_agreed_of_lots_counted() -> None:
    found = accuracy([(DAY, 5, 5), (DAY, 3, 4), (DAY + timedelta(40), 2, 2)])
    assert [(m.month, m.counted, m.agreed, m.pieces_off) for m in found] == [("2026-03", 2, 1, 1), ("2026-04", 1, 1, 0)]
    assert found[0].share == pytest.approx(0.5)


def begin(clerk: Visitor) -> Page:
    """Open the first count that the plan asks for."""
    return clerk.open("/stores/count-plan").form("/stocktakes").submit()


def test_the_plan_opens_a_blind_count_that_does_not_tell_the_book(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        receive(session, "DISP-1", 4711, "D1")
    clerk = visit("stores")
    clerk.open("/stores/count-plan").form("/stores/count-plan").submit(days_c="1")
    taken = begin(clerk)
    assert taken.path == "/stocktakes/1"
    assert "A blind count" in taken.words
    # Not in the page's text as a whole: an id that is made anew each time may have any four digits in a row.
    told = [taken.words, *(str(value) for tag in taken.soup.find_all(True) for value in tag.attrs.values())]
    assert not [words for words in told if re.search(r"(?<![0-9a-f-])4711(?![0-9a-f-])", words)]
    assert "Go on with stocktake 1" in clerk.open("/stores/count-plan").words


def test_a_difference_is_counted_again_then_told_then_posted_with_its_reason(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        lot = receive(session, "DISP-1", 5, "D1")
    clerk = visit("stores")
    clerk.open("/stores/count-plan").form("/stores/count-plan").submit(days_c="1")
    taken = begin(clerk)
    once = taken.form("/blind").submit(None, **{f"counted-{lot}": "4", "do": "post"})
    assert "Count again" in once.words
    assert "Book has" not in once.words
    assert once.form("/blind").values[f"counted-{lot}"] == [""]
    assert "Before it can be posted: 1 lot to count again." in once.words
    twice = once.form("/blind").submit(None, **{f"counted-{lot}": "4", "do": "post"})
    assert "Book has 5, −1" in twice.words
    assert level(shop, "DISP-1").on_hand == 5
    assert "Before it can be posted: 1 difference to explain." in twice.words
    done = twice.form("/blind").submit(None, **{f"reason-{lot}": "One cracked", "do": "post"})
    assert "The differences are count adjustments now." in done.words
    assert level(shop, "DISP-1").on_hand == 4
    assert "0 %" in clerk.open("/stores/accuracy").words
    assert faults(shop) == []


def test_a_second_count_that_agrees_with_the_book_ends_it(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        lot = receive(session, "DISP-1", 5, "D1")
    clerk = visit("stores")
    clerk.open("/stores/count-plan").form("/stores/count-plan").submit(days_c="1")
    once = begin(clerk).form("/blind").submit(None, **{f"counted-{lot}": "4", "do": "post"})
    done = once.form("/blind").submit(None, **{f"counted-{lot}": "5", "do": "post"})
    assert "Posted" in done.words
    assert level(shop, "DISP-1").on_hand == 5
    assert "100 %" in clerk.open("/stores/accuracy").words
    with shop.read() as session:
        assert queries.count_plan(session, TODAY).due == ()


def test_stale_days_and_a_wrong_kind_of_count_are_refused(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        lot = receive(session, "DISP-1", 5, "D1")
    clerk = visit("stores")
    stale = clerk.open("/stores/count-plan").form("/stores/count-plan")
    clerk.open("/stores/count-plan").form("/stores/count-plan").submit(days_a="14")
    stale.values["days_a"] = ["20"]
    assert stale.submit().status == 409
    clerk.open("/stores/count-plan").form("/stores/count-plan").submit(days_c="1")
    taken = begin(clerk)
    values = taken.form("/blind").values
    refused = clerk.post("/stocktakes/1", {**values, f"book-{lot}": "5", f"counted-{lot}": "5", "do": "post"})
    assert refused.status == 409
    assert "This is a blind count." in refused.words
