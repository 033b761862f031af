"""How long each step of a job took at the bench, from the entries of its record.

A step's time is what lies between the tick before it and its own tick, as far as it is bench time: pauses, holds,
cures and what lies after the shift's end are left out by the same rules as for the whole job (``bench_time``), and
two people on one job add up. Conventions, all of them deliberate:

* What happens during a step (a report, a failed inspection, places counted one by one) belongs to its time.
* A step whose tick was taken back gives no time, as nobody can tell the first try from the second.
* Hands that are dirty tick several steps at once. Steps ticked within ``TOGETHER_S`` of each other share their time
  in proportion to their standard times.
* A tick whose time is set aside for its clock gives no time, nor does the step after it.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta, tzinfo
from typing import Final, Literal, cast

from app.rules.bench_marks import job_intervals
from app.rules.bench_time import Interval
from app.rules.counting import Event
from app.rules.planning import Plan
from app.rules.sheet import Sheet

Side = Literal["down", "up"]
StepKey = tuple[Side, str]
"""One side of a step: teardown or refit, and the step's id."""

TOGETHER_S: Final = 3
"""Ticks at most this many seconds of bench time apart are taken to be one look at the tablet."""

REST: Final[StepKey] = ("up", "*")
"""What a job takes beside its steps: opening, the closing count, release tests, trouble."""

REST_S: Final = 60
"""Assumption of ours for the closing count, and for each release test: a procedure gives no standard time for them."""

# Entries after which another piece of work begins. What follows a new plan, a recount or an undo is no part of the
# step before it.
_BOUNDS: Final = ("tick", "turned", "undo", "recount", "planned", "extended")


@dataclass(frozen=True, slots=True)
class StepTime:
    """One step of one job: whole seconds of bench time, at least 1."""

    side: Side
    step: str
    seconds: int

    @property
    def key(self) -> StepKey:
        """The side of the step that was timed."""
        return self.side, self.step


def standard_times(sheet: Sheet) -> dict[StepKey, int]:
    """Return the procedure's standard seconds of every step, down and up; pressing is hands-on, curing is not."""
    found: dict[StepKey, int] = {("down", step.id): step.time_s for step in sheet.steps}
    for step in sheet.steps:
        if step.refit:
            found["up", step.id] = step.refit.time_s + step.refit.press_s
    return found


def rest_s(sheet: Sheet) -> int:
    """Return the seconds assumed beside the steps of a job, as the standard that its history is held against."""
    return REST_S * (1 + len(sheet.release_tests))


def plan_keys(plan: Plan) -> tuple[StepKey, ...]:
    """Return the sides of a plan's steps in the order they are done."""
    down: list[StepKey] = [("down", step) for step in plan.teardown]
    return (*down, *(("up", step) for step in plan.refit))


def step_times(
    events: Sequence[Event], standard: Mapping[StepKey, int], shift_end: time, zone: tzinfo
) -> tuple[StepTime, ...]:
    """Return the times of a job's finished steps, in the order they were ticked.

    ``events`` is the whole record in sequence; ``standard`` is that of ``standard_times`` (a step that it does not
    name shares a batch as if it took a second). ``shift_end`` is a local time of day in ``zone``. Raises ValueError
    for a time without a zone.
    """
    bounds = [event for event in events if event.kind in _BOUNDS]
    if not bounds:
        return ()
    last = max(event.at for event in bounds)
    worked = job_intervals(events, shift_end, zone, last).intervals
    undone = {event.undoes for event in events if event.undoes}
    batch: list[tuple[StepKey, float]] = []
    found: list[StepTime] = []
    since: datetime | None = min((one.start for one in worked), default=None)
    for event in sorted(bounds, key=lambda one: one.at):
        if event.data.get("clock", {}).get("aside"):
            since = None
            continue
        seconds = None if since is None else _overlap(worked, since, event.at)
        since = event.at
        if event.kind != "tick":
            found += _shared(batch, standard)
            batch = []
            continue
        if seconds is None:
            continue
        if seconds > TOGETHER_S:
            found += _shared(batch, standard)
            batch = []
        if event.event_id in undone:
            # Its time is gone with it, but it parts what was before it from what comes after.
            found += _shared(batch, standard)
            batch = []
            continue
        batch.append(((cast(Side, str(event.data["side"])), str(event.step)), seconds))
    found += _shared(batch, standard)
    return tuple(found)


def _overlap(worked: Iterable[Interval], start: datetime, end: datetime) -> float:
    """Return the bench seconds of all persons between two moments."""
    parts = (min(one.end, end) - max(one.start, start) for one in worked)
    return sum((part for part in parts if part > timedelta(0)), timedelta(0)).total_seconds()


def _shared(batch: Sequence[tuple[StepKey, float]], standard: Mapping[StepKey, int]) -> list[StepTime]:
    """Share the seconds of steps that were ticked together by their standard times; a step alone keeps its own."""
    total = sum(seconds for _key, seconds in batch)
    if not batch or total < 1:
        return []
    weights = [max(standard.get(key, 1), 1) for key, _seconds in batch]
    whole = sum(weights)
    return [
        StepTime(side, step, max(1, round(total * weight / whole)))
        for ((side, step), _seconds), weight in zip(batch, weights, strict=True)
    ]
