"""Which entries start and stop the bench time of a job, and what a job's entries add up to over days."""

from collections.abc import Iterable
from datetime import UTC, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from app.rules.bench_marks import job_intervals, marks_of
from app.rules.bench_time import Mark
from app.rules.counting import Event

ANN, BEN = 1, 2
SHIFT_END = time(16, 0)


def at(hour: int, minute: int = 0, day: int = 3) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


def entry(kind: str, when: datetime, who: int | None = ANN, **data: Any) -> Event:
    return Event(f"{kind}{when:%d%H%M}", kind, who, when, None, data)


def minutes(events: Iterable[Event], until: datetime | None = None, zone: Any = UTC) -> float:
    return job_intervals(events, SHIFT_END, zone, until or at(23)).total_s / 60


@pytest.mark.parametrize(
    ("kind", "marks"),
    [
        ("opened", ["open"]), ("takeover", ["takeover"]), ("paused", ["pause"]), ("hold", ["hold"]),
        ("closed", ["close"]), ("reopened", ["close"]), ("test", ["tick"]),
        *((kind, ["tick"]) for kind in ("tick", "turned", "undo", "recount", "damage", "absent", "lost", "spoiled",
                                        "leftover", "reject", "count", "place")),
        *((kind, []) for kind in ("booked", "safe", "planned", "quoted", "approved", "kit issued", "question",
                                  "also", "override", "corrected", "photo")),
    ],
)  # fmt: skip
def test_each_kind_of_entry_leaves_its_mark_or_none(kind: str, marks: list[str]) -> None:
    assert [mark.kind for mark in marks_of(entry(kind, at(8)))] == marks


def test_a_time_that_was_set_aside_and_an_entry_of_nobody_leave_no_mark() -> None:
    assert marks_of(entry("tick", at(8), clock={"skew_ms": 400_000, "aside": True})) == ()
    assert len(marks_of(entry("tick", at(8), clock={"skew_ms": 3_000}))) == 1
    assert marks_of(entry("tick", at(8), who=None)) == ()


def test_a_parts_hold_stops_nobody_and_any_other_hold_does() -> None:
    work = [entry("opened", at(8)), entry("closed", at(9))]
    assert minutes([work[0], entry("hold", at(8, 30), hold="parts"), work[1]]) == 60
    assert minutes([work[0], entry("hold", at(8, 30), hold="safety"), work[1]]) == 30


def test_the_last_release_test_ends_the_work_and_an_earlier_one_does_not() -> None:
    opened = entry("opened", at(8))
    assert minutes([opened, entry("test", at(8, 20))], at(9)) == 60
    assert minutes([opened, entry("test", at(8, 20), complete=True)], at(9)) == 20
    assert minutes([opened, entry("count", at(8, 20), complete=True)], at(9)) == 60


def test_a_cure_is_left_out_and_a_press_is_not() -> None:
    ready = at(8, 50).isoformat()
    opened, closed = entry("opened", at(8)), entry("closed", at(9))
    cure = entry("tick", at(8, 10), timer="cure", ready_at=ready)
    assert marks_of(cure) == (Mark(ANN, at(8, 10), "tick"), Mark(ANN, at(8, 10), "cure", at(8, 50)))
    assert minutes([opened, cure, closed]) == 20
    assert minutes([opened, entry("tick", at(8, 10), timer="press", ready_at=ready), closed]) == 60
    assert minutes([opened, entry("undo", at(8, 10), timer="cure", ready_at=ready), closed]) == 60


def test_a_job_without_bench_work_has_no_bench_time() -> None:
    assert minutes([]) == 0
    assert minutes([entry("booked", at(8)), entry("planned", at(9))]) == 0


def test_work_that_nobody_ended_stops_at_the_end_of_the_shift() -> None:
    assert minutes([entry("opened", at(15))], at(12, day=5)) == 60


def test_overtime_counts_up_to_midnight_and_never_through_the_night() -> None:
    assert minutes([entry("opened", at(22))], at(12, day=5)) == 120
    assert minutes([entry("opened", at(22)), entry("paused", at(23))], at(12, day=5)) == 60
    # The night's end of a day is that of its own date: the third day of work is cut like the first.
    days = [entry("opened", at(22, day=day)) for day in (3, 4, 5)]
    assert minutes(days, at(12, day=7)) == 3 * 120


def test_the_ends_of_the_day_are_those_of_the_workshops_zone() -> None:
    # Helsinki is two hours ahead of UTC in winter: 16:00 there is 14:00 UTC, midnight 22:00 UTC.
    zone = ZoneInfo("Europe/Helsinki")
    assert minutes([entry("opened", at(13))], at(12, day=5), zone) == 60
    assert minutes([entry("opened", at(21))], at(12, day=5), zone) == 60
    # 23:00 UTC on the 3rd is the 4th there: the shift's end of the 4th stops it, 15 hours later.
    assert minutes([entry("opened", at(23))], at(12, day=5), zone) == 15 * 60


def test_what_a_tablet_kept_over_night_does_not_run_through_it() -> None:
    # Tapped at 15:30 without a network and delivered the next morning, behind what another person did there.
    late = entry("tick", at(15, 30, day=3))
    record = [entry("opened", at(9, day=4), who=BEN), late, entry("closed", at(9, 10, day=4), who=BEN)]
    found = job_intervals(record, SHIFT_END, UTC, at(12, day=4))
    assert (found.person_s(ANN), found.person_s(BEN)) == (30 * 60, 10 * 60)
