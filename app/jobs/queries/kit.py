"""The kit of a job: what it needs of each part, what is promised, handed out and short."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy import bindparam, or_
from sqlmodel import Session, col, select

from app.jobs.models import BenchEvent, Hold, Job, KitLine, KitLot, KitStandIn
from app.jobs.queries.jobs import OPEN_STAGES, JobDetail, is_begun
from app.rules.counting import BenchState
from app.rules.job_flow import Standing
from app.stores import queries as stores
from app.stores.queries import PickInHand, ProposedPick


@dataclass(frozen=True)
class KitRow:
    """One part of a kit, beside what the shelf has of it.

    ``outstanding`` is needed and not handed out, ``reserved`` is promised to this job, ``short`` is neither.
    ``available`` is what nobody is promised; ``expected_on`` is when the next open order is due.
    """

    part_number: str
    name: str
    unit: str
    location: str
    planned: int
    added: int
    issued: int
    returned: int
    reserved: int
    available: int
    on_order: int
    expected_on: date | None
    price: Decimal
    serial_tracked: bool
    over: bool = False
    spare: int = 0

    @property
    def needed(self) -> int:
        """Planned and added on the way."""
        return self.planned + self.added

    @property
    def outstanding(self) -> int:
        """Still to hand out, spares too; what came back from an open job is wanted again, as far as it is needed."""
        if self.over:
            return max(self.needed - self.issued, 0)
        return max(self.needed - self.issued + self.returned, self.planned + self.spare - self.issued, 0)

    @property
    def short(self) -> int:
        """Still to hand out and not promised to this job."""
        return max(self.outstanding - self.reserved, 0)


@dataclass(frozen=True)
class HandedLot:
    """What of a lot a job was handed; ``unused`` is neither fitted nor spoilt nor back."""

    part_number: str
    lot_id: int
    lot_code: str
    issued: int
    unit_cost: Decimal
    serials: tuple[str, ...]
    unused: int = 0


@dataclass(frozen=True)
class KitStandInRow:
    """``quantity`` of an alternate that a job takes in place of a part; ``open`` is not handed out yet."""

    part_number: str
    alternate: str
    quantity: int
    open: int


PLANS = ("planned", "extended")
"""Kinds of entries that say what a pass needs."""
ALTERNATES = ("alternate taken", "alternate given up")
"""Kinds of entries that move need from a part to its alternate, or back."""


def plan_in_force(session: Session, job_id: int, pass_no: int) -> Mapping[str, Any]:
    """Return the data of the entry that planned the present pass as it stands; empty when there is none."""
    found = session.exec(
        select(BenchEvent.data)
        .where(col(BenchEvent.job_id) == job_id, col(BenchEvent.pass_no) == pass_no, col(BenchEvent.kind).in_(PLANS))
        .order_by(col(BenchEvent.sequence).desc())
        .limit(1)
    ).first()
    return found or {}


def source_ref(number: str) -> str:
    """Return the name under which stores knows a job."""
    return f"job:{number}"


def kit(session: Session, job: JobDetail, today: date) -> tuple[KitRow, ...]:
    """Return a job's kit by part number; lines that came to nothing are left out."""
    lines = session.exec(select(KitLine).where(col(KitLine.job_id) == job.id).order_by(col(KitLine.part_number))).all()
    lines = [line for line in lines if line.planned + line.added + line.issued]
    shelf = stores.shelf(session, [line.part_number for line in lines], today)
    promised = stores.reserved_for(session, source_ref(job.number))
    found = []
    for line in lines:
        part = shelf[line.part_number]
        found.append(
            KitRow(
                part_number=line.part_number,
                name=part.name,
                unit=part.unit,
                location=part.location,
                planned=line.planned,
                added=line.added,
                issued=line.issued,
                returned=line.returned,
                reserved=promised.get(line.part_number, 0),
                available=part.available,
                on_order=part.on_order,
                expected_on=part.expected_on,
                price=part.price,
                serial_tracked=part.serial_tracked,
                over=job.stage not in OPEN_STAGES,
                spare=line.spare,
            )
        )
    return tuple(found)


def handed_lots(session: Session, job_id: int) -> tuple[HandedLot, ...]:
    """Return the lots handed out to a job, by part number, in the order they went out."""
    rows = session.exec(
        select(KitLot).where(col(KitLot.job_id) == job_id).order_by(col(KitLot.part_number), col(KitLot.id))
    ).all()
    return tuple(
        HandedLot(
            r.part_number, r.lot_id, r.lot_code, r.issued, r.unit_cost, tuple(r.serials),
            r.issued - r.fitted - r.spoiled - r.returned,
        )
        for r in rows
    )  # fmt: skip


# Built once: making a statement anew costs as much as running it.
_OUTSTANDING = (
    select(KitLine.part_number, KitLine.planned + KitLine.added + KitLine.returned - KitLine.issued)
    .where(col(KitLine.job_id) == bindparam("job"))
    .where(KitLine.planned + KitLine.added + KitLine.returned > KitLine.issued)
    .order_by(col(KitLine.part_number))
)


_LINES = select(KitLine).where(col(KitLine.job_id) == bindparam("job"))
_PLANS_OF = (
    select(BenchEvent.pass_no, BenchEvent.data)
    .where(col(BenchEvent.job_id) == bindparam("job"), col(BenchEvent.kind).in_(PLANS))
    .order_by(col(BenchEvent.sequence))
)
_WITH_SPARES = select(KitLine).where(col(KitLine.job_id) == bindparam("job"), KitLine.spare > 0)


def kit_lines(session: Session, job_id: int | None) -> dict[str, KitLine]:
    """Return the stored lines of a job's kit by part number, for an action to write."""
    return {line.part_number: line for line in session.exec(_LINES, params={"job": job_id}).all()}


def outstanding(session: Session, job_id: int) -> dict[str, int]:
    """Return what is still to hand out to a job and cannot be done without, by part number; zeros left out."""
    return dict(session.exec(_OUTSTANDING, params={"job": job_id}).all())


def of_parts_with_spares(session: Session, job_id: int) -> dict[str, int]:
    """Return what is still to hand out, spares too, of the parts that a job has spares of; zeros left out."""
    lines = session.exec(_WITH_SPARES, params={"job": job_id}).all()
    return {line.part_number: line.to_hand_out for line in lines if line.to_hand_out}


def to_hand_out(session: Session, job_id: int) -> dict[str, int]:
    """Return what is still to hand out to a job with its spares, by part number; zeros left out."""
    return dict(sorted({**outstanding(session, job_id), **of_parts_with_spares(session, job_id)}.items()))


def still_to_pick(
    session: Session, number: str, waits: Mapping[str, int], today: date, can_have: Mapping[str, int] | None = None
) -> tuple[tuple[PickInHand, ...], tuple[ProposedPick, ...]]:
    """Return what pickers hold for a job, and the lines still to pick, in walk order, first expired first out."""
    held = stores.picks_in_hand(session, source_ref(number))
    left = dict(waits)
    for pick in held:
        left[pick.part_number] = left.get(pick.part_number, 0) - pick.quantity
    wants = {part: min(n, (can_have or waits).get(part, 0)) for part, n in left.items() if n > 0}
    return held, stores.propose_picks(session, wants, today)


def stand_ins(session: Session, job_id: int) -> tuple[KitStandInRow, ...]:
    """Return the alternates that a job takes in place of its parts, by part number."""
    rows = session.exec(
        select(KitStandIn).where(col(KitStandIn.job_id) == job_id).order_by(col(KitStandIn.part_number))
    ).all()
    waits = outstanding(session, job_id) if rows else {}
    return tuple(
        KitStandInRow(r.part_number, r.alternate, r.planned + r.added, waits.get(r.alternate, 0))
        for r in rows
        if r.planned + r.added
    )


def any_short(session: Session) -> bool:
    """Whether any open job waits on a parts hold or for spares: asked after stock moved, before anything is locked."""
    spares = select(KitLine.job_id).where(KitLine.spare > 0, KitLine.planned + KitLine.spare > KitLine.issued)
    found = session.exec(
        select(Job.id)
        .where(col(Job.stage).in_(OPEN_STAGES), or_(col(Job.hold) == Hold.PARTS, col(Job.id).in_(spares)))
        .limit(1)
    ).first()
    return found is not None


def planned_of_passes(session: Session, job_id: int) -> dict[str, int]:
    """Return what all passes of a job planned of each part: the last plan of each pass counts."""
    total: dict[str, int] = {}
    for data in _plans(session, job_id):
        for part, count in data["kit"].items():
            total[part] = total.get(part, 0) + count
    return total


def spares_of_passes(session: Session, job_id: int) -> dict[str, int]:
    """Return the spares that all passes of a job planned of each part; parts without any are left out."""
    total: dict[str, int] = {}
    for data in _plans(session, job_id):
        for part, _step, count in data.get("spares", ()):
            total[part] = total.get(part, 0) + count
    return total


def _plans(session: Session, job_id: int) -> Iterable[Mapping[str, Any]]:
    rows = session.exec(_PLANS_OF, params={"job": job_id}).all()
    return dict(rows).values()


def standing_of(job: Job | JobDetail, state: BenchState, waits: Mapping[str, int], short: int = 0) -> Standing:
    """Return where a job stands for the rules; ``waits`` is what is still to hand out."""
    return Standing(
        stage=job.stage.value,
        hold=job.hold.value,
        coverage=job.coverage.value,
        second_pass=state.pass_no > 1 or state.counted,
        begun=is_begun(state),
        outstanding=sum(waits.values()),
        short=short,
        torn_down=state.torn_down,
        turned=state.turned,
        refitted=state.refitted,
    )
