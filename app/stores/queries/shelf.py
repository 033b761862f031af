"""What lies on the shelf: levels, lots, promises, and which lots a kit is picked from."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from sqlalchemy import bindparam, func, or_
from sqlmodel import Session, col, select

from app.rules.lots import ShelfLot, choose_lots
from app.rules.stock import available
from app.stores.models import (
    Location,
    Lot,
    LotBalance,
    LotQuarantine,
    OrderStatus,
    Part,
    PurchaseOrder,
    PurchaseOrderLine,
    Reservation,
    StockLevel,
)
from app.stores.queries.picking import claimed_at, doubtful_places

OPEN_ORDER = (OrderStatus.SENT, OrderStatus.CONFIRMED, OrderStatus.PART_RECEIVED)


@dataclass(frozen=True)
class ShelfPart:
    """A part as the shelf has it. ``on_hand`` counts expired lots too, ``available`` does not.

    ``usable`` is on hand in lots that have not expired; ``expected_on`` is when the next open order is due.
    """

    number: str
    name: str
    unit: str
    location: str
    on_hand: int
    usable: int
    reserved: int
    available: int
    on_order: int
    expected_on: date | None
    price: Decimal
    serial_tracked: bool
    waste_stream: str


@dataclass(frozen=True)
class Pick:
    """Take ``quantity`` of a lot at a location; ``serials`` where the part is tracked by serial."""

    part_number: str
    lot_id: int
    location_id: int
    quantity: int
    serials: tuple[str, ...] = ()


@dataclass(frozen=True)
class ProposedPick(Pick):
    """A pick as proposed, with what a picker needs to find it. May be handed out as it is."""

    part_name: str = ""
    unit: str = ""
    lot_code: str = ""
    location_code: str = ""
    expires_on: date | None = None
    unit_cost: Decimal = Decimal(0)
    serial_tracked: bool = False
    walk_order: int = 0


@dataclass(frozen=True)
class LotRow:
    """One lot at one location."""

    lot_id: int
    code: str
    part_number: str
    part_name: str
    unit: str
    location_id: int
    location: str
    on_hand: int
    expires_on: date | None
    unit_cost: Decimal
    received_on: date


# Built once, as they are run for every kit: making a statement anew costs as much as running it.
_USABLE = (
    select(col(Lot.part_id), func.sum(col(LotBalance.on_hand)))
    .join(LotBalance, col(LotBalance.lot_id) == col(Lot.id))
    .where(col(Lot.part_id).in_(bindparam("ids", expanding=True)))
    .where(or_(col(Lot.expires_on).is_(None), col(Lot.expires_on) >= bindparam("today")))
    .where(col(Lot.id).not_in(select(LotQuarantine.lot_id).where(col(LotQuarantine.ended_at).is_(None))))
    .group_by(col(Lot.part_id))
)
_ASIDE = select(LotQuarantine.lot_id, LotQuarantine.reason).where(col(LotQuarantine.ended_at).is_(None))
_RESERVED = (
    select(Part.number, Reservation.quantity)
    .join(Part, col(Part.id) == col(Reservation.part_id))
    .where(col(Reservation.source_ref) == bindparam("source"), col(Reservation.quantity) > 0)
    .order_by(col(Part.number))
)


def usable_by_part(session: Session, part_ids: Iterable[int], today: date) -> dict[int, int]:
    """Return what is on hand in lots neither expired nor set aside, by part id; parts with none are left out."""
    rows = session.exec(_USABLE, params={"ids": list(part_ids), "today": today}).all()
    return {part_id: int(total) for part_id, total in rows}


def _expected(session: Session, part_ids: Iterable[int]) -> dict[int, date]:
    rows = session.exec(
        select(col(PurchaseOrderLine.part_id), func.min(col(PurchaseOrder.expected_on)))
        .join(PurchaseOrder, col(PurchaseOrder.id) == col(PurchaseOrderLine.order_id))
        .where(
            col(PurchaseOrderLine.part_id).in_(list(part_ids)),
            col(PurchaseOrder.status).in_(OPEN_ORDER),
            col(PurchaseOrderLine.quantity) > PurchaseOrderLine.received + PurchaseOrderLine.closed_short,
        )
        .group_by(col(PurchaseOrderLine.part_id))
    ).all()
    return dict(rows)


def shelf(session: Session, part_numbers: Iterable[str], today: date) -> dict[str, ShelfPart]:
    """Return the named parts as the shelf has them, by number; unknown numbers are left out."""
    rows = session.exec(
        select(Part, Location.code, StockLevel)
        .join(Location, col(Location.id) == col(Part.location_id))
        .outerjoin(StockLevel, col(StockLevel.part_id) == col(Part.id))
        .where(col(Part.number).in_(list(part_numbers)))
        .order_by(col(Part.number))
    ).all()
    ids = [part.id for part, _code, _level in rows if part.id is not None]
    usable = usable_by_part(session, ids, today)
    expected = _expected(session, ids)
    return {p.number: _shelf_part(p, code, level, usable, expected) for p, code, level in rows}


def _shelf_part(
    part: Part, code: str, level: StockLevel | None, usable: Mapping[int, int], expected: Mapping[int, date]
) -> ShelfPart:
    assert part.id is not None
    there = usable.get(part.id, 0)
    reserved = level.reserved if level else 0
    return ShelfPart(
        number=part.number,
        name=part.name,
        unit=part.unit,
        location=code,
        on_hand=level.on_hand if level else 0,
        usable=there,
        reserved=reserved,
        available=available(there, reserved),
        on_order=level.on_order if level else 0,
        expected_on=expected.get(part.id),
        price=part.price,
        serial_tracked=part.serial_tracked,
        waste_stream=part.waste_stream.value,
    )


def serial_tracked(session: Session, part_numbers: Iterable[str]) -> dict[str, str]:
    """Return the names of those of the parts that are tracked by serial, by part number."""
    query = select(Part.number, Part.name).where(
        col(Part.number).in_(sorted(part_numbers)), col(Part.serial_tracked).is_(True)
    )
    return dict(session.exec(query).all())


def reserved_for(session: Session, source_ref: str) -> dict[str, int]:
    """Return what is promised to a source and not yet handed out, by part number; zeros left out."""
    rows = session.exec(_RESERVED, params={"source": source_ref}).all()
    return dict(rows)


def lots_of(session: Session, part_numbers: Iterable[str], *, empty: bool = False) -> tuple[LotRow, ...]:
    """Return the lots of parts by location, first expired first; ``empty`` shows used-up ones too."""
    query = (
        select(Lot, LotBalance.on_hand, Location, Part)
        .join(LotBalance, col(LotBalance.lot_id) == col(Lot.id))
        .join(Location, col(Location.id) == col(LotBalance.location_id))
        .join(Part, col(Part.id) == col(Lot.part_id))
        .where(col(Part.number).in_(list(part_numbers)))
    )
    if not empty:
        query = query.where(col(LotBalance.on_hand) > 0)
    found = [
        LotRow(
            lot.id or 0, lot.code, part.number, part.name, part.unit, place.id or 0, place.code, on_hand,
            lot.expires_on, lot.unit_cost, lot.received_at.date(),
        )
        for lot, on_hand, place, part in session.exec(query).all()
    ]  # fmt: skip
    found.sort(key=lambda r: (r.part_number, r.expires_on or date.max, r.received_on, r.lot_id, r.location))
    return tuple(found)


def quarantined(session: Session) -> dict[int, str]:
    """Return the lots that are set aside, by id, with the reason."""
    return dict(session.exec(_ASIDE).all())


def propose_picks(session: Session, wants: Mapping[str, int], today: date) -> tuple[ProposedPick, ...]:
    """Propose lots for the wanted quantities, first expired first out, in the order a picker walks.

    Proposes less where the usable lots do not suffice; expired lots and lots set aside are never proposed, nor what
    a picker holds, nor a place where a picker found less than the book has.
    """
    numbers = [number for number, quantity in wants.items() if quantity > 0]
    parts = {part.number: part for part in session.exec(select(Part).where(col(Part.number).in_(numbers))).all()}
    walk = dict(session.exec(select(Location.id, Location.walk_order)).all())
    aside = quarantined(session)
    rows = _free_rows(session, [row for row in lots_of(session, numbers) if row.lot_id not in aside])
    picks: list[ProposedPick] = []
    for number, part in parts.items():
        mine = [r for r in rows if r.part_number == number and (r.expires_on is None or r.expires_on >= today)]
        # The part's own place is emptied first, so that strays do not make the picker walk.
        mine.sort(key=lambda r: (r.location_id != part.location_id, walk.get(r.location_id, 0)))
        picks += _picks_of(part, mine, wants[number], walk, today)
    picks.sort(key=lambda p: (p.walk_order, p.location_code, p.part_number, p.expires_on or date.max, p.lot_id))
    return tuple(picks)


def _free_rows(session: Session, rows: list[LotRow]) -> list[LotRow]:
    """Return lots without what pickers hold of them, and without the places that are in doubt."""
    held = claimed_at(session, {row.lot_id for row in rows})
    doubtful = doubtful_places(session)
    left = (
        replace(row, on_hand=row.on_hand - held.get((row.lot_id, row.location_id), 0))
        for row in rows
        if (row.lot_id, row.location_id) not in doubtful
    )
    return [row for row in left if row.on_hand > 0]


def _picks_of(
    part: Part, rows: list[LotRow], wanted: int, walk: Mapping[int | None, int], today: date
) -> list[ProposedPick]:
    by_lot: dict[int, list[LotRow]] = {}
    for row in rows:
        by_lot.setdefault(row.lot_id, []).append(row)
    shelf_lots = [
        ShelfLot(lot_id, sum(r.on_hand for r in places), places[0].received_on, places[0].expires_on)
        for lot_id, places in by_lot.items()
    ]
    quantity = min(wanted, sum(lot.quantity for lot in shelf_lots))
    if quantity == 0:
        return []
    found = []
    for chosen in choose_lots(shelf_lots, quantity, today):
        left = chosen.quantity
        for row in by_lot[chosen.lot_id]:
            count = min(left, row.on_hand)
            if count:
                found.append(_proposed(part, row, count, walk.get(row.location_id, 0)))
                left -= count
    return found


def _proposed(part: Part, row: LotRow, quantity: int, walk_order: int) -> ProposedPick:
    return ProposedPick(
        part_number=part.number,
        lot_id=row.lot_id,
        location_id=row.location_id,
        quantity=quantity,
        part_name=part.name,
        unit=part.unit,
        lot_code=row.code,
        location_code=row.location,
        expires_on=row.expires_on,
        unit_cost=row.unit_cost,
        serial_tracked=part.serial_tracked,
        walk_order=walk_order,
    )
