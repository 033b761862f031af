"""One job's record: its row, its entries in order, and what they did to parts, scrap, photos and stock."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlmodel import Session

from app.platform.errors import NotFound
from app.review.queries.tables import (
    bench_event,
    device_model,
    discard,
    job,
    kit_line,
    kit_lot,
    lot,
    part,
    part_use,
    photo,
)
from app.rules.counting import Event


@dataclass(frozen=True)
class Linked:
    """An entry of the record with its place in it and the hash that was stored with it."""

    sequence: int
    event: Event
    chain: str


@dataclass(frozen=True)
class JobFacts:
    """A job's own facts. ``bench`` is the projection of its entries as plain JSON; money may not be known yet."""

    id: int
    number: str
    revision_id: int
    model: str
    kind: str
    serial: str
    fault: str
    condition: str
    in_box: str
    owner_ref: str
    coverage: str
    data_wish: str
    stage: str
    hold: str
    hold_reason: str
    bench: dict[str, Any]
    technician_id: int | None
    promised_on: date | None
    quoted: Decimal | None
    parts_cost: Decimal | None
    labour_cost: Decimal | None
    bench_s: int | None
    booked_at: datetime
    booked_by: int | None
    closed_at: datetime | None
    closed_by: int | None
    overridden: bool
    seal: str
    last_sequence: int
    chain: str


@dataclass(frozen=True)
class UsedPart:
    """A new part that went in: its lot, where it went, what it cost each; ``struck`` when it was taken back."""

    part_number: str
    name: str
    lot_code: str
    serial: str
    step: str
    item: str
    quantity: int
    unit_cost: Decimal | None
    struck: bool
    event_id: str


@dataclass(frozen=True)
class KitPart:
    """What of a lot the job was handed and what became of it."""

    part_number: str
    name: str
    lot_code: str
    unit_cost: Decimal
    issued: int
    fitted: int
    spoiled: int
    returned: int


@dataclass(frozen=True)
class Scrap:
    """Something scrapped, with its reason and waste stream; ``item`` is its key in the sheet."""

    item: str
    name: str
    quantity: int
    reason: str
    waste_stream: str
    struck: bool


@dataclass(frozen=True)
class PhotoInfo:
    """A photo without its picture."""

    id: int
    event_id: str | None
    caption: str
    width: int
    height: int
    taken_at: datetime
    person_id: int | None


_FACTS: tuple[Any, ...] = (
    job.c.id, job.c.number, job.c.revision_id, device_model.c.name, device_model.c.kind, job.c.serial, job.c.fault,
    job.c.condition, job.c.in_box, job.c.owner_ref, job.c.coverage, job.c.data_wish, job.c.stage, job.c.hold,
    job.c.hold_reason, job.c.bench, job.c.technician_id, job.c.promised_on, job.c.quoted, job.c.parts_cost,
    job.c.labour_cost, job.c.bench_s, job.c.booked_at, job.c.booked_by, job.c.closed_at, job.c.closed_by,
    job.c.overridden, job.c.seal, job.c.last_sequence, job.c.chain,
)  # fmt: skip


def job_facts(session: Session, number: str) -> JobFacts:
    """Return a job's own facts; raises NotFound."""
    query = (
        select(*_FACTS)
        .join_from(job, device_model, device_model.c.id == job.c.device_model_id)
        .where(job.c.number == number)
    )
    row = session.connection().execute(query).first()
    if row is None:
        raise NotFound(f"job {number}")
    return JobFacts(*row)


def entries(session: Session, job_id: int, *, after: int = 0, limit: int | None = None) -> tuple[Linked, ...]:
    """Return the entries of a job's record in order, from after a sequence number on."""
    shown = bench_event.c
    query = (
        select(
            shown.sequence, shown.chain, shown.event_id, shown.kind, shown.person_id, shown.at, shown.step, shown.data,
            shown.undoes,
        )
        .where(shown.job_id == job_id, shown.sequence > after)
        .order_by(shown.sequence)
        .limit(limit)
    )  # fmt: skip
    return tuple(Linked(row[0], Event(*row[2:]), row[1]) for row in session.connection().execute(query))


def used_parts(session: Session, job_id: int) -> tuple[UsedPart, ...]:
    """Return the new parts that went into a device, in the order they went in, struck ones too."""
    query = (
        select(
            part_use.c.part_number, part.c.name, lot.c.code, part_use.c.serial, part_use.c.step, part_use.c.item,
            part_use.c.quantity, kit_lot.c.unit_cost, part_use.c.struck, part_use.c.event_id,
        )
        .select_from(part_use)
        .outerjoin(part, part.c.number == part_use.c.part_number)
        .outerjoin(lot, lot.c.id == part_use.c.lot_id)
        .outerjoin(kit_lot, (kit_lot.c.job_id == part_use.c.job_id) & (kit_lot.c.lot_id == part_use.c.lot_id))
        .where(part_use.c.job_id == job_id)
        .order_by(part_use.c.id)
    )  # fmt: skip
    found: list[Any] = list(session.connection().execute(query))
    return tuple(UsedPart(row[0], row[1] or row[0], row[2] or "", *row[3:]) for row in found)


def kit_parts(session: Session, job_id: int) -> tuple[KitPart, ...]:
    """Return the lots a job was handed, in the order they were handed out."""
    query = (
        select(
            kit_lot.c.part_number, part.c.name, kit_lot.c.lot_code, kit_lot.c.unit_cost, kit_lot.c.issued,
            kit_lot.c.fitted, kit_lot.c.spoiled, kit_lot.c.returned,
        )
        .select_from(kit_lot)
        .outerjoin(part, part.c.number == kit_lot.c.part_number)
        .where(kit_lot.c.job_id == job_id)
        .order_by(kit_lot.c.id)
    )  # fmt: skip
    return tuple(KitPart(row[0], row[1] or row[0], *row[2:]) for row in session.connection().execute(query))


def planned_quantities(session: Session, job_id: int) -> dict[str, int]:
    """Return how many of each part the plan asked for, by part number."""
    query = select(kit_line.c.part_number, kit_line.c.planned).where(kit_line.c.job_id == job_id)
    return {row[0]: row[1] for row in session.connection().execute(query)}


def scrap(session: Session, job_id: int) -> tuple[Scrap, ...]:
    """Return what a job scrapped, in the order it was scrapped, struck entries too."""
    query = (
        select(
            discard.c.item,
            discard.c.name,
            discard.c.quantity,
            discard.c.reason,
            discard.c.waste_stream,
            discard.c.struck,
        )
        .where(discard.c.job_id == job_id)
        .order_by(discard.c.id)
    )
    return tuple(Scrap(*row) for row in session.connection().execute(query))


def photos(session: Session, job_id: int) -> tuple[PhotoInfo, ...]:
    """Return a job's photos without their pictures, oldest first."""
    shown = photo.c
    query = (
        select(shown.id, shown.event_id, shown.caption, shown.width, shown.height, shown.taken_at, shown.person_id)
        .where(shown.job_id == job_id)
        .order_by(shown.id)
    )
    return tuple(PhotoInfo(*row) for row in session.connection().execute(query))
