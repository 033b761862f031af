"""Bench time: hands-on time of each person on a job, from the marks that the work itself leaves.

Conventions, all of them deliberate:

* A person's interval opens with ``open``, ``takeover`` or ``tick``; while it is open these change
  nothing. A tick proves that somebody is at the bench, so it opens even when no ``open`` was sent.
* ``pause`` closes the interval of the person who pauses. ``hold`` and ``close`` stop the job, so
  they close everybody's. ``takeover`` closes everybody else's and opens the taker's.
* ``cure`` closes the interval of the person who starts it; it opens again by itself at the cure's end.
  A tick, open or takeover by that person before then opens it at that moment instead. A pause, a
  hold, a close, another person's takeover or a shift end before then means that it does not open.
* A shift end closes every interval and every waiting cure. At one instant the order is: shift end,
  cure end, then marks as they were sent. Work after the last shift end of a day counts until it is
  paused, so a workshop passes the end of its day (midnight, say) as well as the end of its shift.
* An interval still open counts up to ``now``; marks after ``now`` are not looked at.
* One person counts once, however many tablets or jobs; different persons add up.
* Seconds are real ones, taken in UTC: a shift over a change of clocks is as long as it was.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Literal

MarkKind = Literal["open", "pause", "tick", "hold", "cure", "close", "takeover"]


@dataclass(frozen=True, slots=True)
class Mark:
    """One event of a job as bench time sees it; ``until`` is the end of a cure, for a cure only.

    Raises ValueError for a time without a zone, or a cure without an end at or after its start.
    """

    person: int
    at: datetime
    kind: MarkKind
    until: datetime | None = None

    def __post_init__(self) -> None:
        _utc(self.at)
        if self.kind == "cure" and (self.until is None or _utc(self.until) < _utc(self.at)):
            raise ValueError("a cure needs an end that is not before its start")


@dataclass(frozen=True, slots=True, order=True)
class Interval:
    """One person at the bench from ``start`` to ``end``, in UTC."""

    person: int
    start: datetime
    end: datetime

    @property
    def length(self) -> timedelta:
        """The interval's length in real time."""
        return self.end - self.start


@dataclass(frozen=True, slots=True)
class Intervals:
    """Intervals by person and start, none touching or overlapping another of the same person."""

    intervals: tuple[Interval, ...]

    @property
    def total_s(self) -> int:
        """Whole seconds of all persons together, rounded down once."""
        return _seconds(self.intervals)

    def person_s(self, person: int) -> int:
        """Whole seconds of one person, rounded down once."""
        return _seconds(one for one in self.intervals if one.person == person)


def bench_time(marks: Sequence[Mark], shift_ends: Iterable[datetime], now: datetime) -> Intervals:
    """Turn the marks of one job into intervals at the bench, up to ``now``.

    Marks may come in any order; those of one instant keep the order they are given in. See the
    conventions at the top of this module. Raises ValueError for a time without a zone.
    """
    until = _utc(now)
    bench = _Bench(sorted({_utc(end) for end in shift_ends}))
    for mark in sorted(marks, key=lambda one: _utc(one.at)):
        if _utc(mark.at) > until:
            break
        bench.advance(_utc(mark.at))
        bench.take(mark)
    bench.advance(until)
    for person in list(bench.opened):
        bench.stop(person, until)
    return union(bench.done)


def union(intervals: Iterable[Interval]) -> Intervals:
    """Merge what overlaps or touches of the same person; use it to add up several jobs of a day."""
    merged: list[Interval] = []
    for one in sorted(intervals):
        last = merged[-1] if merged else None
        if last and last.person == one.person and one.start <= last.end:
            merged[-1] = Interval(one.person, last.start, max(last.end, one.end))
        else:
            merged.append(one)
    return Intervals(tuple(one for one in merged if one.end > one.start))


def shift_ends(first: date, last: date, local_time: time, zone: tzinfo) -> tuple[datetime, ...]:
    """Return the UTC moment of a local time of day on each date from first to last, both included.

    Each day is converted on its own, so the clock's changes are followed. A local time that comes
    twice means its first coming; one that is skipped means the moment it would have been, by the
    clock before the change (PEP 495, fold 0).
    """
    count = (last - first).days + 1
    days = (first + timedelta(days=n) for n in range(count))
    return tuple(datetime.combine(day, local_time, tzinfo=zone).astimezone(UTC) for day in days)


@dataclass(slots=True)
class _Bench:
    """Who is at the bench while the marks are read: a small machine that moves forward in time."""

    shift_ends: list[datetime]
    opened: dict[int, datetime] = field(default_factory=dict)
    curing: dict[int, datetime] = field(default_factory=dict)
    done: list[Interval] = field(default_factory=list)
    next_shift: int = 0

    def advance(self, to: datetime) -> None:
        """Let shift ends and cure ends up to and including ``to`` happen, in the order of time."""
        while self.next_shift < len(self.shift_ends) and self.shift_ends[self.next_shift] <= to:
            end = self.shift_ends[self.next_shift]
            self.next_shift += 1
            # A cure that ends with the shift ends for nobody, so only those that ended before it open.
            self._cures_end({person: at for person, at in self.curing.items() if at < end})
            self._stop_all(end)
        self._cures_end({person: at for person, at in self.curing.items() if at <= to})

    def take(self, mark: Mark) -> None:
        """Let one mark happen; ``advance`` has been called with its time."""
        at = _utc(mark.at)
        match mark.kind:
            case "open" | "tick":
                self._start(mark.person, at)
            case "takeover":
                for person in self.opened.keys() | self.curing.keys():
                    if person != mark.person:
                        self.stop(person, at)
                self._start(mark.person, at)
            case "pause":
                self.stop(mark.person, at)
            case "hold" | "close":
                self._stop_all(at)
            case "cure":
                self.stop(mark.person, at)
                if mark.until is not None:
                    self.curing[mark.person] = _utc(mark.until)

    def stop(self, person: int, at: datetime) -> None:
        """Close a person's interval, if open, and forget a cure they wait for."""
        self.curing.pop(person, None)
        start = self.opened.pop(person, None)
        if start is not None:
            self.done.append(Interval(person, start, at))

    def _start(self, person: int, at: datetime) -> None:
        self.curing.pop(person, None)
        self.opened.setdefault(person, at)

    def _stop_all(self, at: datetime) -> None:
        for person in self.opened.keys() | self.curing.keys():
            self.stop(person, at)

    def _cures_end(self, ended: dict[int, datetime]) -> None:
        for person, at in ended.items():
            self._start(person, at)


def _utc(moment: datetime) -> datetime:
    """The moment in UTC; subtracting local times of one zone would ignore a change of clocks."""
    if moment.utcoffset() is None:
        raise ValueError("bench time needs times with a zone")
    return moment.astimezone(UTC)


def _seconds(intervals: Iterable[Interval]) -> int:
    return sum((one.length for one in intervals), timedelta()) // timedelta(seconds=1)
