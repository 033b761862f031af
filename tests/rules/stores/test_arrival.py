"""When an order comes: suppliers' dates moved by their usual lateness, wide while little is known of them."""

from datetime import date, timedelta
from math import isclose, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.stores.arrival import Awaited, Lateness, arrival, lateness
from app.rules.stores.lead_time import lead_time

MONDAY = date(2027, 3, 1)
NAMED = Awaited(MONDAY, date(2027, 3, 15), named=True, supplier="Kelp Spares")
OPEN = Awaited(MONDAY, date(2027, 3, 11), named=False, supplier="Kelp Spares")


def days(count: int) -> date:
    return MONDAY + timedelta(days=count)


def test_a_supplier_nobody_knows_is_neither_late_nor_sure() -> None:
    assert lateness(12) == Lateness(0, 3, 0)
    with pytest.raises(ValueError, match="negative"):
        lateness(-1)


def test_lateness_leans_on_no_lateness_while_few_orders_have_come() -> None:
    # By hand: n = 3, k = 3, mean 4, prior spread 12/4 = 3: (3·4)/6 = 2; (0 + 3·3/6·16 + 3·9)/6 = 8.5.
    found = lateness(12, [4, 4, 4])
    assert (found.mean_days, found.orders) == (2, 3)
    assert isclose(found.sd_days, sqrt(8.5))
    assert lateness(12, [4] * 30).mean_days > 3.6


def test_a_named_day_of_a_late_supplier_is_moved_and_says_why() -> None:
    found = arrival(NAMED, lead_time(12), lateness(12, [3, 2, 4, 3, 3, 2, 4, 3, 3]), MONDAY)
    assert days(14) < found.likely <= days(17)
    assert found.likely < found.late
    assert found.words == (
        "Kelp Spares says Monday 15 March 2027; by its last 9 orders it comes 2.2 days late."
    )  # fmt: skip
    punctual = arrival(NAMED, lead_time(12), lateness(12, [0] * 9), MONDAY)
    assert punctual.late < found.late
    assert punctual.words.endswith("by its last 9 orders it comes about on the day.")


def test_without_a_named_day_the_learnt_lead_time_is_counted_from_the_sending() -> None:
    slow = arrival(OPEN, lead_time(10, [15, 16, 14, 15, 15, 16]), lateness(10), MONDAY)
    assert days(12) <= slow.likely <= days(14)  # (6·15.17 + 3·10)/9 = 13.4 days, a little less in the middle.
    assert slow.late > days(14)
    assert slow.words == "Kelp Spares has named no day; after 6 deliveries the part takes 13 days."
    unknown = arrival(OPEN, lead_time(10), lateness(10), MONDAY)
    assert (unknown.earliest, unknown.late) < (days(10), days(14))
    assert unknown.words.endswith("the catalogue's lead time holds.")


def test_few_orders_leave_it_wide_and_many_make_it_narrow() -> None:
    few = arrival(NAMED, lead_time(12), lateness(12, [1]), MONDAY)
    many = arrival(NAMED, lead_time(12), lateness(12, [1] * 40), MONDAY)
    assert (few.late - few.earliest) > (many.late - many.earliest)


def test_an_overdue_order_may_come_today_and_a_lost_one_is_to_be_asked_for() -> None:
    overdue = arrival(NAMED, lead_time(12), lateness(12, [0, 1, 2]), days(16))
    assert overdue.earliest == days(16)
    assert overdue.late > days(16)
    lost = arrival(NAMED, lead_time(12), lateness(12, [0, 1, 2]), days(60))
    assert lost.earliest == days(60) < lost.likely < lost.late
    assert lost.words == "It is long overdue (Monday 15 March 2027): ask Kelp Spares."


@given(
    st.integers(1, 90), st.booleans(), st.integers(0, 120), st.integers(0, 60),
    st.lists(st.integers(-5, 30), max_size=12), st.lists(st.floats(0, 90), max_size=12),
)  # fmt: skip
def test_the_days_stand_in_order_and_none_has_passed(
    due: int, named: bool, waited: int, stated: int, late: list[float], receipts: list[float]
) -> None:
    order = Awaited(MONDAY, days(due), named, "Kelp Spares")
    found = arrival(order, lead_time(stated, receipts), lateness(stated, late), days(waited))
    assert days(waited) <= found.earliest <= found.likely <= found.late


@given(st.lists(st.integers(-3, 10), min_size=1, max_size=10), st.integers(1, 10))
def test_a_later_supplier_never_makes_the_day_earlier(late: list[int], more: int) -> None:
    usual, later = (lateness(12, [day + off for day in late]) for off in (0, more))
    # The spread is held, so that only the lateness differs.
    later = Lateness(later.mean_days, usual.sd_days, later.orders)
    assert arrival(NAMED, lead_time(12), usual, MONDAY).likely <= arrival(NAMED, lead_time(12), later, MONDAY).likely
