"""Jobs to look up: one job, lists, earlier visits, photos, finished bench times."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import func, or_, text
from sqlmodel import Session, col, select

from app.jobs.models import IS_OPEN, BenchEvent, Coverage, DataWish, Hold, Job, Photo, Stage
from app.platform.errors import NotFound
from app.rules.counting import BenchState, ItemCount
from app.rules.job_flow import ENDED, OPEN

# In the words of the index that holds the open jobs, so that their lists never read the history.
_OPEN: Any = text(f"job.{IS_OPEN}")
OPEN_STAGES = tuple(Stage(s) for s in OPEN)
ENDED_STAGES = tuple(Stage(s) for s in ENDED)


@dataclass(frozen=True)
class JobRow:
    """One job in a list."""

    id: int
    number: str
    device_model_id: int
    serial: str
    fault: str
    owner_ref: str
    stage: Stage
    hold: Hold
    hold_reason: str
    technician_id: int | None
    booked_at: datetime
    promised_on: date | None


@dataclass(frozen=True)
class JobDetail:
    """One job whole, with its counting state. Money is in the site's currency, None before it is known."""

    id: int
    number: str
    device_model_id: int
    revision_id: int
    serial: str
    fault: str
    condition: str
    in_box: str
    owner_ref: str
    coverage: Coverage
    data_wish: DataWish
    consent: bool
    booked_at: datetime
    booked_by: int | None
    stage: Stage
    hold: Hold
    hold_reason: str
    targets: tuple[str, ...]
    state: BenchState
    technician_id: int | None
    promised_on: date | None
    promise: dict[str, Any] | None
    device_value: Decimal | None
    median_s: int | None
    p80_s: int | None
    quoted: Decimal | None
    parts_cost: Decimal | None
    labour_cost: Decimal | None
    bench_s: int | None
    closed_at: datetime | None
    overridden: bool
    version: int


@dataclass(frozen=True)
class EventRow:
    """One entry of a job's record."""

    kind: str
    step: str | None
    person_id: int | None
    at: datetime
    pass_no: int
    data: dict[str, Any]


@dataclass(frozen=True)
class PhotoRow:
    """A photo without its picture."""

    id: int
    caption: str
    width: int
    height: int
    taken_at: datetime


@dataclass(frozen=True)
class Visit:
    """An earlier visit of the same serial."""

    number: str
    stage: Stage
    fault: str
    booked_at: datetime
    closed_at: datetime | None


@dataclass(frozen=True)
class JobFilter:
    """What the list is narrowed to. ``stage`` is a stage, or ``open`` or ``all``; empty fields narrow nothing.

    ``ids`` are the only jobs to be shown, such as those whose promise slips; None for any.
    """

    stage: str = "open"
    hold: str = ""
    model_id: int | None = None
    technician_id: int | None = None
    text: str = ""
    ids: tuple[int, ...] | None = None


_ROW: tuple[Any, ...] = (
    Job.id, Job.number, Job.device_model_id, Job.serial, Job.fault, Job.owner_ref, Job.stage, Job.hold,
    Job.hold_reason, Job.technician_id, Job.booked_at, Job.promised_on,
)  # fmt: skip


_EVENT: tuple[Any, ...] = (
    BenchEvent.kind, BenchEvent.step, BenchEvent.person_id, BenchEvent.at, BenchEvent.pass_no, BenchEvent.data,
)  # fmt: skip
_VISIT: tuple[Any, ...] = (Job.number, Job.stage, Job.fault, Job.booked_at, Job.closed_at)
_PHOTO: tuple[Any, ...] = (Photo.id, Photo.caption, Photo.width, Photo.height, Photo.taken_at)


def is_begun(state: BenchState) -> bool:
    """Whether anything came out, or was reported, in the present pass; not once its count is signed."""
    touched = any(count != ItemCount(baseline=count.baseline) for count in state.items.values())
    return not state.counted and bool(state.down or touched or state.leftover or state.rejects)


def find_job(session: Session, number: str) -> JobDetail:
    """Return one job; raises NotFound."""
    job = session.exec(select(Job).where(col(Job.number) == number)).first()
    if job is None:
        raise NotFound(f"job {number}")
    return JobDetail(
        id=job.id or 0,
        number=job.number,
        device_model_id=job.device_model_id,
        revision_id=job.revision_id,
        serial=job.serial,
        fault=job.fault,
        condition=job.condition,
        in_box=job.in_box,
        owner_ref=job.owner_ref,
        coverage=job.coverage,
        data_wish=job.data_wish,
        consent=job.consent,
        booked_at=job.booked_at,
        booked_by=job.booked_by,
        stage=job.stage,
        hold=job.hold,
        hold_reason=job.hold_reason,
        targets=tuple(job.targets),
        state=BenchState.from_json(job.bench),
        technician_id=job.technician_id,
        promised_on=job.promised_on,
        promise=job.promise,
        device_value=job.device_value,
        median_s=job.median_s,
        p80_s=job.p80_s,
        quoted=job.quoted,
        parts_cost=job.parts_cost,
        labour_cost=job.labour_cost,
        bench_s=job.bench_s,
        closed_at=job.closed_at,
        overridden=job.overridden,
        version=job.version,
    )


def job_page(
    session: Session, wanted: JobFilter, *, before: int | None = None, after: int | None = None, limit: int = 50
) -> tuple[JobRow, ...]:
    """Return a part of the list, newest first: jobs older than the id ``before``, or newer than ``after``."""
    query = _narrowed(wanted)
    if after is not None:
        query = query.where(col(Job.id) > after).order_by(col(Job.id)).limit(limit)
        return tuple(reversed([_row(r) for r in session.exec(query).all()]))
    if before is not None:
        query = query.where(col(Job.id) < before)
    return tuple(_row(r) for r in session.exec(query.order_by(col(Job.id).desc()).limit(limit)).all())


def jobs_from(session: Session, wanted: JobFilter, after: int, limit: int) -> tuple[JobRow, ...]:
    """Return jobs in the order they were booked in, from after an id on."""
    query = _narrowed(wanted).where(col(Job.id) > after).order_by(col(Job.id)).limit(limit)
    return tuple(_row(r) for r in session.exec(query).all())


def _narrowed(wanted: JobFilter) -> Any:
    query: Any = select(*_ROW)
    if wanted.stage == "open":
        query = query.where(_OPEN)
    elif wanted.stage != "all":
        query = query.where(col(Job.stage) == Stage(wanted.stage))
    if wanted.hold == "any":
        query = query.where(col(Job.hold) != Hold.NONE)
    elif wanted.hold:
        query = query.where(col(Job.hold) == Hold(wanted.hold))
    if wanted.model_id is not None:
        query = query.where(col(Job.device_model_id) == wanted.model_id)
    if wanted.technician_id is not None:
        query = query.where(col(Job.technician_id) == wanted.technician_id)
    if wanted.ids is not None:
        query = query.where(col(Job.id).in_(wanted.ids))
    if wanted.text:
        columns = (Job.number, Job.serial, Job.owner_ref, Job.fault)
        query = query.where(or_(*(col(c).icontains(wanted.text, autoescape=True) for c in columns)))
    return query


def _row(row: Any) -> JobRow:
    return JobRow(*row)


def stage_counts(session: Session) -> dict[Stage, int]:
    """Return how many jobs are in each open stage; stages without jobs are zero."""
    rows = session.exec(select(Job.stage, func.count()).where(_OPEN).group_by(col(Job.stage))).all()
    found = dict(rows)
    return {stage: found.get(stage, 0) for stage in OPEN_STAGES}


def jobs_on_hold(session: Session) -> tuple[JobRow, ...]:
    """Return open jobs on hold, the longest booked in first; safety holds before all others."""
    query: Any = (
        select(*_ROW).where(_OPEN, col(Job.hold) != Hold.NONE).order_by(col(Job.hold) != Hold.SAFETY, col(Job.id))
    )
    return tuple(_row(r) for r in session.exec(query).all())


def jobs_at(session: Session, stages: Iterable[Stage], limit: int = 200) -> tuple[JobRow, ...]:
    """Return jobs in the given stages that are not on hold, the one promised first, then the oldest, first."""
    query: Any = (
        select(*_ROW)
        .where(_OPEN, col(Job.stage).in_(tuple(stages)), col(Job.hold) == Hold.NONE)
        .order_by(col(Job.promised_on).is_(None), col(Job.promised_on), col(Job.id))
        .limit(limit)
    )
    return tuple(_row(r) for r in session.exec(query).all())


def late_jobs(session: Session, today: date) -> tuple[JobRow, ...]:
    """Return open jobs that were promised for a day before today, the latest first."""
    query: Any = select(*_ROW).where(_OPEN, col(Job.promised_on) < today).order_by(col(Job.promised_on), col(Job.id))
    return tuple(_row(r) for r in session.exec(query).all())


def jobs_by_id(session: Session, job_ids: Sequence[int]) -> tuple[JobRow, ...]:
    """Return a few jobs, the one promised first first."""
    query: Any = select(*_ROW).where(col(Job.id).in_(job_ids)).order_by(col(Job.promised_on), col(Job.id))
    return tuple(_row(r) for r in session.exec(query).all()) if job_ids else ()


def states(session: Session, job_ids: Sequence[int]) -> dict[int, BenchState]:
    """Return the counting states of a few jobs, by id."""
    if not job_ids:
        return {}
    rows = session.exec(select(Job.id, Job.bench).where(col(Job.id).in_(job_ids))).all()
    return {job_id: BenchState.from_json(bench) for job_id, bench in rows if job_id is not None}


def earlier_visits(session: Session, serial: str, but: str = "", limit: int = 8) -> tuple[Visit, ...]:
    """Return visits of the same serial, newest first; ``but`` leaves a job out by its number."""
    query: Any = (
        select(*_VISIT)
        .where(col(Job.serial) == serial, col(Job.number) != but)
        .order_by(col(Job.id).desc())
        .limit(limit)
    )
    rows = session.exec(query).all()
    return tuple(Visit(*row) for row in rows)


def events(session: Session, job_id: int, limit: int = 200, kinds: Iterable[str] = ()) -> tuple[EventRow, ...]:
    """Return the newest entries of a job's record, newest first; ``kinds`` narrows them."""
    query: Any = select(*_EVENT).where(col(BenchEvent.job_id) == job_id)
    wanted = tuple(kinds)
    if wanted:
        query = query.where(col(BenchEvent.kind).in_(wanted))
    rows = session.exec(query.order_by(col(BenchEvent.sequence).desc()).limit(limit)).all()
    return tuple(EventRow(*row) for row in rows)


def photos(session: Session, job_id: int) -> tuple[PhotoRow, ...]:
    """Return a job's photos in the order they were taken, without the pictures."""
    query: Any = select(*_PHOTO).where(col(Photo.job_id) == job_id).order_by(col(Photo.id))
    return tuple(PhotoRow(*row) for row in session.exec(query).all())


def photo_body(session: Session, number: str, photo_id: int) -> bytes:
    """Return the JPEG of one photo of a job; raises NotFound."""
    found = session.exec(
        select(Photo.body)
        .join(Job, col(Job.id) == col(Photo.job_id))
        .where(col(Job.number) == number, col(Photo.id) == photo_id)
    ).first()
    if found is None:
        raise NotFound(f"photo {photo_id} of job {number}")
    return found
