"""Adding up: jobs put into weeks or months of the workshop's calendar, and by technician and device model."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from decimal import Decimal
from typing import Literal, TypeVar

from app.review.queries.totals import EndedJob
from app.rules.statistics import median

Period = Literal["week", "month"]
T = TypeVar("T")


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


def sums(jobs: Iterable[EndedJob]) -> Sums:
    """Add jobs up."""
    found = list(jobs)
    repaired = [one for one in found if one.repaired]
    return Sums(
        closed=len(repaired),
        returned=len(found) - len(repaired),
        bench_s=sum(one.bench_s for one in found),
        parts=sum((one.parts_cost for one in found), Decimal(0)),
        beyond_plan=sum((one.beyond_plan for one in found), Decimal(0)),
        labour=sum((one.labour_cost for one in found), Decimal(0)),
        overridden=sum(one.overridden for one in found),
        turnaround_s=median([int((one.ended_at - one.booked_at).total_seconds()) for one in repaired]),
    )


def by_period(
    cut: Sequence[Bucket], jobs: Sequence[EndedJob], booked: Sequence[datetime], open_before: int, zone: tzinfo
) -> tuple[PeriodRow, ...]:
    """Return a line for each bucket, in their order. ``open_before`` is how many jobs were open before the first."""
    ended_in = _placed(cut, jobs, lambda one: one.ended_at, zone)
    booked_in = _placed(cut, booked, lambda at: at, zone)
    rows = []
    still_open = open_before
    for n, bucket in enumerate(cut):
        ended = ended_in.get(n, [])
        still_open += len(booked_in.get(n, [])) - len(ended)
        rows.append(PeriodRow(bucket, len(booked_in.get(n, [])), still_open, sums(ended)))
    return tuple(rows)


def _placed(
    cut: Sequence[Bucket], things: Iterable[T], moment: Callable[[T], datetime], zone: tzinfo
) -> dict[int, list[T]]:
    place = {bucket.first + timedelta(days=d): n for n, bucket in enumerate(cut) for d in range(_days(bucket))}
    found: dict[int, list[T]] = {}
    for thing in things:
        n = place.get(moment(thing).astimezone(zone).date())
        if n is not None:
            found.setdefault(n, []).append(thing)
    return found


def _days(bucket: Bucket) -> int:
    return (bucket.after - bucket.first).days


def grouped(
    jobs: Sequence[EndedJob], key: Callable[[EndedJob], int | None], names: Mapping[int, str], nobody: str
) -> tuple[tuple[str, Sums], ...]:
    """Return sums by a key with its name, by name; jobs without the key stand last under ``nobody``."""
    found: dict[int | None, list[EndedJob]] = {}
    for one in jobs:
        found.setdefault(key(one), []).append(one)
    rows = [(nobody if k is None else names.get(k, nobody), sums(group)) for k, group in found.items()]
    return tuple(sorted(rows, key=lambda row: (row[0] == nobody, row[0])))
