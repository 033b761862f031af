"""Bench time worked by hand, over a change of clocks too, and properties that must always hold."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.bench_time import Interval, Mark, MarkKind, bench_time, shift_ends, union

HELSINKI = ZoneInfo("Europe/Helsinki")
ANN, BEN = 1, 2


def at(hour: int, minute: int = 0, day: int = 6) -> datetime:
    return datetime(2031, 5, day, hour, minute, tzinfo=UTC)


def mark(person: int, kind: MarkKind, hour: int, minute: int = 0, until: datetime | None = None) -> Mark:
    return Mark(person, at(hour, minute), kind, until)


def minutes(marks: list[Mark], now: datetime | None = None, ends: tuple[datetime, ...] = ()) -> float:
    return bench_time(marks, ends, now or at(23)).total_s / 60


def test_a_pause_is_left_out() -> None:
    marks = [mark(ANN, "open", 8), mark(ANN, "pause", 8, 20), mark(ANN, "open", 9), mark(ANN, "close", 9, 5)]
    assert minutes(marks) == 25


def test_an_open_interval_counts_up_to_now() -> None:
    assert minutes([mark(ANN, "open", 8)], at(8, 7)) == 7


def test_a_tick_opens_when_nothing_is_open_and_else_changes_nothing() -> None:
    marks = [
        mark(ANN, "tick", 8),
        mark(ANN, "tick", 8, 10),
        mark(ANN, "pause", 8, 30),
        mark(ANN, "tick", 9),
    ]
    assert minutes(marks, at(9, 1)) == 31


def test_a_hold_by_anybody_stops_everybody() -> None:
    marks = [mark(ANN, "open", 8), mark(BEN, "open", 8, 10), mark(BEN, "hold", 8, 30)]
    assert minutes(marks) == 30 + 20


def test_a_pause_stops_only_the_one_who_pauses() -> None:
    marks = [mark(ANN, "open", 8), mark(BEN, "open", 8), mark(BEN, "pause", 8, 10), mark(ANN, "close", 8, 30)]
    assert minutes(marks) == 30 + 10


def test_a_takeover_closes_the_first_person_and_opens_the_second() -> None:
    times = bench_time([mark(ANN, "open", 8), mark(BEN, "takeover", 8, 45), mark(BEN, "close", 9)], (), at(23))
    assert times.intervals == (Interval(ANN, at(8), at(8, 45)), Interval(BEN, at(8, 45), at(9)))
    assert (times.person_s(ANN), times.person_s(BEN)) == (2700, 900)


def test_a_cure_is_left_out_and_work_goes_on_at_its_end() -> None:
    marks = [mark(ANN, "open", 8), mark(ANN, "cure", 8, 10, at(8, 40)), mark(ANN, "close", 8, 45)]
    assert minutes(marks) == 15


def test_a_tick_during_a_cure_opens_at_the_tick() -> None:
    marks = [
        mark(ANN, "open", 8),
        mark(ANN, "cure", 8, 10, at(8, 40)),
        mark(ANN, "tick", 8, 30),
        mark(ANN, "close", 8, 45),
    ]
    assert minutes(marks) == 10 + 15


@pytest.mark.parametrize("stop", [mark(ANN, "pause", 8, 20), mark(BEN, "hold", 8, 20), mark(ANN, "close", 8, 20)])
def test_a_stop_during_a_cure_keeps_it_from_opening_again(stop: Mark) -> None:
    marks = [mark(ANN, "open", 8), mark(ANN, "cure", 8, 10, at(8, 40)), stop]
    assert minutes(marks) == 10


def test_a_cure_over_the_shift_end_does_not_open_at_night() -> None:
    marks = [mark(ANN, "open", 15), mark(ANN, "cure", 15, 50, at(17))]
    assert minutes(marks, at(20), (at(16),)) == 50
    assert minutes(marks, at(20), (at(17),)) == 50


def test_a_cure_that_ends_before_the_shift_counts_from_there_to_its_end() -> None:
    marks = [mark(ANN, "open", 15), mark(ANN, "cure", 15, 10, at(15, 30))]
    assert minutes(marks, at(20), (at(16),)) == 10 + 30


def test_the_shift_end_closes_what_was_left_open() -> None:
    marks = [mark(ANN, "open", 15), Mark(ANN, at(7, 0, day=7), "tick"), Mark(ANN, at(7, 30, day=7), "close")]
    assert minutes(marks, at(9, 0, day=7), (at(16), at(16, 0, day=7))) == 60 + 30


def test_two_tablets_of_one_person_count_once() -> None:
    marks = [
        mark(ANN, "open", 8),
        mark(ANN, "open", 8, 5),
        mark(ANN, "tick", 8, 6),
        mark(ANN, "pause", 8, 10),
    ]
    assert minutes(marks) == 10


def test_two_jobs_of_one_person_count_once() -> None:
    day = union([Interval(ANN, at(8), at(9)), Interval(ANN, at(8, 30), at(9, 30)), Interval(BEN, at(8), at(8, 1))])
    assert day.total_s == 90 * 60 + 60
    assert day.person_s(ANN) == 90 * 60


def test_marks_after_now_are_not_looked_at() -> None:
    assert minutes([mark(ANN, "open", 8), mark(ANN, "pause", 9)], at(8, 30)) == 30


def test_a_night_over_the_spring_change_is_an_hour_shorter() -> None:
    # Clocks go from 03:00 to 04:00 on 30 March 2031 in Helsinki.
    start = datetime(2031, 3, 30, 1, 0, tzinfo=HELSINKI)
    end = datetime(2031, 3, 30, 6, 0, tzinfo=HELSINKI)
    assert minutes([Mark(ANN, start, "open"), Mark(ANN, end, "close")], end) == 4 * 60


def test_a_night_over_the_autumn_change_is_an_hour_longer() -> None:
    # Clocks go back from 04:00 to 03:00 on 26 October 2031 in Helsinki.
    start = datetime(2031, 10, 26, 1, 0, tzinfo=HELSINKI)
    end = datetime(2031, 10, 26, 6, 0, tzinfo=HELSINKI)
    assert minutes([Mark(ANN, start, "open"), Mark(ANN, end, "close")], end) == 6 * 60


def test_the_end_of_the_shift_follows_the_clock() -> None:
    ends = shift_ends(date(2031, 3, 29), date(2031, 3, 31), time(16), HELSINKI)
    assert [end.hour for end in ends] == [14, 13, 13]
    assert all(end.tzinfo is UTC for end in ends)


def test_a_skipped_local_time_is_the_moment_it_would_have_been() -> None:
    (end,) = shift_ends(date(2031, 3, 30), date(2031, 3, 30), time(3, 30), HELSINKI)
    assert end == datetime(2031, 3, 30, 1, 30, tzinfo=UTC)


def test_a_local_time_that_comes_twice_is_its_first_coming() -> None:
    (end,) = shift_ends(date(2031, 10, 26), date(2031, 10, 26), time(3, 30), HELSINKI)
    assert end == datetime(2031, 10, 26, 0, 30, tzinfo=UTC)


def test_there_are_no_shift_ends_when_the_dates_are_turned_round() -> None:
    assert shift_ends(date(2031, 3, 2), date(2031, 3, 1), time(16), HELSINKI) == ()


def test_it_refuses_times_without_a_zone_and_cures_without_an_end() -> None:
    with pytest.raises(ValueError, match="zone"):
        Mark(ANN, at(8).replace(tzinfo=None), "open")
    with pytest.raises(ValueError, match="end"):
        Mark(ANN, at(8), "cure")
    with pytest.raises(ValueError, match="end"):
        Mark(ANN, at(8), "cure", at(7))


KINDS: list[MarkKind] = ["open", "pause", "tick", "hold", "cure", "close", "takeover"]


@st.composite
def histories(draw: st.DrawFn) -> list[Mark]:
    marks = []
    for _ in range(draw(st.integers(0, 20))):
        kind = draw(st.sampled_from(KINDS))
        moment = at(0) + timedelta(minutes=draw(st.integers(0, 1000)))
        until = moment + timedelta(minutes=draw(st.integers(0, 200))) if kind == "cure" else None
        marks.append(Mark(draw(st.integers(1, 3)), moment, kind, until))
    return marks


ENDS = st.lists(st.integers(0, 1000).map(lambda m: at(0) + timedelta(minutes=m)), max_size=3)


@given(histories(), ENDS)
def test_nobody_counts_more_than_their_span_nor_twice(marks: list[Mark], ends: list[datetime]) -> None:
    now = at(20)
    times = bench_time(marks, ends, now)
    for person in (1, 2, 3):
        own = [one for one in times.intervals if one.person == person]
        begun = [one.at for one in marks if one.person == person]
        if not begun:
            assert own == []
            continue
        assert times.person_s(person) <= (now - min(begun)).total_seconds()
        assert all(min(begun) <= one.start < one.end <= now for one in own)
        assert all(one.end < two.start for one, two in pairwise(own))
    assert times.total_s == sum(times.person_s(person) for person in (1, 2, 3))


@given(histories(), ENDS)
def test_no_interval_runs_over_a_shift_end_or_a_stop(marks: list[Mark], ends: list[datetime]) -> None:
    stops = [*ends, *(one.at for one in marks if one.kind in ("hold", "close"))]
    done = bench_time(marks, ends, at(20)).intervals
    reopened = {one.at for one in marks} | {one.until for one in marks}
    for one in done:
        assert not any(one.start < stop < one.end and stop not in reopened for stop in stops)


@given(histories(), ENDS)
def test_a_shift_end_never_adds_bench_time(marks: list[Mark], ends: list[datetime]) -> None:
    assert bench_time(marks, ends, at(20)).total_s <= bench_time(marks, (), at(20)).total_s


@given(histories(), histories())
def test_the_union_is_no_more_than_the_sum_and_no_less_than_the_larger(one: list[Mark], two: list[Mark]) -> None:
    first, second = bench_time(one, (), at(20)), bench_time(two, (), at(20))
    both = union([*first.intervals, *second.intervals])
    assert max(first.total_s, second.total_s) <= both.total_s <= first.total_s + second.total_s
