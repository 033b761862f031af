"""Reads of the bench: a job's items and tray pockets, the lots in hand, its entries and its marks of time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import bindparam, func, inspect
from sqlmodel import Session, col, select

from app.jobs.models import BenchEvent, Hold, Job, KitLot, KitStandIn, PartUse, Stage
from app.platform.errors import NotFound
from app.rules import counting
from app.rules.bench import LotInHand
from app.rules.counting import BenchState, Event, Item
from app.rules.descent import pocket_numbers, pockets_of
from app.rules.fitting import with_alternates
from app.rules.sheet import Sheet
from app.stores.queries import quarantined

__all__ = [
    "BenchJob",
    "ReportRow",
    "as_event",
    "bench_job",
    "find_event",
    "items_for",
    "keep_state",
    "kit_lots",
    "lots_in_hand",
    "pocket_numbers",
    "pockets_of",
    "reports",
    "state_of",
    "time_entries",
]


def state_of(job: Job) -> BenchState:
    """Return where the job stands at the bench. Read from the JSON once a version of the row."""
    kept = inspect(job).info
    found: tuple[int, BenchState] | None = kept.get("bench state")
    if found is None or found[0] != job.version:
        found = kept["bench state"] = (job.version, BenchState.from_json(job.bench))
    return found[1]


def keep_state(job: Job, state: BenchState) -> None:
    """Put a new state on the row, and keep it read."""
    job.bench = state.to_json()
    job.questions = len(state.questions)
    inspect(job).info["bench state"] = (job.version, state)


@lru_cache(maxsize=512)
def _items(revision_id: int, teardown: tuple[str, ...], targets: tuple[str, ...], sheet_box: "_Box") -> dict[str, Item]:
    return counting.items_of(sheet_box.sheet, teardown, targets)


class _Box:
    """Carries a sheet through the cache: told apart by identity, as each database keeps its own sheets."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Box) and other.sheet is self.sheet

    def __hash__(self) -> int:
        return id(self.sheet)


def items_for(revision_id: int, sheet: Sheet, state: BenchState) -> Mapping[str, Item]:
    """Return the items of a plan by key; cached, as a revision and a plan never change."""
    return _items(revision_id, state.teardown, state.targets, _Box(sheet))


# Built once, as every refit tick runs them: making a statement anew costs as much as running it.
_KIT_LOTS = select(KitLot).where(col(KitLot.job_id) == bindparam("job")).order_by(col(KitLot.id))
_SERIALS = select(PartUse.serial).where(
    col(PartUse.job_id) == bindparam("job"), col(PartUse.struck).is_(False), col(PartUse.serial) != ""
)
_STAND_INS = select(KitStandIn).where(col(KitStandIn.job_id) == bindparam("job"))
_STOOD_IN = (
    select(col(PartUse.in_place_of), col(PartUse.part_number), func.sum(col(PartUse.quantity)))
    .where(col(PartUse.job_id) == bindparam("job"), col(PartUse.struck).is_(False), col(PartUse.in_place_of) != "")
    .group_by(col(PartUse.in_place_of), col(PartUse.part_number))
)
_SPOILED = select(BenchEvent).where(col(BenchEvent.job_id) == bindparam("job"), col(BenchEvent.kind) == "spoiled")


_ENTRIES = select(BenchEvent).where(col(BenchEvent.job_id) == bindparam("job")).order_by(col(BenchEvent.sequence))


def entries_of(session: Session, job_id: int | None) -> Sequence[BenchEvent]:
    """Return all entries of a job in their order."""
    return session.exec(_ENTRIES, params={"job": job_id}).all()


def kit_lots(session: Session, job_id: int | None) -> dict[str, list[KitLot]]:
    """Return the lots handed out to a job by part number, in the order they were handed out."""
    found: dict[str, list[KitLot]] = {}
    for row in session.exec(_KIT_LOTS, params={"job": job_id}).all():
        found.setdefault(row.part_number, []).append(row)
    return found


def lots_in_hand(
    session: Session, job_id: int | None, lots: Mapping[str, Sequence[KitLot]]
) -> dict[str, list[LotInHand]]:
    """Return what of the handed-out lots is still free; serials that were fitted are left out.

    Lots of an approved alternate stand under the part that they may go in for too, after that one's own.
    """
    if not lots:
        return {}
    aside = quarantined(session)
    tracked = any(row.serials for rows in lots.values() for row in rows)
    used: set[str] = set()
    if tracked:
        used = set(session.exec(_SERIALS, params={"job": job_id}).all())
        used |= _spoiled_serials(session, job_id)
    own = {
        part: [
            LotInHand(
                row.lot_id,
                row.lot_code,
                row.issued - row.fitted - row.spoiled - row.returned,
                tuple(s for s in row.serials if s not in used),
                aside=aside.get(row.lot_id, ""),
            )
            for row in rows
        ]
        for part, rows in lots.items()
    }
    return with_alternates(own, _stand_ins_left(session, job_id))


def _stand_ins_left(session: Session, job_id: int | None) -> dict[tuple[str, str], int]:
    """Return, by wanted part and alternate, how many pieces of the alternate may still go in for it."""
    left = {
        (row.part_number, row.alternate): row.planned + row.added
        for row in session.exec(_STAND_INS, params={"job": job_id}).all()
    }
    if left:
        for wanted, part, count in session.exec(_STOOD_IN, params={"job": job_id}).all():
            left[wanted, part] = left.get((wanted, part), 0) - int(count)
    return left


def _spoiled_serials(session: Session, job_id: int | None) -> set[str]:
    """Return the serials of tracked pieces that were spoilt in fitting, but for reports taken back."""
    rows = session.exec(_SPOILED, params={"job": job_id}).all()
    if not rows:
        return set()
    undone = set(
        session.exec(select(BenchEvent.undoes).where(col(BenchEvent.undoes).in_([row.event_id for row in rows]))).all()
    )
    return {
        serial for row in rows if row.event_id not in undone for *_lot, serial in row.data.get("spoiled", ()) if serial
    }


def find_event(session: Session, job_id: int | None, event_id: str) -> BenchEvent | None:
    """Return one event of a job by its id, or None."""
    return session.exec(
        select(BenchEvent).where(col(BenchEvent.event_id) == event_id, col(BenchEvent.job_id) == job_id)
    ).first()


def as_event(row: BenchEvent) -> Event:
    """Return a stored event as the fold takes it."""
    return Event(row.event_id, row.kind, row.person_id, row.at, row.step, row.data, row.undoes)


@dataclass(frozen=True)
class BenchJob:
    """A job as the bench page needs it."""

    id: int
    number: str
    revision_id: int
    serial: str
    device_model_id: int
    stage: Stage
    hold: Hold
    hold_reason: str
    technician_id: int | None
    version: int
    state: BenchState


# Built once: making a statement anew costs as much as running it.
_COLUMNS: tuple[Any, ...] = (
    Job.id,
    Job.number,
    Job.revision_id,
    Job.serial,
    Job.device_model_id,
    Job.stage,
    Job.hold,
    Job.hold_reason,
    Job.technician_id,
    Job.version,
    Job.bench,
)
_JOB: Any = select(*_COLUMNS).where(col(Job.number) == bindparam("job_number"))


def bench_job(session: Session, number: str) -> BenchJob:
    """Return a job for the bench; raises NotFound."""
    row: Any = session.exec(_JOB, params={"job_number": number}).first()
    if row is None:
        raise NotFound(f"job {number}")
    plain: tuple[Any, ...] = (*row[:-1], BenchState.from_json(row[-1]))
    return BenchJob(*plain)


def time_entries(session: Session, job_id: int) -> tuple[Event, ...]:
    """Return all entries of a job as bench time reads them, in order."""
    columns: tuple[Any, ...] = (
        BenchEvent.event_id,
        BenchEvent.kind,
        BenchEvent.person_id,
        BenchEvent.at,
        BenchEvent.step,
        BenchEvent.data,
    )
    found: Any = select(*columns).where(col(BenchEvent.job_id) == job_id).order_by(col(BenchEvent.sequence))
    rows = session.exec(found).all()
    return tuple(Event(*row) for row in rows)


@dataclass(frozen=True)
class ReportRow:
    """A report of trouble as it was entered; ``taken_back`` when a later entry took it back."""

    event_id: str
    kind: str
    step: str | None
    at: datetime
    person_id: int | None
    data: Mapping[str, Any]
    taken_back: bool


REPORT_KINDS = ("damage", "absent", "lost", "spoiled", "leftover", "reject", "recount")


def reports(session: Session, job_id: int, pass_no: int) -> tuple[ReportRow, ...]:
    """Return the reports of the present pass, newest first; recounts only where pieces were short."""
    rows = session.exec(
        select(BenchEvent)
        .where(
            col(BenchEvent.job_id) == job_id,
            col(BenchEvent.pass_no) == pass_no,
            col(BenchEvent.kind).in_((*REPORT_KINDS, "undo")),
        )
        .order_by(col(BenchEvent.sequence).desc())
    ).all()
    undone = {row.undoes for row in rows if row.undoes}
    return tuple(
        ReportRow(r.event_id, r.kind, r.step, r.at, r.person_id, r.data, r.event_id in undone)
        for r in rows
        if r.kind in REPORT_KINDS and (r.kind != "recount" or r.data.get("effect"))
    )
