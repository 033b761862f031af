"""Old units, returns to suppliers, and how parts go round, as they are read."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlmodel import Session, col, select

from app.people.queries import names
from app.platform.errors import NotFound
from app.rules.stores.supplier_returns import ReturnState
from app.rules.stores.units import OPEN, Deed, UnitKind, UnitState, fold_unit, keeps_old
from app.rules.verdict import Refused
from app.stores.models import Location, Lot, OldUnit, OldUnitEvent, Part, Supplier, SupplierReturn, UnitTerms


@dataclass(frozen=True)
class Terms:
    """How a part goes round; ``core_charge`` and ``core_days`` matter for exchange units alone."""

    kind: UnitKind = UnitKind.CONSUMED
    core_charge: Decimal = Decimal(0)
    core_days: int = 30

    def keeps(self, defective_cell: bool) -> bool:
        """Whether the old unit is kept: repaired or owed, and no cell that may not be put back."""
        return keeps_old(self.kind, defective_cell)


@dataclass(frozen=True)
class UnitRow:
    """An old unit: what it is, where, since when, and what is still to do with it."""

    number: str
    part_number: str
    part_name: str
    serial: str
    kind: UnitKind
    state: UnitState
    defective_cell: bool
    cell: bool
    waste_stream: str
    location: str
    source_ref: str
    came_at: datetime
    due_on: date | None
    core_charge: Decimal
    repair_cost: Decimal | None
    lot_code: str
    supplier_name: str
    supplier_address: str
    supplier_email: str
    ended_at: datetime | None

    @property
    def open(self) -> bool:
        """Whether something is still to do with it."""
        return self.state in OPEN


@dataclass(frozen=True)
class UnitSaid:
    """One thing that happened to a unit."""

    deed: str
    state: UnitState
    words: str
    location: str
    cost: Decimal | None
    at: datetime
    who: str


@dataclass(frozen=True)
class ReturnRow:
    """Goods sent back to a supplier, and the credit that is expected or came."""

    number: str
    supplier_name: str
    supplier_address: str
    supplier_email: str
    order_number: str
    part_number: str
    part_name: str
    supplier_number: str
    lot_code: str
    quantity: int
    unit: str
    reason: str
    words: str
    replaced: bool
    expected: Decimal
    state: ReturnState
    credited: Decimal | None
    note: str
    sent_at: datetime
    sent_by: str
    closed_at: datetime | None
    closed_by: str


def unit_terms(session: Session, number: str) -> Terms:
    """Return how a part goes round; consumed while nobody has said anything."""
    row = session.exec(
        select(UnitTerms).join(Part, col(Part.id) == col(UnitTerms.part_id)).where(col(Part.number) == number)
    ).first()
    return Terms(row.kind, row.core_charge, row.core_days) if row else Terms()


def terms_of(session: Session, numbers: Iterable[str]) -> dict[str, Terms]:
    """Return how parts go round, by number; those that nobody has said anything of are left out."""
    rows = session.exec(
        select(UnitTerms, Part.number)
        .join(Part, col(Part.id) == col(UnitTerms.part_id))
        .where(col(Part.number).in_(sorted(numbers)))
    ).all()
    return {number: Terms(row.kind, row.core_charge, row.core_days) for row, number in rows}


def _units() -> Any:
    return (
        select(OldUnit, Part, Location.code, Supplier, Lot.code)  # type: ignore[call-overload]
        .join(Part, col(Part.id) == col(OldUnit.part_id))
        .join(Location, col(Location.id) == col(OldUnit.location_id))
        .join(Supplier, col(Supplier.id) == col(Part.supplier_id))
        .outerjoin(Lot, col(Lot.id) == col(OldUnit.lot_id))
    )


def _unit(unit: OldUnit, part: Part, place: str, supplier: Supplier, lot: str | None) -> UnitRow:
    return UnitRow(
        unit.number, part.number, part.name, unit.serial, unit.kind, unit.state, unit.defective_cell,
        part.waste_stream.value == "cell", part.waste_stream.value, place, unit.source_ref, unit.came_at, unit.due_on,
        unit.core_charge, unit.repair_cost, lot or "", supplier.name, supplier.address, supplier.email, unit.ended_at,
    )  # fmt: skip


def open_units(session: Session) -> tuple[UnitRow, ...]:
    """Return the units with something still to do: cores first by the day they are due, then rotables by age."""
    # In the very words of the index.
    query = _units().where(col(OldUnit.state).in_(OPEN)).order_by(col(OldUnit.id))
    rows = [_unit(*row) for row in session.exec(query).all()]
    return tuple(sorted(rows, key=lambda row: (row.due_on or date.max, row.number)))


def ended_units(session: Session, limit: int = 20) -> tuple[UnitRow, ...]:
    """Return the units that were dealt with last, the newest first."""
    query = _units().where(col(OldUnit.ended_at).is_not(None)).order_by(col(OldUnit.ended_at).desc()).limit(limit)
    return tuple(_unit(*row) for row in session.exec(query).all())


def old_unit(session: Session, number: str) -> UnitRow:
    """Return one unit; raises NotFound."""
    row = session.exec(_units().where(col(OldUnit.number) == number)).first()
    if row is None:
        raise NotFound(f"unit {number}")
    return _unit(*row)


def units_of_source(session: Session, source_ref: str) -> tuple[UnitRow, ...]:
    """Return the old units that came from a source, such as a job."""
    query = _units().where(col(OldUnit.source_ref) == source_ref).order_by(col(OldUnit.id))
    return tuple(_unit(*row) for row in session.exec(query).all())


def unit_history(session: Session, number: str) -> tuple[UnitSaid, ...]:
    """Return all that happened to a unit, in order."""
    rows = session.exec(
        select(OldUnitEvent, Location.code)
        .join(OldUnit, col(OldUnit.id) == col(OldUnitEvent.unit_id))
        .join(Location, col(Location.id) == col(OldUnitEvent.location_id))
        .where(col(OldUnit.number) == number)
        .order_by(col(OldUnitEvent.id))
    ).all()
    people = names(session)
    return tuple(
        UnitSaid(
            row.deed, row.state, row.words, place, row.cost, row.at,
            people.get(row.person_id, "") if row.person_id is not None else "",
        )
        for row, place in rows
    )  # fmt: skip


def supplier_returns(
    session: Session, *, open_only: bool = False, number: str = "", limit: int = 50
) -> tuple[ReturnRow, ...]:
    """Return goods sent back, those that wait for their credit first, then the newest; one alone by ``number``."""
    query = (
        select(SupplierReturn, Supplier, Part, Lot.code)
        .join(Supplier, col(Supplier.id) == col(SupplierReturn.supplier_id))
        .join(Part, col(Part.id) == col(SupplierReturn.part_id))
        .join(Lot, col(Lot.id) == col(SupplierReturn.lot_id))
        .order_by(col(SupplierReturn.state) != ReturnState.SENT, col(SupplierReturn.id).desc())
        .limit(limit)
    )
    if open_only:
        query = query.where(col(SupplierReturn.state) == ReturnState.SENT)
    if number:
        query = query.where(col(SupplierReturn.number) == number)
    people = names(session)

    def who(person: int | None) -> str:
        return people.get(person, "") if person is not None else ""

    return tuple(
        ReturnRow(
            row.number, supplier.name, supplier.address, supplier.email, row.order_number, part.number, part.name,
            part.supplier_number, lot, row.quantity, part.unit, row.reason.value, row.words, row.replaced,
            row.expected, row.state, row.credited, row.note, row.sent_at, who(row.sent_by), row.closed_at,
            who(row.closed_by),
        )
        for row, supplier, part, lot in session.exec(query).all()
    )  # fmt: skip


def unit_faults(session: Session) -> list[str]:
    """Return where an old unit is not where its facts have it, or has become stock without a lot."""
    deeds: dict[int, list[OldUnitEvent]] = {}
    for event in session.exec(select(OldUnitEvent).order_by(col(OldUnitEvent.id))).all():
        deeds.setdefault(event.unit_id, []).append(event)
    found = []
    for unit in session.exec(select(OldUnit).order_by(col(OldUnit.id))).all():
        mine = deeds.get(unit.id or 0, [])
        try:
            state = fold_unit(unit.kind, [Deed(event.deed) for event in mine])
        except (Refused, ValueError) as error:
            found.append(f"Unit {unit.number}: its facts cannot be read one after the other: {error}")
            continue
        if state is not unit.state or mine[-1].state is not unit.state:
            found.append(f"Unit {unit.number}: stored as {unit.state.value}, the facts give {state.value}.")
        if mine[-1].location_id != unit.location_id:
            found.append(f"Unit {unit.number}: stored at another place than its last fact gives.")
        if (unit.state is UnitState.STOCK) != (unit.lot_id is not None):
            found.append(f"Unit {unit.number}: it is {unit.state.value}, and that does not agree with its lot.")
        if (unit.state in OPEN) != (unit.ended_at is None):
            found.append(f"Unit {unit.number}: it is {unit.state.value}, and that does not agree with its end.")
    return found
