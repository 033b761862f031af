"""Parts, suppliers and locations: add and edit."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused, Stale
from app.rules.money import check_unit_cost, short_price
from app.rules.sheet import WasteStream
from app.stores.actions.ledger import id_of
from app.stores.models import Location, Part, StockLevel, Supplier


@dataclass(frozen=True)
class PartData:
    """Everything that may be set of a part but its number. ``supplier`` and ``location`` are codes."""

    name: str
    unit: str
    location: str
    supplier: str
    price: Decimal
    supplier_number: str = ""
    pack: int = 1
    minimum_order: int = 1
    lead_time_days: int = 7
    shelf_life_days: int | None = None
    reorder_point: int = 0
    order_up_to: int = 0
    waste_stream: WasteStream = WasteStream.RESIDUAL
    gtin: str | None = None
    serial_tracked: bool = False
    note: str = ""
    active: bool = True


def _columns(session: Session, data: PartData) -> dict[str, Any]:
    """Return the column values of a part; Refused when they do not fit together."""
    location = session.exec(select(Location.id).where(col(Location.code) == data.location)).first()
    if location is None:
        raise Refused(f"There is no location {data.location}. Add it first, or choose another.", "location")
    supplier = session.exec(select(Supplier.id).where(col(Supplier.code) == data.supplier)).first()
    if supplier is None:
        raise Refused(f"There is no supplier {data.supplier}. Add it first, or choose another.", "supplier")
    if data.order_up_to < data.reorder_point:
        raise Refused("The order-up-to level is not below the reorder point.", "order_up_to")
    try:
        check_unit_cost(data.price)
    except ValueError as error:
        raise Refused("A price has at most 4 decimals and is not below zero.", "price") from error
    skip = ("location", "supplier")
    values = {name: value for name, value in data.__dict__.items() if name not in skip}
    return {**values, "location_id": location, "supplier_id": supplier}


def add_part(session: Session, number: str, data: PartData, *, entry_id: str, at: datetime, who: int | None) -> str:
    """Add a part to the catalogue; returns its number. Refused when the number is taken.

    ``entry_id``, ``at`` and ``who`` belong to every action; the catalogue keeps no history of its own.
    """
    if session.exec(select(Part.id).where(col(Part.number) == number)).first() is not None:
        raise Refused(f"There is already a part {number}. Change that one, or choose another number.", "number")
    part = Part(number=number, **_columns(session, data))
    session.add(part)
    session.flush()
    session.add(StockLevel(part_id=id_of(part)))
    session.flush()
    return number


_LABELS = {
    "name": "Name",
    "unit": "Unit",
    "price": "Price",
    "supplier_number": "Supplier's number",
    "pack": "Pack",
    "minimum_order": "Minimum order",
    "lead_time_days": "Lead time",
    "shelf_life_days": "Shelf life",
    "reorder_point": "Reorder point",
    "order_up_to": "Order-up-to level",
    "waste_stream": "Waste stream",
    "gtin": "GTIN",
    "serial_tracked": "Serial tracked",
    "note": "Note",
    "active": "Kept",
    "location_id": "Location",
    "supplier_id": "Supplier",
}


def edit_part(
    session: Session,
    number: str,
    data: PartData,
    version: int | None = None,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
) -> bool:
    """Change a part; returns whether anything changed. Raises NotFound, or Stale with what stands there now.

    ``entry_id``, ``at`` and ``who`` belong to every action; the catalogue keeps no history of its own.
    """
    part = session.exec(select(Part).where(col(Part.number) == number).with_for_update()).first()
    if part is None:
        raise NotFound(f"part {number}")
    values = _columns(session, data)
    changed = {name: value for name, value in values.items() if getattr(part, name) != value}
    if version is not None and part.version != version:
        raise Stale(f"Part {number}", _now(session, part, changed), f"/parts/{number}")
    if not changed:
        return False
    for name, value in changed.items():
        setattr(part, name, value)
    part.version += 1
    session.add(part)
    session.flush()
    return True


def _now(session: Session, part: Part, changed: Mapping[str, Any]) -> tuple[str, ...]:
    """Tell what stands in the fields that the stale form wanted to be something else."""
    rows = []
    for name in changed:
        value = getattr(part, name)
        if name == "location_id":
            value = session.get_one(Location, value).code
        elif name == "supplier_id":
            value = session.get_one(Supplier, value).name
        elif name == "price":
            value = short_price(value)
        rows.append(f"{_LABELS.get(name, name)} is {value if value not in (None, '') else 'empty'}.")
    return tuple(rows) or ("It already says what you sent.",)


def save_supplier(
    session: Session,
    supplier_id: int | None,
    *,
    code: str,
    name: str,
    email: str = "",
    address: str = "",
    entry_id: str,
    at: datetime,
    who: int | None,
) -> int:
    """Add a supplier (no id) or change one; returns the id. Refused when another has the code."""
    taken = session.exec(select(Supplier.id).where(col(Supplier.code) == code)).first()
    if taken is not None and taken != supplier_id:
        raise Refused(f"Another supplier has the code {code}. Choose another code.", "code")
    row = Supplier(code=code, name=name) if supplier_id is None else session.get(Supplier, supplier_id)
    if row is None:
        raise NotFound(f"supplier {supplier_id}")
    row.code, row.name, row.email, row.address = code, name, email, address
    session.add(row)
    session.flush()
    return id_of(row)


def save_location(
    session: Session,
    location_id: int | None,
    *,
    code: str,
    name: str = "",
    walk_order: int = 0,
    entry_id: str,
    at: datetime,
    who: int | None,
) -> int:
    """Add a location (no id) or change one; returns the id. Refused when another has the code."""
    taken = session.exec(select(Location.id).where(col(Location.code) == code)).first()
    if taken is not None and taken != location_id:
        raise Refused(f"Another location has the code {code}. Choose another code.", "code")
    row = Location(code=code) if location_id is None else session.get(Location, location_id)
    if row is None:
        raise NotFound(f"location {location_id}")
    row.code, row.name, row.walk_order = code, name, walk_order
    session.add(row)
    session.flush()
    return id_of(row)
