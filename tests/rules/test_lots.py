"""Picking lots: first expired first out, then first in, never what has expired."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.lots import LotPick, ShelfLot, choose_lots
from app.rules.verdict import Refused

TODAY = date(2031, 5, 20)


def days(count: int) -> date:
    return TODAY + timedelta(days=count)


def test_what_expires_first_goes_first_then_what_came_first() -> None:
    lots = [
        ShelfLot(1, 5, days(-90)),
        ShelfLot(2, 5, days(-10), days(30)),
        ShelfLot(3, 5, days(-20), days(30)),
        ShelfLot(4, 5, days(-5), days(10)),
        ShelfLot(5, 5, days(-80)),
    ]
    assert choose_lots(lots, 18, TODAY) == (LotPick(4, 5), LotPick(3, 5), LotPick(2, 5), LotPick(1, 3))


def test_a_lot_may_be_used_on_its_last_day_and_not_after() -> None:
    lots = [ShelfLot(1, 1, days(-9), days(0)), ShelfLot(2, 9, days(-9), days(-1))]
    assert choose_lots(lots, 1, TODAY) == (LotPick(1, 1),)


def test_a_shortage_is_refused_in_words() -> None:
    lots = [ShelfLot(1, 4, days(-9)), ShelfLot(2, 3, days(-9), days(-1))]
    with pytest.raises(Refused) as refusal:
        choose_lots(lots, 6, TODAY)
    assert refusal.value.reason == (
        "6 needed, 4 are free on the shelf: 2 short. 3 more have expired and must not be used."
    )


def test_an_empty_shelf_is_refused_in_words() -> None:
    with pytest.raises(Refused, match="1 needed, none is free on the shelf: 1 short"):
        choose_lots([], 1, TODAY)


def test_a_pick_of_nothing_is_an_error_of_the_caller() -> None:
    with pytest.raises(ValueError, match="at least one"):
        choose_lots([], 0, TODAY)


@st.composite
def shelves(draw: st.DrawFn) -> list[ShelfLot]:
    return [
        ShelfLot(
            n,
            draw(st.integers(0, 9)),
            days(-draw(st.integers(0, 99))),
            draw(st.none() | st.integers(-20, 99).map(days)),
        )
        for n in range(draw(st.integers(0, 8)))
    ]


@given(shelves(), st.integers(1, 40))
def test_a_pick_is_whole_usable_and_leaves_nothing_older_behind(lots: list[ShelfLot], quantity: int) -> None:
    by_id = {lot.lot_id: lot for lot in lots}
    usable = [lot for lot in lots if lot.expires is None or lot.expires >= TODAY]
    if sum(lot.quantity for lot in usable) < quantity:
        with pytest.raises(Refused, match="short"):
            choose_lots(lots, quantity, TODAY)
        return
    picks = choose_lots(lots, quantity, TODAY)
    assert picks == choose_lots(list(reversed(lots)), quantity, TODAY)
    assert sum(pick.quantity for pick in picks) == quantity
    taken = {pick.lot_id: pick.quantity for pick in picks}
    assert all(0 < count <= by_id[lot].quantity for lot, count in taken.items())
    assert all(by_id[lot] in usable for lot in taken)
    latest = max(by_id[lot].expires or date.max for lot in taken)
    for lot in usable:
        if (lot.expires or date.max) < latest:
            assert taken.get(lot.lot_id, 0) == lot.quantity
