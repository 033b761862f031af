"""What may go out of the shelf, to the piece, and what the fold of the ledger finds."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.stock import MovementFact, PromiseFact, check_hand_out, check_order_quantity, differences, fold, free_for
from app.rules.stock import withdrawals as falls
from app.rules.verdict import Refused

few = st.integers(0, 30)


def test_the_last_free_piece_may_go_out_and_not_one_more() -> None:
    # 10 usable, 6 promised, 2 of those to this source: 4 are promised elsewhere, so 6 may go out here.
    check_hand_out("F-1", 6, usable=10, reserved=6, own=2)
    with pytest.raises(Refused, match="F-1: 7 picked, and only 6 may go out here") as refusal:
        check_hand_out("F-1", 7, usable=10, reserved=6, own=2)
    assert refusal.value.field == "quantity"
    check_hand_out("F-1", 10, usable=10, reserved=0, own=0)
    with pytest.raises(Refused, match="F-1: 11 picked, 10 usable on the shelf"):
        check_hand_out("F-1", 11, usable=10, reserved=0, own=0)


@given(usable=few, others=few, own=few)
def test_what_is_free_for_one_leaves_the_others_theirs_while_it_lasts(usable: int, others: int, own: int) -> None:
    free = free_for(usable, others + own, own)
    assert 0 <= free <= usable
    assert free >= min(own, usable)
    if usable >= others + own:
        assert usable - free >= min(others, usable - own)


@given(st.lists(st.integers(0, 9), max_size=6), st.integers(0, 40))
def test_no_more_promises_fall_than_must(quantities: list[int], usable: int) -> None:
    promises = [(f"job:{n}", quantity) for n, quantity in enumerate(quantities)]
    fallen = falls(promises, usable)
    assert sum(taken for _source, taken in fallen) == max(sum(quantities) - usable, 0)
    assert all(0 < taken <= dict(promises)[source] for source, taken in fallen)
    # Newest first: only the last one that falls may keep a part of its promise.
    assert [source for source, _taken in fallen] == [source for source, q in promises if q][: len(fallen)]
    assert all(taken == dict(promises)[source] for source, taken in fallen[:-1])


@pytest.mark.parametrize(
    ("pack", "minimum", "least"), [(1, 0, 1), (1, 7, 7), (10, 0, 10), (10, 10, 10), (10, 11, 20), (25, 24, 25)]
)
def test_the_least_order_is_the_minimum_rounded_up_to_packs(pack: int, minimum: int, least: int) -> None:
    check_order_quantity("F-1", least, pack, minimum)
    check_order_quantity("F-1", least + pack, pack, minimum)
    with pytest.raises(Refused, match=f"orders of {least} or more"):
        check_order_quantity("F-1", least - 1, pack, minimum)
    if pack > 1:
        with pytest.raises(Refused, match=f"Order {least} or {least + pack}"):
            check_order_quantity("F-1", least + 1, pack, minimum)


def test_the_fold_keeps_every_source_and_every_place_by_itself() -> None:
    moves = (MovementFact(1, 10, 100, 5), MovementFact(1, 11, 100, 2), MovementFact(2, 12, 101, 1))
    promises = (PromiseFact(1, "job:J1", 2), PromiseFact(1, "job:J2", 1), PromiseFact(1, "job:J1", -1))
    found = fold(moves, promises)
    assert found.on_hand == {1: 7, 2: 1}
    assert found.balances == {(10, 100): 5, (11, 100): 2, (12, 101): 1}
    assert found.reserved == {1: 2}
    assert found.reservations == {(1, "job:J1"): 1, (1, "job:J2"): 1}
    assert found.faults == []


def test_a_shelf_or_a_promise_that_falls_to_nothing_is_no_fault_and_below_it_is() -> None:
    emptied = fold((MovementFact(1, 10, 100, 2), MovementFact(1, 10, 100, -2)), (PromiseFact(1, "job:J1", 1),))
    assert emptied.faults == []
    below = fold((), (PromiseFact(1, "job:J1", 1), PromiseFact(1, "job:J1", -2)))
    assert below.faults == ["The promise of part 1 to job:J1 went below zero."]
    first = fold((MovementFact(1, 10, 100, -1),), ())
    assert first.faults == ["Lot 10 at location 100 went below zero."]


def test_differences_are_named_in_order() -> None:
    facts, stored = {"b": 1, "a": 2, (3, 4): 1}, {"c": 1}
    assert differences("Lot", facts, stored) == [
        "Lot (3, 4): stored 0, the facts give 1.",
        "Lot a: stored 0, the facts give 2.",
        "Lot b: stored 0, the facts give 1.",
        "Lot c: stored 1, the facts give 0.",
    ]
