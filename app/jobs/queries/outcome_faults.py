"""Whether what a job's row says of its beginning and its end is what its entries say."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from enum import Enum
from typing import Any

from app.jobs.models import Job, Stage
from app.rules.correcting import CORRECTED
from app.rules.counting import Event
from app.rules.step_times import REST

ENDS = {"closed": Stage.CLOSED, "returned": Stage.RETURNED, "declined": Stage.RETURNED}
_BOOKED = {
    "fault": "Fault",
    "condition": "Condition",
    "in_box": "In the box",
    "coverage": "Coverage",
    "data_wish": "Data wish",
    "consent": "Consent",
} | dict(CORRECTED)


def booking_faults(job: Job, events: Sequence[Event]) -> list[str]:
    """Compare what was told at the counter with what was booked in and corrected since; also by whom, and when."""
    said: dict[str, Any] = {}
    for event in events:
        if event.kind == "booked":
            said |= {name: event.data[name] for name in _BOOKED if name in event.data}
        elif event.kind == "corrected":
            said |= {name: after for name, _before, after in event.data["changes"]}
    found = [
        f"{job.number}: {_BOOKED[name].lower()} {_plain(getattr(job, name))!r} is not what its entries say, {value!r}."
        for name, value in said.items()
        if _plain(getattr(job, name)) != value
    ]
    first = events[0]
    if first.kind == "booked" and (job.booked_at, job.booked_by) != (first.at, first.person):
        found.append(f"{job.number}: who booked it in, and when, is not what its first entry says.")
    return found


def outcome_faults(job: Job, events: Sequence[Event]) -> list[str]:
    """Compare how a job ended with the entry that ended it: stage, time, person, overrides, costs, bench time.

    The figures of its account stand in that entry, under the seal; jobs that ended before they did have none there.
    """
    name = job.number
    found = []
    if job.overridden != any(event.kind == "override" for event in events):
        found.append(f"{name}: whether its count was overridden is not what its entries say.")
    end = next((event for event in reversed(events) if event.kind in ENDS), None)
    if end is None:
        if job.stage in ENDS.values():
            found.append(f"{name} is {job.stage.value}, and no entry ended it.")
        return found
    if job.stage is not ENDS[end.kind]:
        found.append(f"{name} is {job.stage.value}, and its entries say that it was {end.kind}.")
    if (job.closed_at, job.closed_by) != (end.at, end.person):
        found.append(f"{name}: who ended it, and when, is not what its entries say.")
    for figure, words, stored in (
        ("parts", "cost of parts", job.parts_cost),
        ("labour", "cost of labour", job.labour_cost),
        ("bench_s", "bench time", job.bench_s),
    ):
        sealed = end.data.get("account", {}).get(figure)
        if sealed is not None and (stored is None or Decimal(sealed) != stored):
            found.append(f"{name}: its {words} is stored as {stored}, and the entry that ended it says {sealed}.")
    return found


def timing_faults(job: Job, seconds: Mapping[tuple[str, str], int]) -> list[str]:
    """Compare the step times of a closed job with its bench time: with what it took beside them, they add up to it."""
    rest = seconds.get(REST)
    total = sum(seconds.values())
    # Where steps were overlapped the rest is kept as one second, and the sum is no longer the bench time.
    if rest is None or rest == 1 or total == (job.bench_s or 0):
        return []
    return [f"{job.number}: its step times add up to {total} s, and its bench time is {job.bench_s} s."]


def _plain(value: Any) -> Any:
    return value.value if isinstance(value, Enum) else value
