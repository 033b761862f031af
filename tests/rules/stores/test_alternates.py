"""Approved alternates: who decides what, what may stand in, and how need moves between parts."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.stores.alternates import (
    AlternateState,
    Pair,
    approved_for,
    check_decision,
    check_proposal,
    check_substitution,
    moved,
    split,
    to_give_up,
)
from app.rules.verdict import Refused

APPROVED, PROPOSED, WITHDRAWN = AlternateState.APPROVED, AlternateState.PROPOSED, AlternateState.WITHDRAWN


def test_only_approved_pairs_count_and_both_ways_counts_both_ways() -> None:
    pairs = [
        Pair("A", "B", APPROVED), Pair("C", "A", APPROVED), Pair("D", "A", APPROVED, both_ways=True),
        Pair("A", "E", PROPOSED), Pair("A", "F", WITHDRAWN),
    ]  # fmt: skip
    assert approved_for("A", pairs) == ("B", "D")
    assert approved_for("B", pairs) == ()
    assert approved_for("C", pairs) == ("A",)


def test_a_part_is_no_alternate_of_itself_and_an_approved_pair_is_not_proposed_again() -> None:
    with pytest.raises(Refused, match="no alternate of itself"):
        check_proposal("A", "A", None)
    with pytest.raises(Refused, match="approved alternate of A already"):
        check_proposal("A", "B", APPROVED)
    check_proposal("A", "B", WITHDRAWN)
    check_proposal("A", "B", PROPOSED)


@pytest.mark.parametrize("before", [None, PROPOSED, APPROVED, WITHDRAWN])
@pytest.mark.parametrize("after", [APPROVED, WITHDRAWN])
@pytest.mark.parametrize("supervisor", [True, False])
def test_what_may_follow_what(before: AlternateState | None, after: AlternateState, supervisor: bool) -> None:
    allowed = {(PROPOSED, APPROVED, True), (PROPOSED, WITHDRAWN, True), (PROPOSED, WITHDRAWN, False),
               (APPROVED, WITHDRAWN, True), (APPROVED, WITHDRAWN, False)}  # fmt: skip
    if (before, after, supervisor) in allowed:
        check_decision("B in place of A", before, after, supervisor=supervisor)
    else:
        with pytest.raises(Refused):
            check_decision("B in place of A", before, after, supervisor=supervisor)


@pytest.mark.parametrize(
    ("pairs", "quantity", "needed", "free", "says"),
    [
        ([], 1, 1, 9, "nobody has proposed it"),
        ([Pair("A", "B", PROPOSED)], 1, 1, 9, "it is proposed"),
        ([Pair("A", "B", WITHDRAWN)], 1, 1, 9, "it is withdrawn"),
        ([Pair("B", "A", APPROVED)], 1, 1, 9, "the other way round only"),
        ([Pair("A", "B", APPROVED)], 3, 2, 9, "2 of A are still to hand out"),
        ([Pair("A", "B", APPROVED)], 2, 2, 1, "1 of B are free on the shelf, not 2"),
        ([Pair("A", "B", APPROVED)], 1, 2, 0, "None of B is free"),
    ],
)
def test_a_substitution_is_refused_with_its_reason(
    pairs: list[Pair], quantity: int, needed: int, free: int, says: str
) -> None:
    with pytest.raises(Refused, match=says):
        check_substitution("A", "B", quantity, needed, free, pairs)


def test_a_substitution_within_need_and_stock_is_let_through() -> None:
    check_substitution("A", "B", 2, 2, 2, [Pair("A", "B", APPROVED)])
    check_substitution("A", "B", 2, 2, 2, [Pair("B", "A", APPROVED, both_ways=True)])


@given(st.integers(0, 9), st.integers(0, 9), st.data())
def test_a_substitution_takes_over_planned_need_first(planned: int, added: int, data: st.DataObject) -> None:
    quantity = data.draw(st.integers(0, planned + added))
    first, then = split(quantity, planned, added, planned + added)
    assert first + then == quantity
    assert first <= planned
    assert then <= added
    assert then == 0 or first == planned


def test_more_than_is_needed_cannot_be_split() -> None:
    with pytest.raises(ValueError, match="more would stand in"):
        split(3, 1, 1, 5)


@given(
    st.dictionaries(st.sampled_from("ABC"), st.integers(0, 9)),
    st.lists(st.tuples(st.sampled_from("ABC"), st.sampled_from("ABC"), st.integers(-5, 5))),
)
def test_moving_need_never_makes_or_loses_any(needs: dict[str, int], shifts: list[tuple[str, str, int]]) -> None:
    assert sum(moved(needs, shifts).values()) == sum(needs.values())


@given(st.integers(0, 9), st.lists(st.tuples(st.sampled_from("XYZ"), st.integers(0, 5))))
def test_alternates_give_up_just_what_is_over(need: int, taken: list[tuple[str, int]]) -> None:
    given_up = sum(n for _part, n in to_give_up(need, taken))
    assert given_up == max(0, sum(n for _part, n in taken) - need)
