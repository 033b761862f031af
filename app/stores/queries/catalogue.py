"""Parts, suppliers and locations as they are looked up."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final

from sqlalchemy import String, func, or_, type_coerce
from sqlmodel import Session, col, select

from app.stores.models import Location, Lot, LotBalance, Part, StockLevel, Supplier
from app.stores.queries.shelf import ShelfPart, shelf


@dataclass(frozen=True)
class SupplierRow:
    """A supplier, with the number of active parts ordered there."""

    id: int
    code: str
    name: str
    email: str
    address: str
    parts: int = 0


@dataclass(frozen=True)
class LocationRow:
    """A place on a shelf, with what lies there: lots and stock units."""

    id: int
    code: str
    name: str
    walk_order: int
    lots: int = 0
    pieces: int = 0


@dataclass(frozen=True)
class PartRow:
    """Everything the catalogue knows of a part."""

    id: int
    number: str
    name: str
    unit: str
    location: str
    location_name: str
    supplier_id: int
    supplier: str
    supplier_name: str
    supplier_number: str
    pack: int
    minimum_order: int
    lead_time_days: int
    price: Decimal
    shelf_life_days: int | None
    reorder_point: int
    order_up_to: int
    waste_stream: str
    gtin: str
    serial_tracked: bool
    active: bool
    note: str
    version: int


@dataclass(frozen=True)
class FoundPart:
    """A part found by number or name."""

    number: str
    name: str
    unit: str


def known_numbers(session: Session) -> frozenset[str]:
    """Return the numbers of all active parts."""
    return frozenset(session.exec(select(Part.number).where(col(Part.active).is_(True))).all())


def search_parts(session: Session, text: str, limit: int = 20) -> tuple[FoundPart, ...]:
    """Find active parts by number, name, supplier's number or GTIN; the number's start counts first."""
    words = text.strip()
    query = select(Part.number, Part.name, Part.unit).where(col(Part.active).is_(True), *_matches(words))
    found = session.exec(query.order_by(col(Part.number)).limit(max(limit * 4, 80))).all()
    rows = sorted(found, key=lambda row: (not row[0].casefold().startswith(words.casefold()), row[0]))
    return tuple(FoundPart(*row) for row in rows[:limit])


def _matches(text: str) -> list[Any]:
    conditions = []
    for word in text.split():
        like = f"%{_escape(word)}%"
        fields = (Part.number, Part.name, Part.supplier_number, Part.gtin)
        conditions.append(or_(*(col(f).ilike(like, escape="\\") for f in fields)))
    return conditions


def _escape(word: str) -> str:
    return word.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")


def part_page(
    session: Session,
    today: date,
    *,
    text: str = "",
    supplier: str = "",
    location: str = "",
    show: str = "",
    after: str | None = None,
    limit: int = 50,
) -> tuple[ShelfPart, ...]:
    """Return parts by number after ``after``, as the shelf has them.

    ``show``: '' active parts, 'none' active ones with nothing on hand, 'reserved' with promises, 'ordered' with
    open orders, 'expiring' with a lot that has an expiry date, 'past' those no longer kept.
    """
    query = (
        select(Part.number)
        .outerjoin(StockLevel, col(StockLevel.part_id) == col(Part.id))
        .where(col(Part.active).is_(show != "past"), *_matches(text))
    )
    if supplier:
        query = query.join(Supplier, col(Supplier.id) == col(Part.supplier_id)).where(col(Supplier.code) == supplier)
    if location:
        query = query.join(Location, col(Location.id) == col(Part.location_id)).where(col(Location.code) == location)
    conditions = {
        "none": func.coalesce(StockLevel.on_hand, 0) == 0,
        "reserved": col(StockLevel.reserved) > 0,
        "ordered": col(StockLevel.on_order) > 0,
        "expiring": col(Part.id).in_(
            select(Lot.part_id)
            .join(LotBalance, col(LotBalance.lot_id) == col(Lot.id))
            .where(col(LotBalance.on_hand) > 0, col(Lot.expires_on).is_not(None))
        ),
    }
    if show in conditions:
        query = query.where(conditions[show])
    if after:
        query = query.where(col(Part.number) > after)
    numbers = session.exec(query.order_by(col(Part.number)).limit(limit)).all()
    found = shelf(session, numbers, today)
    return tuple(found[number] for number in numbers)


def part(session: Session, number: str) -> PartRow | None:
    """Return a part by its number, or None."""
    found = _part_rows(session, [number])
    return found[0] if found else None


def parts_of_supplier(session: Session, supplier_id: int) -> tuple[PartRow, ...]:
    """Return the active parts ordered from a supplier, by number."""
    numbers = session.exec(
        select(Part.number).where(col(Part.supplier_id) == supplier_id, col(Part.active).is_(True))
    ).all()
    return _part_rows(session, numbers)


def parts_by_number(session: Session, numbers: Sequence[str]) -> tuple[PartRow, ...]:
    """Return the parts with these numbers, by number; unknown ones are left out."""
    return _part_rows(session, numbers)


def active_parts(session: Session) -> tuple[PartRow, ...]:
    """Return all active parts, by number."""
    return _part_rows(session, None)


# The columns of ``PartRow`` in its order: whole rows of three tables take four times as long to read.
_PART_COLUMNS: Final[tuple[Any, ...]] = (
    Part.id, Part.number, Part.name, Part.unit, Location.code, Location.name, Part.supplier_id, Supplier.code,
    Supplier.name, Part.supplier_number, Part.pack, Part.minimum_order, Part.lead_time_days, Part.price,
    Part.shelf_life_days, Part.reorder_point, Part.order_up_to, type_coerce(Part.waste_stream, String),
    func.coalesce(Part.gtin, ""), Part.serial_tracked, Part.active, Part.note, Part.version,
)  # fmt: skip


def _part_rows(session: Session, numbers: Sequence[str] | None) -> tuple[PartRow, ...]:
    query = (
        select(*_PART_COLUMNS)
        .join(Location, col(Location.id) == col(Part.location_id))
        .join(Supplier, col(Supplier.id) == col(Part.supplier_id))
        .order_by(col(Part.number))
    )
    condition = col(Part.active).is_(True) if numbers is None else col(Part.number).in_(list(numbers))
    return tuple(PartRow(*row) for row in session.exec(query.where(condition)).all())


def suppliers(session: Session) -> tuple[SupplierRow, ...]:
    """Return all suppliers by name."""
    rows = session.exec(
        select(Supplier, func.count(col(Part.id)))
        .outerjoin(Part, (col(Part.supplier_id) == col(Supplier.id)) & col(Part.active).is_(True))
        .group_by(*Supplier.__table__.columns)  # type: ignore[attr-defined]
        .order_by(col(Supplier.name))
    ).all()
    return tuple(SupplierRow(s.id or 0, s.code, s.name, s.email, s.address, n) for s, n in rows)


def supplier(session: Session, supplier_id: int) -> SupplierRow | None:
    """Return one supplier, or None."""
    return next((row for row in suppliers(session) if row.id == supplier_id), None)


def locations(session: Session) -> tuple[LocationRow, ...]:
    """Return all locations in the order a picker walks, with what lies there."""
    rows = session.exec(
        select(Location, func.count(col(LotBalance.lot_id)), func.coalesce(func.sum(LotBalance.on_hand), 0))
        .outerjoin(LotBalance, (col(LotBalance.location_id) == col(Location.id)) & (col(LotBalance.on_hand) > 0))
        .group_by(*Location.__table__.columns)  # type: ignore[attr-defined]
        .order_by(col(Location.walk_order), col(Location.code))
    ).all()
    return tuple(LocationRow(p.id or 0, p.code, p.name, p.walk_order, n, int(sum_)) for p, n, sum_ in rows)


def location(session: Session, location_id: int) -> LocationRow | None:
    """Return one location, or None."""
    return next((row for row in locations(session) if row.id == location_id), None)
