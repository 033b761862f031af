"""When parts that are on order will be here, by what was learnt of their lead times and their suppliers."""

from collections.abc import Collection, Iterable
from datetime import date, datetime, timedelta
from typing import Any

from sqlmodel import Session, col, func, select

from app.rules.stores.arrival import Arrival, Awaited, Lateness, arrival, lateness
from app.rules.stores.lead_time import lead_time
from app.stores.models import (
    Movement,
    MovementKind,
    OrderStatus,
    Part,
    PurchaseOrder,
    PurchaseOrderLine,
    Supplier,
)
from app.stores.queries.planning import days_to_receipt
from app.stores.queries.shelf import OPEN_ORDER

LOOKED_AT = 40
"""The newest orders of a supplier that its lateness is learnt from."""
CAME = (OrderStatus.PART_RECEIVED, OrderStatus.CLOSED)


def arrivals(session: Session, part_numbers: Iterable[str], today: date) -> dict[str, Arrival]:
    """Return when the next open order of each part is likely to come, by part number; parts not on order are left out.

    ``today`` is the workshop's day.
    """
    numbers = sorted(set(part_numbers))
    if not numbers:
        return {}
    columns: tuple[Any, ...] = (Part, PurchaseOrder, Supplier.name)
    rows: Any = session.exec(
        select(*columns)
        .join(PurchaseOrderLine, col(PurchaseOrderLine.part_id) == col(Part.id))
        .join(PurchaseOrder, col(PurchaseOrder.id) == col(PurchaseOrderLine.order_id))
        .join(Supplier, col(Supplier.id) == col(PurchaseOrder.supplier_id))
        .where(
            col(Part.number).in_(numbers),
            col(PurchaseOrder.status).in_(OPEN_ORDER),
            col(PurchaseOrderLine.quantity) > PurchaseOrderLine.received + PurchaseOrderLine.closed_short,
        )
    ).all()
    days = days_to_receipt(session, {part.id for part, _order, _name in rows}, today) if rows else {}
    longest = _longest_lead(session, {order.id for _part, order, _name in rows})
    late = {one: _days_late(session, one, today) for one in {order.supplier_id for _part, order, _name in rows}}
    found: dict[str, Arrival] = {}
    for part, order, supplier in rows:
        sent = order.placed_at.date()
        named = order.confirmed_on is not None or order.expected_on != sent + timedelta(days=longest[order.id])
        awaited = Awaited(sent, order.expected_on, named, supplier)
        usual: Lateness = lateness(part.lead_time_days, late[order.supplier_id])
        one = arrival(awaited, lead_time(part.lead_time_days, days.get(part.id, ())), usual, today)
        if part.number not in found or one.late < found[part.number].late:
            found[part.number] = one
    return found


def _longest_lead(session: Session, order_ids: Collection[int]) -> dict[int, int]:
    """Return, by order, the longest stated lead time of its parts: the day that stands where nobody named another."""
    rows = session.exec(
        select(col(PurchaseOrderLine.order_id), func.max(col(Part.lead_time_days)))
        .join(Part, col(Part.id) == col(PurchaseOrderLine.part_id))
        .where(col(PurchaseOrderLine.order_id).in_(list(order_ids)))
        .group_by(col(PurchaseOrderLine.order_id))
    ).all()
    return dict(rows)


def _days_late(session: Session, supplier_id: int, today: date) -> list[float]:
    """Return by how many days a supplier's newest orders came later than they were expected, one figure an order.

    What counts is the first receipt of each part, its mean over the order's parts. An order whose day was moved when
    it was chased, and that was never confirmed, tells nothing: nobody knows any more what was expected of it.
    """
    since = datetime.combine(today - timedelta(days=1100), datetime.min.time()).astimezone()
    orders = session.exec(
        select(PurchaseOrder)
        .where(
            col(PurchaseOrder.supplier_id) == supplier_id,
            col(PurchaseOrder.status).in_(CAME),
            col(PurchaseOrder.placed_at) >= since,
        )
        .order_by(col(PurchaseOrder.id).desc())
        .limit(LOOKED_AT)
    ).all()
    due = {
        f"order:{order.number}": order.confirmed_on or order.expected_on
        for order in orders
        if order.confirmed_on is not None or order.chased_at is None
    }
    firsts: dict[str, list[float]] = {}
    for source, at in _first_receipts(session, due):
        firsts.setdefault(source, []).append((at.date() - due[source]).days)
    return [sum(days) / len(days) for _source, days in sorted(firsts.items())]


def _first_receipts(session: Session, sources: Collection[str]) -> list[tuple[str, datetime]]:
    query: Any = (
        select(col(Movement.source_ref), func.min(col(Movement.at)))
        .where(col(Movement.source_ref).in_(list(sources)), col(Movement.kind) == MovementKind.RECEIPT)
        .group_by(col(Movement.source_ref), col(Movement.part_id))
    )
    return [(source, at) for source, at in session.exec(query).all()] if sources else []
