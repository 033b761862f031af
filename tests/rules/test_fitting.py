"""Which lots new parts are drawn from: a part's own first, an alternate's as far as it may, a set-aside one never."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.fitting import Fitted, LotInHand, SetAside, check_not_aside, draw, with_alternates
from app.rules.scanned import Scanned, _meant_for
from app.rules.verdict import Refused


def hand(own: int, other: int, most: int) -> list[LotInHand]:
    """What is in hand for part W: lots of its own and of the alternate A, of which ``most`` may stand in."""
    lots = {"W": [LotInHand(1, "L1", own)], "A": [LotInHand(2, "L2", other)]}
    return with_alternates(lots, {("W", "A"): most})["W"]


def test_the_parts_own_lots_go_first_and_the_alternate_says_what_it_stands_in_for() -> None:
    assert draw("k", "W", 3, hand(2, 5, 4), {}) == [
        Fitted("k", "W", 1, "L1", 2),
        Fitted("k", "A", 2, "L2", 1, "", "W"),
    ]


def test_two_items_of_one_step_share_what_the_alternate_may_and_what_lies_there() -> None:
    taken: dict[tuple[str, int | str], int] = {}
    lots = hand(0, 3, 2)
    own = [LotInHand(2, "L2", 3)]
    assert sum(f.count for f in draw("a", "W", 1, lots, taken)) == 1
    assert sum(f.count for f in draw("b", "A", 1, own, taken)) == 1
    assert sum(f.count for f in draw("c", "W", 5, lots, taken)) == 1


def test_serials_of_an_alternate_are_drawn_one_by_one() -> None:
    lots = with_alternates({"A": [LotInHand(2, "L2", 2, ("S1", "S2"))]}, {("W", "A"): 2})["W"]
    assert [(f.part, f.serial, f.instead_of) for f in draw("k", "W", 2, lots, {})] == [
        ("A", "S1", "W"),
        ("A", "S2", "W"),
    ]


@given(st.integers(0, 9), st.integers(0, 9), st.integers(0, 9), st.integers(1, 20))
def test_never_more_than_is_there_nor_than_the_alternate_may(own: int, other: int, most: int, count: int) -> None:
    found = draw("k", "W", count, hand(own, other, most), {})
    by_part = {part: sum(f.count for f in found if f.part == part) for part in ("W", "A")}
    assert by_part["W"] == min(own, count)
    assert by_part["A"] == min(count - by_part["W"], other, most)


def test_a_set_aside_lot_is_refused_and_another_in_hand_is_named() -> None:
    bad, good = LotInHand(1, "L1", 1, aside="Notice 14."), LotInHand(2, "L2", 1)
    fitted = draw("k", "W", 1, [bad], {})
    with pytest.raises(
        SetAside, match=r"Lot L1 of W was set aside: Notice 14\. Do not fit it\. Bring it back to stores"
    ):
        check_not_aside(fitted, [bad])
    with pytest.raises(Refused, match="Scan the label of lot L2"):
        check_not_aside(fitted, [bad, good])
    check_not_aside(draw("k", "W", 1, [good, bad], {}), [good, bad])


def test_a_scanned_alternate_is_meant_for_the_part_it_stands_in_for() -> None:
    in_hand = with_alternates({"A": [LotInHand(2, "L2", 2)]}, {("W", "A"): 2})
    assert _meant_for("A", "L2", {"W": 1}, in_hand) == "W"
    assert _meant_for("A", "L2", {"W": 1, "A": 1}, in_hand) == "A"
    assert _meant_for(*Scanned("X", "L2"), {"W": 1}, in_hand) == "X"
