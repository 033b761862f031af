"""The pure decisions about stock, with figures worked by hand."""

import pytest

from app.rules.stock import (
    MovementFact,
    PromiseFact,
    available,
    check_order_quantity,
    differences,
    fold,
    free_for,
    withdrawals,
)
from app.rules.verdict import Refused
from app.stores.pages.common import safe_cell


def test_available_is_usable_less_reserved_and_never_below_zero() -> None:
    assert (available(7, 3), available(3, 3), available(2, 5)) == (4, 0, 0)


def test_a_source_may_take_its_own_and_what_nobody_is_promised() -> None:
    assert free_for(usable=10, reserved=6, own=2) == 6
    # Five are promised, three are left usable: whoever comes first is given its own.
    assert free_for(usable=3, reserved=5, own=2) == 2
    assert free_for(usable=1, reserved=5, own=2) == 1


def test_the_newest_promise_falls_first() -> None:
    promises = (("new", 2), ("middle", 3), ("old", 4))
    assert withdrawals(promises, usable=9) == ()
    assert withdrawals(promises, usable=6) == (("new", 2), ("middle", 1))
    assert withdrawals(promises, usable=0) == promises


@pytest.mark.parametrize(("quantity", "words"), [(5, "Order 20"), (30, "Order 20 or 40")])
def test_orders_are_whole_packs_over_the_minimum(quantity: int, words: str) -> None:
    with pytest.raises(Refused, match=words):
        check_order_quantity("SEAL-1", quantity, pack=20, minimum_order=12)
    check_order_quantity("SEAL-1", 40, pack=20, minimum_order=12)


def test_the_fold_names_what_went_below_zero_on_the_way() -> None:
    moves = (MovementFact(1, 10, 100, 2), MovementFact(1, 10, 100, -3), MovementFact(1, 10, 100, 4))
    found = fold(moves, (PromiseFact(1, "job:J000001", 2), PromiseFact(1, "job:J000001", -2)))
    assert (found.on_hand, found.balances, found.reserved) == ({1: 3}, {(10, 100): 3}, {1: 0})
    assert found.faults == ["Lot 10 at location 100 went below zero."]


def test_a_projection_row_that_is_missing_counts_as_zero() -> None:
    assert differences("Part", {1: 0, 2: 5}, {3: 0, 2: 5}) == []
    assert differences("Part", {1: 4}, {}) == ["Part 1: stored 0, the facts give 4."]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx"])
def test_a_cell_that_would_start_a_formula_is_escaped(text: str) -> None:
    assert safe_cell(text) == f"'{text}"
    assert safe_cell(f"a{text}") == f"a{text}"
