"""The figures of a stretch of time: what was booked, closed, spent, scrapped and seen again.

All figures but the booked ones are those of the jobs that ended in the time, so that they add up with each other.
"""

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from sqlalchemy import BigInteger, Integer, case, cast, func, literal, select
from sqlmodel import Session

from app.review.queries.history import CLOSED
from app.review.queries.tables import discard, job, kit_line, kit_lot, old_unit, part

REPEAT_DAYS = 90


Stretch = tuple[datetime, datetime]
"""A time from its first moment until before its last."""


@dataclass
class EndedJobs:
    """The jobs of one device model and one technician that ended in one stretch of time, added up.

    ``place`` is the stretch's place. ``beyond_plan`` is part of the parts cost; ``took_s`` are the seconds from booking
    in to closing, one figure a repaired job.
    """

    place: int
    model_id: int
    technician_id: int | None
    closed: int = 0
    returned: int = 0
    bench_s: int = 0
    parts: Decimal = Decimal(0)
    labour: Decimal = Decimal(0)
    overridden: int = 0
    beyond_plan: Decimal = Decimal(0)
    took_s: list[int] = field(default_factory=list)


@dataclass(frozen=True)
class DiscardRow:
    """Pieces scrapped for one reason into one waste stream."""

    reason: str
    waste_stream: str
    quantity: int


@dataclass(frozen=True)
class Repeats:
    """Repaired jobs that have had ``REPEAT_DAYS`` to come back, and those whose device did."""

    watched: int
    came_back: frozenset[int]
    too_recent: int


def _ended_within(start: datetime, end: datetime) -> list[Any]:
    return [job.c.closed_at >= start, job.c.closed_at < end]


def ended_jobs(session: Session, stretches: Sequence[Stretch]) -> tuple[EndedJobs, ...]:
    """Return what ended in stretches that follow one another, added up by the database.

    Of each job only one whole number is read, for the medians; so that the history may be long.
    """
    found: dict[tuple[int, int, int | None], EndedJobs] = {}

    def group(place: int, model: int, technician: int | None) -> EndedJobs:
        return found.setdefault((place, model, technician), EndedJobs(place, model, technician))

    run = session.connection().execute
    of: tuple[Any, ...] = (job.c.device_model_id, job.c.technician_id)
    added: tuple[Any, ...] = (
        func.count(), func.coalesce(func.sum(job.c.bench_s), 0), func.sum(job.c.parts_cost),
        func.sum(job.c.labour_cost), func.sum(case((job.c.overridden.is_(True), 1), else_=0)),
    )  # fmt: skip
    took = _seconds_between(session, job.c.booked_at, job.c.closed_at)
    for place, (start, end) in enumerate(stretches):
        within = _ended_within(start, end)
        rows: Any = run(select(*of, job.c.stage, *added).where(*within).group_by(*of, job.c.stage))
        for model, who, stage, count, bench_s, parts, labour, overridden in rows:
            one = group(place, model, who)
            one.closed += count if stage == CLOSED else 0
            one.returned += count if stage != CLOSED else 0
            one.bench_s += int(bench_s)
            one.parts += parts or Decimal(0)
            one.labour += labour or Decimal(0)
            one.overridden += int(overridden)
        rows = run(select(*of, took).where(*within, job.c.stage == CLOSED))
        for model, who, seconds in rows:
            found[place, model, who].took_s.append(seconds)
    if stretches:
        ends = [end for _start, end in stretches]
        for model, who, ended_at, amount in _beyond_plan(session, stretches[0][0], ends[-1]):
            group(bisect_right(ends, ended_at), model, who).beyond_plan += amount
    return tuple(found.values())


def _seconds_between(session: Session, earlier: Any, later: Any) -> Any:
    """Return the whole seconds between two columns as a number that the database works out."""
    if session.get_bind().dialect.name == "postgresql":
        return cast(func.floor(func.extract("epoch", later - earlier)), BigInteger)
    return cast(func.strftime("%s", later), Integer) - cast(func.strftime("%s", earlier), Integer)


def _beyond_plan(
    session: Session, start: datetime, end: datetime
) -> Iterable[tuple[int, int | None, datetime, Decimal]]:
    """Return what jobs used beyond the plan.

    The lots that were handed out first count as the planned ones, as in the job's own account. A part of which no
    more was handed out than planned cannot have been overdrawn, so that most of the history is passed over.
    """
    of: tuple[Any, ...] = (job.c.device_model_id, job.c.technician_id, job.c.closed_at)
    # Found first and by itself: a join in another order would go through the lots of all jobs.
    more: Any = (
        select(kit_line.c.job_id, kit_line.c.part_number, kit_line.c.planned, *of)
        .join_from(job, kit_line, kit_line.c.job_id == job.c.id)
        .where(*_ended_within(start, end), kit_line.c.issued > kit_line.c.planned)
        .cte("more_issued")
        .prefix_with("MATERIALIZED")
    )
    lots: Any = (
        select(
            more.c.job_id, more.c.part_number, more.c.planned, kit_lot.c.fitted + kit_lot.c.spoiled,
            kit_lot.c.unit_cost, more.c.device_model_id, more.c.technician_id, more.c.closed_at,
        )
        .join_from(more, kit_lot, (kit_lot.c.job_id == more.c.job_id) & (kit_lot.c.part_number == more.c.part_number))
        .order_by(kit_lot.c.id)
    )  # fmt: skip
    left: dict[tuple[int, str], int] = {}
    for job_id, part_number, planned, quantity, unit_cost, model, who, ended_at in session.connection().execute(lots):
        key = (job_id, part_number)
        as_planned = min(quantity, left.setdefault(key, planned))
        left[key] -= as_planned
        if quantity > as_planned:
            yield model, who, ended_at, unit_cost * (quantity - as_planned)


def booked_jobs(session: Session, stretches: Sequence[Stretch]) -> tuple[int, ...]:
    """Return how many jobs were booked in in each of the stretches."""
    count = select(func.count()).select_from(job)
    run = session.connection().execute
    within = (count.where(job.c.booked_at >= start, job.c.booked_at < end) for start, end in stretches)
    return tuple(int(run(one).scalar_one()) for one in within)


def open_at(session: Session, moment: datetime) -> int:
    """Return how many jobs were booked in and not ended at a moment."""
    booked = select(func.count()).select_from(job).where(job.c.booked_at < moment)
    ended = select(func.count()).select_from(job).where(job.c.closed_at < moment)
    run = session.connection().execute
    return int(run(booked).scalar_one()) - int(run(ended).scalar_one())


def forecasts(session: Session, start: datetime, end: datetime) -> tuple[tuple[int, int, int], ...]:
    """Return (device model, 80 % point given before, actual bench time) in seconds of the jobs closed in the time."""
    query = select(job.c.device_model_id, job.c.p80_s, job.c.bench_s).where(
        job.c.stage == CLOSED, *_ended_within(start, end), job.c.p80_s.is_not(None), job.c.bench_s.is_not(None)
    )
    return tuple((row[0], row[1], row[2]) for row in session.connection().execute(query))


def discards(session: Session, start: datetime, end: datetime) -> tuple[DiscardRow, ...]:
    """Return what the jobs that ended in the time scrapped, by reason and waste stream, without kept old units."""
    query = (
        select(discard.c.reason, discard.c.waste_stream, func.sum(discard.c.quantity))
        .join_from(job, discard, discard.c.job_id == job.c.id)
        .where(*_ended_within(start, end), discard.c.struck.is_(False))
        .group_by(discard.c.reason, discard.c.waste_stream)
        .order_by(discard.c.reason, discard.c.waste_stream)
    )
    kept = _kept(session, start, end)
    found = []
    for reason, stream, quantity in session.connection().execute(query):
        stays = min(kept[stream], int(quantity)) if reason == "planned" else 0
        kept[stream] -= stays
        if quantity > stays:
            found.append(DiscardRow(reason, stream, int(quantity) - stays))
    return tuple(found)


def _kept(session: Session, start: datetime, end: datetime) -> Counter[str]:
    """Return how many old units those jobs left with the stores, for repair or owed, by waste stream."""
    query = (
        select(part.c.waste_stream, func.count())
        .select_from(job)
        .join(old_unit, old_unit.c.source_ref == literal("job:").concat(job.c.number))
        .join(part, part.c.id == old_unit.c.part_id)
        .where(*_ended_within(start, end))
        .group_by(part.c.waste_stream)
    )
    return Counter({stream: int(count) for stream, count in session.connection().execute(query)})


def repeats(session: Session, start: datetime, end: datetime, now: datetime) -> Repeats:
    """Return which repaired devices were booked in again within ``REPEAT_DAYS`` of closing.

    Only jobs that closed at least that long ago are watched: one that closed last week has not had the time.
    """
    again = job.alias("again")
    until = min(end, now - timedelta(days=REPEAT_DAYS))
    within = [job.c.stage == CLOSED, *_ended_within(start, until)]
    count = select(func.count()).select_from(job)
    run = session.connection().execute
    watched = int(run(count.where(*within)).scalar_one()) if until > start else 0
    everything = int(run(count.where(job.c.stage == CLOSED, *_ended_within(start, end))).scalar_one())
    # The next visit alone, so that a device that comes every week gives one row a job and not one a pair.
    next_visit = (
        select(func.min(again.c.booked_at))
        .where(again.c.serial == job.c.serial, again.c.id != job.c.id, again.c.booked_at >= job.c.closed_at)
        .scalar_subquery()
    )
    visits = select(job.c.id, job.c.closed_at, next_visit).where(*within)
    limit = timedelta(days=REPEAT_DAYS)
    rows = run(visits) if watched else ()
    back = {row[0] for row in rows if row[2] is not None and row[2] - row[1] <= limit}
    return Repeats(watched, frozenset(back), everything - watched)
