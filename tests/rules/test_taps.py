"""Places counted one by one: the marks on the picture are always as many as the count has pieces."""

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.items import ItemCount
from app.rules.taps import NONE, Taps, marks, with_broken, with_tap, without


@st.composite
def counts(draw: st.DrawFn) -> ItemCount:
    """Any count that can be, of 1 to 8 pieces."""
    total = draw(st.integers(1, 8))
    absent = draw(st.integers(0, total))
    out = draw(st.integers(0, total - absent))
    planned = draw(st.integers(0, out))
    damaged = draw(st.integers(0, out - planned))
    lost = draw(st.integers(0, out - planned - damaged))
    refitted = draw(st.integers(0, out - planned - damaged - lost))
    new = draw(st.integers(0, total - refitted))
    return ItemCount(total, absent, out, planned, damaged, refitted, new, 0, lost)


@st.composite
def counted_singly(draw: st.DrawFn) -> tuple[ItemCount, Taps]:
    """A count, and places tapped that it allows: no more out or back than the count has."""
    count = draw(counts())
    numbers = st.permutations(range(1, count.baseline + 1))
    out = draw(numbers)[: draw(st.integers(0, count.out))]
    back = draw(numbers)[: draw(st.integers(0, count.refitted + count.new))]
    inward = [n for n in out if n not in back][: draw(st.integers(0, count.damaged))]
    return count, Taps({n: f"o{n}" for n in out}, {n: f"b{n}" for n in back}, {n: f"s{n}" for n in inward})


@given(counted_singly())
def test_there_are_as_many_marks_of_each_kind_as_the_count_has_pieces(given_: tuple[ItemCount, Taps]) -> None:
    count, taps = given_
    borne = marks(count, taps)
    found = Counter(borne)
    assert len(borne) == count.baseline
    assert found["back"] == min(count.refitted + count.new, count.baseline)
    assert found["open"] + found["absent"] == count.baseline - found["back"] - found["struck"] - found["out"]
    assert found == Counter(marks(count, NONE)), "what was tapped moves marks, it makes none"


@given(counted_singly())
def test_a_place_counted_back_is_shown_back(given_: tuple[ItemCount, Taps]) -> None:
    count, taps = given_
    borne = marks(count, taps)
    assert all(borne[n - 1] == "back" for n in taps.back)


@given(counted_singly())
def test_the_places_survive_json_in_their_order(given_: tuple[ItemCount, Taps]) -> None:
    _count, taps = given_
    again = Taps.from_json(taps.to_json())
    assert again == taps
    assert list(again.out) == list(taps.out)


@pytest.mark.parametrize(
    ("count", "taps", "borne"),
    [
        (ItemCount(4), NONE, "open open open open"),
        (ItemCount(4, out=2), Taps({3: "a", 1: "b"}), "out open out open"),
        (ItemCount(4, absent=1, out=1), Taps({2: "a"}), "open out open absent"),
        (ItemCount(4, out=3, planned=3), Taps({1: "a", 4: "b", 2: "c"}), "struck struck open struck"),
        # One broken that was never tapped: shown on the last place, and the three tapped stay as tapped.
        (ItemCount(4, out=3, damaged=1), Taps({1: "a", 2: "b"}), "out out open struck"),
        # One broken of those that were tapped.
        (ItemCount(4, out=2, damaged=1), Taps({1: "a", 2: "b"}, {}, {2: "r"}), "out struck open open"),
        # The whole step ticked after that: the struck place stays where it was.
        (ItemCount(4, out=4, damaged=1), Taps({1: "a", 2: "b"}, {}, {2: "r"}), "out struck out out"),
        (ItemCount(4, out=4, refitted=2), Taps({}, {4: "a", 2: "b"}), "out back out back"),
        (ItemCount(4, out=4, planned=4, new=1), Taps({}, {3: "a"}), "struck struck back struck"),
        # A new one where one was missing on arrival: the device is whole.
        (ItemCount(4, absent=1, out=3, refitted=3, new=1), NONE, "back back back back"),
    ],
)
def test_each_place_bears_what_is_known_of_it(count: ItemCount, taps: Taps, borne: str) -> None:
    assert " ".join(marks(count, taps)) == borne


def test_taking_an_entry_back_leaves_the_others_and_no_empty_item() -> None:
    places = with_tap(with_tap({}, "back/screws", "down", 2, "e1"), "back/screws", "up", 2, "e2")
    assert without(places, "e1") == {"back/screws": Taps({}, {2: "e2"})}
    assert without(without(places, "e1"), "e2") == {}


def test_what_breaks_is_the_place_tapped_last() -> None:
    places = {"back/screws": Taps({4: "e1", 1: "e2"})}
    assert with_broken(places, {"back/screws": {"damaged": 1}}, "r")["back/screws"].struck == {1: "r"}
    # What was not out yet came out broken: no place that was tapped is concerned.
    assert with_broken(places, {"back/screws": {"damaged": 1, "out": 1}}, "r") == places
