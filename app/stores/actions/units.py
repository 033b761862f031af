"""Old units: they come out of devices, are repaired into a new lot or given up, or go back as cores."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused
from app.rules.money import check_unit_cost
from app.rules.stores import units as rules
from app.rules.stores.units import Deed, UnitKind, UnitState
from app.stores.actions.kits import find_location
from app.stores.actions.ledger import Entry, Move, id_of, lock_part_ids, lock_parts, note_changes, post
from app.stores.models import Lot, MovementKind, OldUnit, OldUnitEvent, Part, UnitTerms


@dataclass(frozen=True)
class CameOut:
    """A unit that came out of a device. ``defective_cell``: a lithium cell that is damaged, swollen, hot or leaking."""

    part_number: str
    serial: str = ""
    defective_cell: bool = False


def save_unit_terms(
    session: Session, number: str, kind: UnitKind, core_charge: Decimal, core_days: int, *, at: datetime
) -> None:
    """Say how a part goes round. Refused for a cell as a rotable, and for a charge with too many decimals."""
    held = lock_parts(session, [number])[number]
    rules.check_kind(kind, held.part.waste_stream)
    try:
        check_unit_cost(core_charge)
    except ValueError as error:
        raise Refused("A core charge has at most 4 decimals and is not below zero.", "core_charge") from error
    if core_days < 1:
        raise Refused("Give the supplier's time for the core in days, at least 1.", "core_days")
    row = session.get(UnitTerms, held.id) or UnitTerms(part_id=held.id, kind=kind, core_charge=Decimal(0))
    row.kind, row.core_days = kind, core_days
    row.core_charge = core_charge if kind is UnitKind.EXCHANGE else Decimal(0)
    session.add(row)
    session.flush()
    note_changes(session, [held.id])


def take_in_units(
    session: Session,
    source_ref: str,
    came: Iterable[CameOut],
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    today: date,
) -> tuple[str, ...]:
    """Take old units in where their part is repaired or owed; returns the numbers given, in the order of ``came``.

    A part that is consumed is passed over: its old one is scrapped. So is a cell that may not be put back.
    """
    wanted = list(came)
    numbers = {one.part_number for one in wanted}
    parts = {p.number: p for p in session.exec(select(Part).where(col(Part.number).in_(numbers))).all()}
    ids = [id_of(part) for part in parts.values()]
    terms = {t.part_id: t for t in session.exec(select(UnitTerms).where(col(UnitTerms.part_id).in_(ids))).all()}
    wanted = [one for one in wanted if _goes_round(one, parts, terms)]
    if not wanted:
        return ()
    # One after another: the number of a unit follows from how many there are.
    lock_part_ids(session, {id_of(parts[one.part_number]) for one in wanted})
    found = []
    for line, one in enumerate(wanted):
        part = parts[one.part_number]
        own = terms[id_of(part)]
        unit = OldUnit(
            number=_next_number(session), part_id=id_of(part), serial=one.serial, kind=own.kind,
            state=rules.first_state(own.kind), location_id=part.location_id, source_ref=source_ref, came_at=at,
            defective_cell=one.defective_cell, core_charge=own.core_charge,
            due_on=rules.due_day(today, own.core_days) if own.kind is UnitKind.EXCHANGE else None,
        )  # fmt: skip
        session.add(unit)
        session.flush()
        _say(session, unit, Deed.CAME, "", Entry(entry_id, at, who, source_ref), line)
        found.append(unit.number)
    return tuple(found)


def _goes_round(one: CameOut, parts: dict[str, Part], terms: dict[int, UnitTerms]) -> bool:
    part = parts.get(one.part_number)
    own = terms.get(id_of(part)) if part else None
    return part is not None and own is not None and rules.keeps_old(own.kind, one.defective_cell)


def _next_number(session: Session) -> str:
    last = session.exec(select(func.max(col(OldUnit.id)))).one()
    return f"U{(last or 0) + 1:06d}"


def _say(
    session: Session, unit: OldUnit, deed: Deed, words: str, entry: Entry, line: int = 0, cost: Decimal | None = None
) -> None:
    session.add(
        OldUnitEvent(
            entry_id=entry.entry_id, line=line, unit_id=id_of(unit), deed=deed.value, state=unit.state,
            words=words[:300], location_id=unit.location_id, cost=cost, at=entry.at, person_id=entry.who,
        )
    )  # fmt: skip
    session.add(unit)
    session.flush()


def _load(session: Session, number: str) -> tuple[OldUnit, Part]:
    """Load a unit with its part, both locked: two clerks cannot do two things with one unit."""
    row = session.exec(select(OldUnit).where(col(OldUnit.number) == number).with_for_update()).first()
    if row is None:
        raise NotFound(f"unit {number}")
    part = lock_part_ids(session, [row.part_id])[row.part_id].part
    return row, part


def _do(
    session: Session,
    unit: OldUnit,
    deed: Deed,
    words: str,
    entry: Entry,
    cost: Decimal | None = None,
) -> None:
    unit.state = rules.after(unit.number, unit.state, deed)
    if unit.state not in rules.OPEN:
        unit.ended_at = entry.at
    _say(session, unit, deed, words, entry, cost=cost)


def move_unit(session: Session, number: str, location: str, *, entry_id: str, at: datetime, who: int | None) -> None:
    """Put an old unit to another place. Raises NotFound or Refused."""
    unit, part = _load(session, number)
    unit.location_id = find_location(session, location, part)
    _do(session, unit, Deed.MOVE, "", Entry(entry_id, at, who, unit.source_ref))


def send_unit_to_repair(
    session: Session, number: str, where: str, *, entry_id: str, at: datetime, who: int | None
) -> None:
    """Send a rotable to its repair, in the house or outside; ``where`` says which. Raises NotFound or Refused."""
    unit, _part = _load(session, number)
    where = " ".join(where.split())
    if not where:
        raise Refused("Say where it is repaired: which bench, or which firm.", "words")
    _do(session, unit, Deed.SEND, where, Entry(entry_id, at, who, unit.source_ref))


def unit_repaired(
    session: Session,
    number: str,
    cost: Decimal,
    words: str,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
) -> int:
    """Take a repaired unit into stock: a new lot of one at the cost of its repair; returns the lot's id.

    Refused for a part with a shelf life (nobody can say its last day), and for a cost with too many decimals.
    """
    unit, part = _load(session, number)
    try:
        check_unit_cost(cost)
    except ValueError as error:
        raise Refused("A cost has at most 4 decimals and is not below zero.", "cost") from error
    if part.shelf_life_days is not None:
        raise Refused(f"{part.number} does not keep for ever, so a repaired one cannot be stock. Give it up.", "cost")
    entry = Entry(entry_id, at, who, f"unit:{number}")
    unit.state = rules.after(number, unit.state, Deed.MEND)
    lot = Lot(part_id=id_of(part), code=f"{number}-{_times_mended(session, unit) + 1}", unit_cost=cost, received_at=at)
    session.add(lot)
    session.flush()
    serials = (unit.serial,) if unit.serial else ()
    post(session, entry, [Move(MovementKind.RECEIPT, lot, part.location_id, 1, "Repaired", serials)])
    unit.lot_id, unit.repair_cost, unit.ended_at, unit.location_id = id_of(lot), cost, at, part.location_id
    _say(session, unit, Deed.MEND, " ".join(words.split()), entry, cost=cost)
    return id_of(lot)


def _times_mended(session: Session, unit: OldUnit) -> int:
    return session.exec(
        select(func.count())
        .select_from(OldUnitEvent)
        .where(col(OldUnitEvent.unit_id) == unit.id, col(OldUnitEvent.deed) == Deed.MEND.value)
    ).one()


def give_unit_up(session: Session, number: str, reason: str, *, entry_id: str, at: datetime, who: int | None) -> str:
    """Scrap a rotable that is beyond repair; returns its waste stream. Raises NotFound or Refused."""
    unit, part = _load(session, number)
    reason = " ".join(reason.split())
    if not reason:
        raise Refused("Say why it is beyond repair.", "words")
    words = f"{reason.rstrip('.')}. Waste stream: {part.waste_stream.value}."
    _do(session, unit, Deed.GIVE_UP, words, Entry(entry_id, at, who, unit.source_ref))
    return part.waste_stream.value


def send_core(
    session: Session, number: str, words: str, *, by_air: bool, entry_id: str, at: datetime, who: int | None
) -> None:
    """Send a core back to its supplier. Refused for a damaged or defective lithium cell by air."""
    unit, _part = _load(session, number)
    rules.check_shipping(unit.defective_cell, by_air)
    how = "By air." if by_air else "By road or sea."
    _do(
        session,
        unit,
        Deed.RETURN,
        f"{how} {' '.join(words.split())}".strip(),
        Entry(entry_id, at, who, unit.source_ref),
    )


def end_core(
    session: Session, number: str, accepted: bool, words: str, *, entry_id: str, at: datetime, who: int | None
) -> None:
    """Note the supplier's answer: the core is accepted, or its charge is to be paid. Raises NotFound or Refused."""
    unit, _part = _load(session, number)
    words = " ".join(words.split())
    if not accepted and not words:
        raise Refused("Say why the core is charged: late, damaged, not sent.", "words")
    deed = Deed.ACCEPT if accepted else Deed.CHARGE
    charge = None if accepted else unit.core_charge
    _do(session, unit, deed, words, Entry(entry_id, at, who, unit.source_ref), charge)


__all__ = [
    "CameOut", "UnitState", "end_core", "give_unit_up", "move_unit", "save_unit_terms", "send_core",
    "send_unit_to_repair", "take_in_units", "unit_repaired",
]  # fmt: skip
