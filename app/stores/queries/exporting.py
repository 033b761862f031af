"""Everything in the stores as plain tables: a heading and rows, by kind."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from sqlmodel import Session, col, select

from app.stores.models import (
    ImportColumns,
    Location,
    Lot,
    LotBalance,
    LotQuarantine,
    Movement,
    Part,
    PurchaseOrder,
    PurchaseOrderLine,
    Reservation,
    Supplier,
    SupplierPrice,
)

Sheet = tuple[Sequence[str], Iterable[Sequence[Any]]]


def _parts(session: Session) -> Sheet:
    heading = (
        "number", "name", "unit", "location", "supplier", "supplier_number", "pack", "minimum_order",
        "lead_time_days", "price", "shelf_life_days", "reorder_point", "order_up_to", "waste_stream", "gtin",
        "serial_tracked", "note",
    )  # fmt: skip
    rows = session.exec(
        select(Part, Location.code, Supplier.code)
        .join(Location, col(Location.id) == col(Part.location_id))
        .join(Supplier, col(Supplier.id) == col(Part.supplier_id))
        .order_by(col(Part.number))
    ).all()
    return heading, [
        (
            p.number, p.name, p.unit, place, supplier, p.supplier_number, p.pack, p.minimum_order, p.lead_time_days,
            p.price, p.shelf_life_days, p.reorder_point, p.order_up_to, p.waste_stream.value, p.gtin or "",
            p.serial_tracked, p.note,
        )
        for p, place, supplier in rows
    ]  # fmt: skip


def _suppliers(session: Session) -> Sheet:
    rows = session.exec(select(Supplier).order_by(col(Supplier.code))).all()
    return ("code", "name", "email", "address"), [(r.code, r.name, r.email, r.address) for r in rows]


def _locations(session: Session) -> Sheet:
    rows = session.exec(select(Location).order_by(col(Location.walk_order), col(Location.code))).all()
    return ("code", "name", "walk_order"), [(r.code, r.name, r.walk_order) for r in rows]


def _stock(session: Session) -> Sheet:
    rows = session.exec(
        select(Part.number, Lot, Location.code, LotBalance.on_hand)
        .join(Lot, col(Lot.id) == col(LotBalance.lot_id))
        .join(Part, col(Part.id) == col(Lot.part_id))
        .join(Location, col(Location.id) == col(LotBalance.location_id))
        .where(col(LotBalance.on_hand) > 0)
        .order_by(col(Part.number), col(Lot.id), col(Location.code))
    ).all()
    aside = dict(
        session.exec(
            select(LotQuarantine.lot_id, LotQuarantine.reason).where(col(LotQuarantine.ended_at).is_(None))
        ).all()
    )
    heading = ("part", "lot", "quantity", "expires_on", "unit_cost", "location", "set_aside")
    return heading, [
        (number, lot.code, n, lot.expires_on, lot.unit_cost, place, aside.get(lot.id or 0, ""))
        for number, lot, place, n in rows
    ]


def _prices(session: Session) -> Sheet:
    rows = session.exec(
        select(SupplierPrice, Part.number, Supplier.code)
        .join(Part, col(Part.id) == col(SupplierPrice.part_id))
        .join(Supplier, col(Supplier.id) == col(SupplierPrice.supplier_id))
        .order_by(col(Part.number), col(Supplier.code), col(SupplierPrice.from_quantity))
    ).all()
    return ("part", "supplier", "from_quantity", "unit_price"), [
        (part, supplier, price.from_quantity, price.unit_price) for price, part, supplier in rows
    ]


def _movements(session: Session) -> Sheet:
    rows = session.exec(
        select(Movement, Part.number, Lot.code, Location.code)
        .join(Part, col(Part.id) == col(Movement.part_id))
        .join(Lot, col(Lot.id) == col(Movement.lot_id))
        .join(Location, col(Location.id) == col(Movement.location_id))
        .order_by(col(Movement.id))
    ).all()
    heading = ("at", "kind", "part", "lot", "location", "quantity", "unit_cost", "for", "reason", "serials")
    return heading, [
        (m.at.isoformat(timespec="seconds"), m.kind.value, part, lot, place, m.quantity, m.unit_cost, m.source_ref,
         m.reason, m.serials)
        for m, part, lot, place in rows
    ]  # fmt: skip


def _orders(session: Session) -> Sheet:
    rows = session.exec(
        select(PurchaseOrder, PurchaseOrderLine, Supplier.code, Part.number)
        .join(PurchaseOrderLine, col(PurchaseOrderLine.order_id) == col(PurchaseOrder.id))
        .join(Supplier, col(Supplier.id) == col(PurchaseOrder.supplier_id))
        .join(Part, col(Part.id) == col(PurchaseOrderLine.part_id))
        .order_by(col(PurchaseOrder.id), col(Part.number))
    ).all()
    heading = (
        "order", "supplier", "status", "placed_on", "expected_on", "part", "quantity", "unit_price", "received",
        "closed_short",
    )  # fmt: skip
    return heading, [
        (o.number, supplier, o.status.value, o.placed_at.date(), o.expected_on, part, n.quantity, n.unit_price,
         n.received, n.closed_short)
        for o, n, supplier, part in rows
    ]  # fmt: skip


def _promises(session: Session) -> Sheet:
    rows = session.exec(
        select(Reservation.source_ref, Part.number, Reservation.quantity)
        .join(Part, col(Part.id) == col(Reservation.part_id))
        .where(col(Reservation.quantity) > 0)
        .order_by(col(Reservation.source_ref), col(Part.number))
    ).all()
    return ("for", "part", "quantity"), [tuple(row) for row in rows]


EXPORTS: Mapping[str, Callable[[Session], Sheet]] = {
    "parts": _parts,
    "suppliers": _suppliers,
    "locations": _locations,
    "stock": _stock,
    "prices": _prices,
    "orders": _orders,
    "movements": _movements,
    "reservations": _promises,
}


def export_table(session: Session, kind: str) -> Sheet:
    """Return one kind of table; KeyError for an unknown kind. Parts, stock and prices can be imported again."""
    return EXPORTS[kind](session)


def remembered_columns(session: Session, kind: str) -> dict[str, str]:
    """Return which heading meant which column when a file of this kind was last imported; headings in small letters."""
    row = session.exec(select(ImportColumns).where(col(ImportColumns.kind) == kind)).first()
    return {str(name): str(value) for name, value in row.columns.items()} if row else {}
