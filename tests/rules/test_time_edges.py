"""To the second: what touches, what falls on the very end of a shift, what a right and a clock still allow."""

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.bench_time import Interval, Mark, bench_time, union
from app.rules.tablets import TapStanding, contact_due, right_ended, tap_refusal
from app.rules.tap_clock import FLAGGED_MS, TapTime
from tests.rules.test_bench_time import ANN, BEN, at, mark, minutes
from tests.rules.test_tablets import T0
from tests.rules.test_tap_clock import RECEIVED, after

spans = st.tuples(st.integers(1, 2), st.integers(0, 200), st.integers(0, 40))


@given(st.lists(spans, max_size=8), st.randoms())
def test_the_union_counts_every_minute_of_a_person_once_in_whatever_order(
    drawn: list[tuple[int, int, int]], order: object
) -> None:
    def interval(person: int, start: int, length: int) -> Interval:
        return Interval(person, at(8) + timedelta(minutes=start), at(8) + timedelta(minutes=start + length))

    worked = {(person, minute) for person, start, length in drawn for minute in range(start, start + length)}
    shuffled = list(drawn)
    order.shuffle(shuffled)  # type: ignore[attr-defined]
    found = union(interval(*one) for one in shuffled)
    assert found.total_s == 60 * len(worked)
    assert found == union(interval(*one) for one in sorted(drawn))


def test_intervals_that_touch_are_one() -> None:
    halves = [mark(ANN, "open", 8), mark(ANN, "pause", 8, 10), mark(ANN, "open", 8, 10), mark(ANN, "close", 8, 20)]
    assert bench_time(halves, (), at(23)).intervals == (Interval(ANN, at(8), at(8, 20)),)


def test_who_begins_at_the_very_end_of_the_shift_works_on() -> None:
    assert minutes([mark(ANN, "open", 16)], at(17), (at(16),)) == 60


def test_a_cure_of_no_length_interrupts_nothing() -> None:
    marks = [mark(ANN, "open", 8), mark(ANN, "cure", 8, 10, at(8, 10)), mark(ANN, "close", 8, 20)]
    assert minutes(marks) == 20


def test_a_cure_that_ended_before_a_shift_end_counts_for_its_own_person() -> None:
    marks = [
        mark(ANN, "open", 15), mark(BEN, "open", 15), mark(ANN, "cure", 15, 10, at(15, 30)),
        mark(BEN, "cure", 15, 10, at(16, 30)),
    ]  # fmt: skip
    found = bench_time(marks, (at(16),), at(20))
    assert (found.person_s(ANN), found.person_s(BEN)) == (40 * 60, 10 * 60)


def test_a_mark_without_a_zone_is_an_error_of_the_caller_wherever_it_stands() -> None:
    with pytest.raises(ValueError, match="zone"):
        Mark(ANN, at(8), "cure", at(9).replace(tzinfo=None))
    with pytest.raises(ValueError, match="zone"):
        bench_time([], (), at(8).replace(tzinfo=None))


# Clocks of a tablet ----------------------------------------------------------------------------------------------


def test_a_tap_of_thirty_days_ago_is_still_believed() -> None:
    month = 30 * 24 * 3_600_000
    assert after(month, 0) == TapTime(RECEIVED - timedelta(days=30), 0, "")
    assert after(month + 1, 0).at == RECEIVED


def test_the_largest_disagreement_is_told() -> None:
    # The clocks differ by 10 s, and the order by 9 minutes.
    by_order = after(70_000, 60_000, life="a", not_before=RECEIVED + timedelta(minutes=-1, seconds=540))
    assert (by_order.skew_ms, by_order.by) == (540_000, "order")
    by_clock = after(660_000, 60_000, life="a", not_before=RECEIVED - timedelta(seconds=50))
    assert (by_clock.skew_ms, by_clock.by) == (600_000, "wall clock")


def test_up_to_two_seconds_nobody_is_named() -> None:
    assert (after(60_000 + FLAGGED_MS, 60_000, life="a").by, FLAGGED_MS) == ("", 2_000)
    assert after(60_001 + FLAGGED_MS, 60_000, life="a").by == "wall clock"


# The right to tap ------------------------------------------------------------------------------------------------

GOOD = TapStanding(True, True, False, False, None, T0)


def test_a_right_lasts_five_minutes_after_signing_out_and_a_day_after_it_ran_out() -> None:
    second = timedelta(seconds=1)
    out = TapStanding(True, True, False, False, T0, T0 + timedelta(hours=8))
    assert tap_refusal("Ines", out, T0 + timedelta(minutes=5)) == ""
    assert "after Ines had signed out" in tap_refusal("Ines", out, T0 + timedelta(minutes=5) + second)
    assert tap_refusal("Ines", GOOD, T0 + timedelta(hours=24)) == ""
    assert "long after the sign-in of Ines" in tap_refusal("Ines", GOOD, T0 + timedelta(hours=24) + second)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"active": False}, "Ines has been deactivated"),
        ({"tablet_revoked": True}, "This tablet has been revoked"),
        ({"revoked": True}, "The sign-in of Ines that this was tapped under has been ended"),
        ({"at_bench": False}, "Ines no longer works at the bench"),
    ],
)
def test_an_ended_right_says_what_ended_it(change: dict[str, bool], words: str) -> None:
    held = {
        "active": True, "at_bench": True, "revoked": False, "tablet_revoked": False,
        "signed_out_at": None, "expires_at": T0,
    }  # fmt: skip
    standing = TapStanding(**{**held, **change})  # type: ignore[arg-type]
    assert right_ended("Ines", standing).startswith(words)
    assert tap_refusal("Ines", standing, T0) == right_ended("Ines", standing)


def test_a_single_entry_that_begins_to_wait_is_noted() -> None:
    assert contact_due(T0, 0, T0, 1)
    assert contact_due(T0, 1, T0, 0)
    assert not contact_due(T0, 1, T0, 2)
