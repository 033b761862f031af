"""Old units that came out of a job's device as new ones went in, and alternates that went in for other parts."""

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.jobs.models import BenchEvent, PartUse
from app.rules.job_flow import SOUND_CELL
from app.rules.sheet import Sheet, WasteStream
from app.rules.stores.units import UnitKind
from app.stores import queries as stores


@dataclass(frozen=True)
class OldUnitOut:
    """A unit that came out and whose new one is in; ``defective`` is said of cells alone, ``item`` is its place."""

    item: str
    part_number: str
    name: str
    serial: str
    defective: bool


@dataclass(frozen=True)
class KeptUnit:
    """An old unit that is not scrapped: it is repaired, or its core is owed with this charge."""

    out: OldUnitOut
    kind: UnitKind
    core_charge: Decimal


@dataclass(frozen=True)
class InPlace:
    """``count`` pieces of ``part`` that were fitted in place of another part."""

    part: str
    instead_of: str
    count: int


def old_units_out(session: Session, job_id: int, sheet: Sheet) -> tuple[OldUnitOut, ...]:
    """Return the units that came out of a device, one for each new unit that is in, in the order of the sheet.

    The serial is what the technician read off the old one. A cell is taken for defective when it was not sound on
    arrival or was reported damaged.
    """
    fitted = dict(
        session.exec(
            select(col(PartUse.item), func.sum(col(PartUse.quantity)))
            .where(col(PartUse.job_id) == job_id, col(PartUse.struck).is_(False), col(PartUse.item).contains("/unit:"))
            .group_by(col(PartUse.item))
        ).all()
    )
    if not fitted:
        return ()
    serials, sound, damaged = _said(session, job_id)
    names = {unit.id: unit for unit in sheet.units}
    found = []
    for step in sheet.steps:
        key = f"{step.id}/unit:{step.frees}"
        if step.frees is None or key not in fitted:
            continue
        unit = names[step.frees]
        read = serials.get(step.id, [])
        cell = unit.waste is WasteStream.CELL
        for n in range(int(fitted[key])):
            bad = cell and (not sound or key in damaged)
            found.append(OldUnitOut(key, unit.part, unit.name, read[n] if n < len(read) else "", bad))
    return tuple(found)


def _said(session: Session, job_id: int) -> tuple[dict[str, list[str]], bool, set[str]]:
    """Return the old serials by step, whether the cell was sound on arrival, and the items reported damaged."""
    rows = session.exec(
        select(BenchEvent)
        .where(col(BenchEvent.job_id) == job_id, col(BenchEvent.kind).in_(("safe", "tick", "damage", "undo")))
        .order_by(col(BenchEvent.sequence))
    ).all()
    undone = {row.undoes for row in rows if row.undoes}
    serials: dict[str, list[str]] = {}
    sound, damaged = True, set()
    for row in rows:
        if row.event_id in undone:
            continue
        if row.kind == "safe":
            sound = row.data.get("cell", "sound") in SOUND_CELL
        elif row.kind == "damage":
            damaged.add(str(row.data.get("item", "")))
        elif row.data.get("old_serial") and row.step:
            serials.setdefault(row.step, []).append(str(row.data["old_serial"]))
    return serials, sound, damaged


def kept_units(session: Session, job_id: int, sheet: Sheet) -> tuple[KeptUnit, ...]:
    """Return those of the old units that are not scrapped, by what is said of their parts in the stores."""
    out = old_units_out(session, job_id, sheet)
    terms = stores.terms_of(session, {one.part_number for one in out})
    return tuple(
        KeptUnit(one, terms[one.part_number].kind, terms[one.part_number].core_charge)
        for one in out
        if one.part_number in terms and terms[one.part_number].keeps(one.defective)
    )


def in_place(session: Session, job_id: int) -> tuple[InPlace, ...]:
    """Return the alternates that are fitted in a job in place of other parts, by part number."""
    rows = session.exec(
        select(col(PartUse.part_number), col(PartUse.in_place_of), func.sum(col(PartUse.quantity)))
        .where(col(PartUse.job_id) == job_id, col(PartUse.struck).is_(False), col(PartUse.in_place_of) != "")
        .group_by(col(PartUse.part_number), col(PartUse.in_place_of))
        .order_by(col(PartUse.part_number))
    ).all()
    return tuple(InPlace(part, wanted, int(count)) for part, wanted, count in rows)
