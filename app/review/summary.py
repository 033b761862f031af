"""Adding up: jobs put into weeks or months of the workshop's calendar, and by technician and device model."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from decimal import Decimal
from typing import Literal

from app.review.queries.totals import EndedJobs
from app.rules.statistics import median

Period = Literal["week", "month"]


@dataclass(frozen=True)
class Bucket:
    """One week or month: its name, its first day, the first day after it, and whether it is cut off by the range."""

    name: str
    first: date
    after: date
    whole: bool


@dataclass(frozen=True)
class Sums:
    """What some ended jobs add up to. ``turnaround_s`` is the median from booking in to closing, of repaired jobs."""

    closed: int
    returned: int
    bench_s: int
    parts: Decimal
    beyond_plan: Decimal
    labour: Decimal
    overridden: int
    turnaround_s: int | None


@dataclass(frozen=True)
class PeriodRow:
    """One line of the totals: a week or month, jobs booked in it and open at its end, and its sums."""

    bucket: Bucket
    booked: int
    open_at_end: int
    sums: Sums


def buckets(first: date, last: date, period: Period) -> tuple[Bucket, ...]:
    """Cut the days from first to last, both included, into ISO 8601 weeks or calendar months."""
    found = []
    start = first - timedelta(days=first.weekday()) if period == "week" else first.replace(day=1)
    while start <= last:
        after = start + timedelta(days=7) if period == "week" else _next_month(start)
        begin, end = max(start, first), min(after, last + timedelta(days=1))
        year, week, _ = start.isocalendar()
        name = f"{year} week {week}" if period == "week" else f"{start:%B %Y}"
        found.append(Bucket(name, begin, end, begin == start and end == after))
        start = after
    return tuple(found)


def _next_month(first: date) -> date:
    return (first.replace(day=28) + timedelta(days=4)).replace(day=1)


def midnight(day: date, zone: tzinfo) -> datetime:
    """Return the instant a day begins in the workshop."""
    return datetime.combine(day, time(0, 0), tzinfo=zone)


def stretches(cut: Sequence[Bucket], zone: tzinfo) -> tuple[tuple[datetime, datetime], ...]:
    """Return the instants between which each bucket lies, until before the second."""
    return tuple((midnight(bucket.first, zone), midnight(bucket.after, zone)) for bucket in cut)


def sums(jobs: Iterable[EndedJobs]) -> Sums:
    """Add jobs up."""
    found = list(jobs)
    return Sums(
        closed=sum(one.closed for one in found),
        returned=sum(one.returned for one in found),
        bench_s=sum(one.bench_s for one in found),
        parts=sum((one.parts for one in found), Decimal(0)),
        beyond_plan=sum((one.beyond_plan for one in found), Decimal(0)),
        labour=sum((one.labour for one in found), Decimal(0)),
        overridden=sum(one.overridden for one in found),
        turnaround_s=median([seconds for one in found for seconds in one.took_s]),
    )


def by_period(
    cut: Sequence[Bucket], jobs: Sequence[EndedJobs], booked: Sequence[int], open_before: int
) -> tuple[PeriodRow, ...]:
    """Return a line for each bucket, in their order. ``open_before`` is how many jobs were open before the first."""
    ended_in: dict[int, list[EndedJobs]] = {}
    for one in jobs:
        ended_in.setdefault(one.place, []).append(one)
    rows = []
    still_open = open_before
    for n, bucket in enumerate(cut):
        found = sums(ended_in.get(n, []))
        still_open += booked[n] - found.closed - found.returned
        rows.append(PeriodRow(bucket, booked[n], still_open, found))
    return tuple(rows)


def grouped(
    jobs: Sequence[EndedJobs], key: Callable[[EndedJobs], int | None], names: Mapping[int, str], nobody: str
) -> tuple[tuple[str, Sums], ...]:
    """Return sums by a key with its name, by name; jobs without the key stand last under ``nobody``."""
    found: dict[int | None, list[EndedJobs]] = {}
    for one in jobs:
        found.setdefault(key(one), []).append(one)
    rows = [(nobody if k is None else names.get(k, nobody), sums(group)) for k, group in found.items()]
    return tuple(sorted(rows, key=lambda row: (row[0] == nobody, row[0])))
