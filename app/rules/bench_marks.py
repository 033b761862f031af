"""Which entries of a job's record start and stop its bench time, and the bench time they add up to."""

from collections.abc import Iterable
from datetime import datetime, time, timedelta, tzinfo
from typing import Final

from app.rules.bench_time import Intervals, Mark, MarkKind, bench_time, shift_ends
from app.rules.counting import Event

# Release tests are hands-on work too, but a tester need not have opened the job.
_MARKS: Final[dict[str, MarkKind]] = {
    "opened": "open", "takeover": "takeover", "paused": "pause", "hold": "hold", "closed": "close", "reopened": "close",
    "tick": "tick", "turned": "tick", "undo": "tick", "recount": "tick", "damage": "tick", "absent": "tick",
    "lost": "tick", "spoiled": "tick", "leftover": "tick", "reject": "tick", "count": "tick", "test": "tick",
    "place": "tick",
}  # fmt: skip


def marks_of(event: Event) -> tuple[Mark, ...]:
    """Return the marks that one entry leaves; none for an entry that is no bench work."""
    kind = _MARKS.get(event.kind)
    # A time that the tablet's clocks do not agree on is set aside: the fact counts, the time does not.
    if event.data.get("clock", {}).get("aside"):
        return ()
    # A parts hold stops nobody: the work that needs no new part goes on.
    if kind is None or event.person is None or event.data.get("hold") == "parts":
        return ()
    found = Mark(event.person, event.at, kind)
    if event.kind == "test" and event.data.get("complete"):
        # Nothing is left to do by hand: an open job must not gather labour until somebody closes it.
        return (found, Mark(event.person, event.at, "close"))
    if event.kind == "tick" and event.data.get("timer") == "cure":
        return (found, Mark(event.person, event.at, "cure", datetime.fromisoformat(event.data["ready_at"])))
    return (found,)


def job_intervals(events: Iterable[Event], shift_end: time, zone: tzinfo, until: datetime) -> Intervals:
    """Return the bench time of one job from its entries, up to ``until``.

    ``shift_end`` is a local time of day in ``zone``. Overtime after it counts up to midnight at the latest, never
    through the night. Raises ValueError for a time without a zone.
    """
    marks = [mark for event in events for mark in marks_of(event)]
    if not marks:
        return Intervals(())
    # An entry that a tablet kept for a while stands late in the record with the time it was tapped at.
    first, last = min(mark.at for mark in marks).astimezone(zone).date(), until.astimezone(zone).date()
    ends = {*shift_ends(first, last, shift_end, zone)}
    ends |= {*shift_ends(first + timedelta(days=1), last + timedelta(days=1), time(0, 0), zone)}
    return bench_time(marks, sorted(ends), until)
