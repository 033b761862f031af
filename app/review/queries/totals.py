"""The figures of a stretch of time: what was booked, closed, spent, scrapped and seen again.

All figures but the booked ones are those of the jobs that ended in the time, so that they add up with each other.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlmodel import Session

from app.review.queries.history import CLOSED
from app.review.queries.tables import discard, job, kit_line, kit_lot

REPEAT_DAYS = 90


@dataclass(frozen=True)
class EndedJob:
    """A job that was closed or returned, with what the totals add up. ``beyond_plan`` is part of the parts cost."""

    id: int
    stage: str
    model_id: int
    technician_id: int | None
    booked_at: datetime
    ended_at: datetime
    bench_s: int
    parts_cost: Decimal
    labour_cost: Decimal
    overridden: bool
    beyond_plan: Decimal = Decimal(0)

    @property
    def repaired(self) -> bool:
        """Closed, not returned unrepaired."""
        return self.stage == CLOSED


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


def ended_jobs(session: Session, start: datetime, end: datetime) -> tuple[EndedJob, ...]:
    """Return the jobs that ended from ``start`` until before ``end``."""
    shown: tuple[Any, ...] = (
        job.c.id, job.c.stage, job.c.device_model_id, job.c.technician_id, job.c.booked_at, job.c.closed_at,
        job.c.bench_s, job.c.parts_cost, job.c.labour_cost, job.c.overridden,
    )  # fmt: skip
    rows: list[Any] = list(session.connection().execute(select(*shown).where(*_ended_within(start, end))))
    beyond = _beyond_plan(session, start, end)
    none = Decimal(0)
    found = []
    for row in rows:
        job_id, stage, model_id, technician_id, booked_at, ended_at, bench_s, parts, labour, overridden = row
        found.append(
            EndedJob(
                job_id, stage, model_id, technician_id, booked_at, ended_at, bench_s or 0, parts or none,
                labour or none, overridden, beyond.get(job_id, none),
            )
        )  # fmt: skip
    return tuple(found)


def _beyond_plan(session: Session, start: datetime, end: datetime) -> Mapping[int, Decimal]:
    """Return by job the exact cost of what was used beyond the plan.

    The lots that were handed out first count as the planned ones, as in the job's own account.
    """
    used = func.sum(kit_lot.c.fitted + kit_lot.c.spoiled)
    over = (
        select(kit_line.c.job_id, kit_line.c.part_number, kit_line.c.planned)
        .select_from(job)
        .join(kit_line, kit_line.c.job_id == job.c.id)
        .join(kit_lot, (kit_lot.c.job_id == kit_line.c.job_id) & (kit_lot.c.part_number == kit_line.c.part_number))
        .where(*_ended_within(start, end))
        .group_by(kit_line.c.job_id, kit_line.c.part_number, kit_line.c.planned)
        .having(used > kit_line.c.planned)
        .subquery()
    )
    lots = (
        select(
            over.c.job_id, over.c.part_number, over.c.planned, kit_lot.c.fitted + kit_lot.c.spoiled, kit_lot.c.unit_cost
        )
        .join_from(over, kit_lot, (kit_lot.c.job_id == over.c.job_id) & (kit_lot.c.part_number == over.c.part_number))
        .order_by(kit_lot.c.id)
    )
    left: dict[tuple[int, str], int] = {}
    found: dict[int, Decimal] = {}
    for job_id, part_number, planned, quantity, unit_cost in session.connection().execute(lots):
        key = (job_id, part_number)
        as_planned = min(quantity, left.setdefault(key, planned))
        left[key] -= as_planned
        found[job_id] = found.get(job_id, Decimal(0)) + unit_cost * (quantity - as_planned)
    return found


def booked_jobs(session: Session, start: datetime, end: datetime) -> tuple[tuple[datetime, int], ...]:
    """Return (when, device model) of the jobs booked in from ``start`` until before ``end``."""
    query = select(job.c.booked_at, job.c.device_model_id).where(job.c.booked_at >= start, job.c.booked_at < end)
    return tuple((row[0], row[1]) for row in session.connection().execute(query))


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
    """Return what the jobs that ended in the time scrapped, by reason and waste stream."""
    query = (
        select(discard.c.reason, discard.c.waste_stream, func.sum(discard.c.quantity))
        .join_from(job, discard, discard.c.job_id == job.c.id)
        .where(*_ended_within(start, end), discard.c.struck.is_(False))
        .group_by(discard.c.reason, discard.c.waste_stream)
        .order_by(discard.c.reason, discard.c.waste_stream)
    )
    return tuple(DiscardRow(row[0], row[1], int(row[2])) for row in session.connection().execute(query))


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
