"""Stocktake of one place: counted, explained, posted; a count that changed meanwhile is shown."""

from collections.abc import Callable

from app.platform.db import Database
from app.stores import actions, queries
from tests.stores.shop import faults, kit, level, receive, stamp
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]


def begin(clerk: Visitor, place: str) -> Page:
    """Open a stocktake of a place, by its code."""
    page = clerk.open("/stocktakes")
    option = next(o for o in page.soup.find_all("option") if place in o.get_text())
    return page.form("/stocktakes").submit(location_id=option["value"])


def test_a_difference_needs_a_reason_and_is_posted(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        lot = receive(session, "DISP-1", 5, "D1")
    taken = begin(visit("stores"), "A-01")
    bare = taken.form("/stocktakes/1").submit(None, **{f"counted-{lot}": 4, "do": "post"})
    assert bare.status == 409
    assert "The book has 5 and you counted 4. Say why" in bare.words
    assert bare.form("/stocktakes/1").values[f"counted-{lot}"] == ["4"]
    done = bare.form("/stocktakes/1").submit(None, **{f"reason-{lot}": "One cracked, thrown away", "do": "post"})
    assert "The differences are count adjustments now." in done.words
    assert level(shop, "DISP-1").on_hand == 4
    with shop.read() as session:
        move = queries.movements_of(session, "stocktake:1")[0]
    assert (move.kind, move.quantity, move.reason) == ("count adjustment", -1, "One cracked, thrown away")
    assert faults(shop) == []


def test_every_lot_must_be_counted(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        lot = receive(session, "SCRW-1", 5, "S1")
        receive(session, "CELL-1", 2, "C1")
    taken = begin(visit("stores"), "B-01")
    refused = taken.form("/stocktakes/1").submit(None, **{f"counted-{lot}": 5, "do": "post"})
    assert "CELL-1, lot C1, is not counted. Enter 0 when none is there." in refused.words


def test_a_count_that_changed_meanwhile_is_shown(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        lot = receive(session, "DISP-1", 5, "D1")
    taken = begin(visit("stores"), "A-01")
    with shop.write() as session:
        kit(session, "job:J000009", {"DISP-1": 2})
    refused = taken.form("/stocktakes/1").submit(None, **{f"counted-{lot}": 5, "do": "post"})
    assert refused.status == 409
    assert "The book of lot D1 went from 5 to 3 while you counted." in refused.words
    assert refused.form("/stocktakes/1").values[f"book-{lot}"] == ["3"]
    done = refused.form("/stocktakes/1").submit(None, **{f"counted-{lot}": 3, "do": "post"})
    assert "Posted" in done.words
    assert level(shop, "DISP-1").on_hand == 3


def test_counts_are_kept_and_gone_on_with(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        lot = receive(session, "DISP-1", 5, "D1")
    kept = begin(visit("stores"), "A-01").form("/stocktakes/1").submit(None, **{f"counted-{lot}": 4, "do": "keep"})
    assert kept.form("/stocktakes/1").values[f"counted-{lot}"] == ["4"]
    assert level(shop, "DISP-1").on_hand == 5
    with shop.write() as session:
        kit(session, "job:J000009", {"DISP-1": 1})
    later = visit("supervisor").open("/stocktakes/1")
    assert "was 5 when you counted" in later.words


def test_a_stale_count_is_refused(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        lot = receive(session, "DISP-1", 5, "D1")
    taken = begin(visit("stores"), "A-01")
    taken.form("/stocktakes/1").submit(None, **{f"counted-{lot}": 4, "do": "keep"})
    stale = taken.form("/stocktakes/1")
    stale.values["submission_id"] = [stamp()["entry_id"]]
    refused = stale.submit(None, **{f"counted-{lot}": 3, "do": "keep"})
    assert refused.status == 409
    assert "Stocktake 1 changed since this page was shown." in refused.words


def test_a_found_lot_is_added_and_an_unknown_one_is_refused(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        lot = receive(session, "DISP-1", 5, "D1")
    taken = begin(visit("stores"), "C-01")
    assert "The book has nothing here" in taken.words
    unknown = taken.form("/found").submit(found_part="DISP-1", found_lot="D9", found_count=1)
    assert unknown.status == 409
    assert "No lot D9 of DISP-1 was ever received." in unknown.words
    found = unknown.form("/found").submit(found_part="DISP-1", found_lot="D1", found_count=2)
    done = found.form("/stocktakes/1").submit(do="post")
    assert "Posted" in done.words
    assert level(shop, "DISP-1").on_hand == 7
    with shop.read() as session:
        assert {x.location: x.on_hand for x in queries.lots_of(session, ["DISP-1"])} == {"A-01": 5, "C-01": 2}
    assert lot
    assert faults(shop) == []


def test_a_count_lets_the_newest_promise_fall(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        lot = receive(session, "DISP-1", 3, "D1")
        actions.reserve(session, "job:J000001", {"DISP-1": 2}, **stamp())
        actions.reserve(session, "job:J000002", {"DISP-1": 1}, **stamp())
    taken = begin(visit("stores"), "A-01")
    taken.form("/stocktakes/1").submit(None, **{f"counted-{lot}": 1, f"reason-{lot}": "Two broken", "do": "post"})
    with shop.read() as session:
        assert queries.reserved_for(session, "job:J000002") == {}
        assert queries.reserved_for(session, "job:J000001") == {"DISP-1": 1}
    assert faults(shop) == []


def test_the_count_sheet_leaves_the_book_out(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        receive(session, "DISP-1", 4711, "D1")
    clerk = visit("stores")
    begin(clerk, "A-01")
    sheet = clerk.open("/stocktakes/1/sheet")
    assert "D1" in sheet.words
    assert "4711" not in sheet.words


def test_one_place_is_counted_once_at_a_time_and_may_be_cancelled(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    taken = begin(clerk, "A-01")
    assert "is being counted already" in begin(clerk, "A-01").words
    assert "Cancelled. Nothing was changed." in taken.form("/cancel").submit().words
    assert begin(clerk, "A-01").path == "/stocktakes/2"
