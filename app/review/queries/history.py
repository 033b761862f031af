"""The history: all jobs, newest first, by filters, a page at a time.

Pages are keyed by the job's id, so a job booked meanwhile moves nothing. The ids of a page are found first, from
the indexes alone, and only then the rows: a job's row carries its counting state and is a hundred times as wide.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import ColumnElement, Select, select
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.visitors import InternalTraversal
from sqlmodel import Session

from app.review.queries.tables import device_model, job, part_use

CLOSED = "closed"
RETURNED = "returned unrepaired"
IN_WORK = (
    "booked in", "made safe", "planned", "quoted", "approved", "kitted", "teardown", "refit", "counted", "tested",
)  # fmt: skip
OUTCOMES = {"repaired": (CLOSED,), "returned unrepaired": (RETURNED,), "in work": IN_WORK}


@dataclass(frozen=True)
class HistoryFilter:
    """What the history is narrowed to; an empty field narrows nothing.

    Moments are instants: ``from`` is included, ``before`` is not. ``serials`` are the spellings under which a
    typed serial may be stored. ``part`` is the number of a part that was fitted and not taken back.
    """

    number: str = ""
    serials: tuple[str, ...] = ()
    model_id: int | None = None
    technician_id: int | None = None
    booked_from: datetime | None = None
    booked_before: datetime | None = None
    closed_from: datetime | None = None
    closed_before: datetime | None = None
    outcome: str = ""
    overridden: bool = False
    part: str = ""


@dataclass(frozen=True)
class HistoryRow:
    """One job in the history; money in the site's currency, None before it is known."""

    id: int
    number: str
    model: str
    serial: str
    fault: str
    stage: str
    hold: str
    technician_id: int | None
    booked_at: datetime
    closed_at: datetime | None
    bench_s: int | None
    parts_cost: Decimal | None
    labour_cost: Decimal | None
    overridden: bool

    @property
    def outcome(self) -> str:
        """Repaired, returned unrepaired, or in work."""
        return {CLOSED: "repaired", RETURNED: "returned unrepaired"}.get(self.stage, "in work")

    @property
    def total_cost(self) -> Decimal | None:
        """Parts and labour, or None when neither is known."""
        if self.parts_cost is None and self.labour_cost is None:
            return None
        return (self.parts_cost or Decimal(0)) + (self.labour_cost or Decimal(0))


@dataclass(frozen=True)
class HistoryPage:
    """Jobs of one page, newest first, and whether there are newer and older ones under the same filters."""

    rows: tuple[HistoryRow, ...]
    newer: bool
    older: bool


class _Plain(ColumnElement[Any]):
    """A column that SQLite's planner does not look up by an index of its own.

    SQLite keeps few statistics and would take the index of one filter, then read the wide row of every job it
    finds to judge the others. Kept from that, it reads the covering index of the history in the order of ids.
    PostgreSQL weighs the filters by itself.
    """

    inherit_cache = True
    _traverse_internals = [("column", InternalTraversal.dp_clauseelement)]  # noqa: RUF012

    def __init__(self, column: ColumnElement[Any]) -> None:
        self.column = column
        self.type = column.type


@compiles(_Plain)
def _as_it_is(element: _Plain, compiler: Any, **options: Any) -> str:
    return str(compiler.process(element.column, **options))


@compiles(_Plain, "sqlite")
def _without_index(element: _Plain, compiler: Any, **options: Any) -> str:
    return f"+{compiler.process(element.column, **options)}"


def _conditions(wanted: HistoryFilter) -> list[Any]:
    named: list[Any] = []
    if wanted.number:
        named.append(job.c.number == wanted.number)
    if wanted.serials:
        named.append(job.c.serial.in_(wanted.serials))
    broad = (
        wanted.model_id is not None, wanted.technician_id is not None, bool(wanted.outcome), wanted.overridden,
        bool(wanted.booked_from or wanted.booked_before), bool(wanted.closed_from or wanted.closed_before),
    )  # fmt: skip
    several = sum(broad) + bool(wanted.part) > 1
    return named + _broad_conditions(wanted, _Plain if several and not named else _same)


def _same(column: ColumnElement[Any]) -> ColumnElement[Any]:
    return column


def _broad_conditions(wanted: HistoryFilter, as_used: Callable[[ColumnElement[Any]], ColumnElement[Any]]) -> list[Any]:
    booked, closed = as_used(job.c.booked_at), as_used(job.c.closed_at)
    found: list[Any] = []
    if wanted.model_id is not None:
        found.append(as_used(job.c.device_model_id) == wanted.model_id)
    if wanted.technician_id is not None:
        found.append(as_used(job.c.technician_id) == wanted.technician_id)
    if wanted.booked_from:
        found.append(booked >= wanted.booked_from)
    if wanted.booked_before:
        found.append(booked < wanted.booked_before)
    if wanted.closed_from:
        found.append(closed >= wanted.closed_from)
    if wanted.closed_before:
        found.append(closed < wanted.closed_before)
    if wanted.outcome:
        found.append(as_used(job.c.stage).in_(OUTCOMES[wanted.outcome]))
    if wanted.overridden:
        found.append(as_used(job.c.overridden).is_(True))
    return found


def ids_query(wanted: HistoryFilter, after: int | None, before: int | None, limit: int) -> Select[Any]:
    """Return the query for the ids of a page: below ``after`` newest first, or above ``before`` oldest first."""
    conditions = _conditions(wanted)
    uses = (part_use.c.part_number == wanted.part, part_use.c.struck.is_(False))
    key: ColumnElement[int] = job.c.id
    if not wanted.part:
        query = select(key).where(*conditions)
    elif wanted.booked_from or wanted.booked_before or wanted.closed_from or wanted.closed_before:
        # Dates leave few of the jobs, whatever the part: they lead, and the part is looked up for those.
        there = select(part_use.c.job_id).where(*uses, part_use.c.job_id == job.c.id).exists()
        query = select(key).where(*conditions, there)
    else:
        # The uses of the part lead: their index gives the ids in order, so that a common part sorts nothing.
        key = part_use.c.job_id
        query = select(key).distinct().where(*uses)
        if conditions:
            query = query.join_from(part_use, job, job.c.id == key).where(*conditions)
    if before is not None:
        return query.where(key > before).order_by(key.asc()).limit(limit)
    if after is not None:
        query = query.where(key < after)
    return query.order_by(key.desc()).limit(limit)


def history_page(
    session: Session, wanted: HistoryFilter, *, after: int | None = None, before: int | None = None, limit: int = 50
) -> HistoryPage:
    """Return one page: the jobs older than the id ``after``, or the ones next newer than ``before``."""
    ids: list[int] = list(session.connection().execute(ids_query(wanted, after, before, limit + 1)).scalars())
    more, ids = len(ids) > limit, ids[:limit]
    rows = _rows(session, ids)
    if before is not None:
        return HistoryPage(rows, newer=more, older=True)
    return HistoryPage(rows, newer=after is not None, older=more)


_SHOWN: tuple[Any, ...] = (
    job.c.id, job.c.number, device_model.c.name, job.c.serial, job.c.fault, job.c.stage, job.c.hold,
    job.c.technician_id, job.c.booked_at, job.c.closed_at, job.c.bench_s, job.c.parts_cost, job.c.labour_cost,
    job.c.overridden,
)  # fmt: skip


def _rows(session: Session, ids: list[int]) -> tuple[HistoryRow, ...]:
    if not ids:
        return ()
    query = (
        select(*_SHOWN)
        .join_from(job, device_model, device_model.c.id == job.c.device_model_id)
        .where(job.c.id.in_(ids))
        .order_by(job.c.id.desc())
    )
    return tuple(HistoryRow(*row) for row in session.connection().execute(query))


def model_names(session: Session) -> tuple[tuple[int, str], ...]:
    """Return all device models as (id, name), by name."""
    query = select(device_model.c.id, device_model.c.name).order_by(device_model.c.name)
    return tuple((row[0], row[1]) for row in session.connection().execute(query))
