"""Orders to suppliers: place, close short, cancel."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused, Stale
from app.rules.money import check_unit_cost
from app.rules.stock import check_order_quantity
from app.stores.actions.ledger import change_levels, id_of, lock_part_ids, lock_parts
from app.stores.models import OrderStatus, PurchaseOrder, PurchaseOrderLine, Supplier

OPEN = (OrderStatus.PLACED, OrderStatus.PART_RECEIVED)


@dataclass(frozen=True)
class OrderLine:
    """What to order of one part, in stock units; no unit price: the part's price."""

    part_number: str
    quantity: int
    unit_price: Decimal | None = None


def place_order(
    session: Session,
    supplier_id: int,
    lines: Sequence[OrderLine],
    expected_on: date | None = None,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    note: str = "",
) -> str:
    """Place an order with one supplier; returns its number. No ``expected_on``: after the longest lead time.

    Refused for parts of another supplier, a part named twice, or a quantity that is not in packs or under the
    minimum order.
    """
    if session.get(Supplier, supplier_id) is None:
        raise NotFound(f"supplier {supplier_id}")
    lines = [line for line in lines if line.quantity]
    if not lines:
        raise Refused("The order has no lines. Enter a quantity for at least one part.")
    held = lock_parts(session, [line.part_number for line in lines])
    if len(held) != len(lines):
        raise Refused("A part stands on the order twice. Put its quantity in one line.")
    for line in lines:
        part = held[line.part_number].part
        field = f"quantity-{part.number}"
        if part.supplier_id != supplier_id:
            raise Refused(f"{part.number} comes from another supplier. Order it there.", field)
        try:
            check_order_quantity(part.number, line.quantity, part.pack, part.minimum_order)
        except Refused as refusal:
            raise Refused(refusal.reason, field) from refusal
    lead = max(part.part.lead_time_days for part in held.values())
    order = PurchaseOrder(
        number=f"tmp{entry_id[-12:]}",
        supplier_id=supplier_id,
        status=OrderStatus.PLACED,
        placed_at=at,
        placed_by=who,
        expected_on=expected_on or at.date() + timedelta(days=lead),
        note=note,
    )
    session.add(order)
    session.flush()
    order.number = f"P{id_of(order):06d}"
    for line in lines:
        part = held[line.part_number].part
        price = part.price if line.unit_price is None else line.unit_price
        check_unit_cost(price)
        row = PurchaseOrderLine(order_id=id_of(order), part_id=id_of(part), quantity=line.quantity, unit_price=price)
        session.add(row)
    session.flush()
    change_levels(session, "on_order", {held[line.part_number].id: line.quantity for line in lines})
    return order.number


def load_order(session: Session, order_id: int, version: int | None = None) -> PurchaseOrder:
    """Load an open order for writing, its row locked. Raises NotFound, Stale, or Refused when it is not open."""
    order = session.exec(select(PurchaseOrder).where(col(PurchaseOrder.id) == order_id).with_for_update()).first()
    if order is None:
        raise NotFound(f"order {order_id}")
    if version is not None and order.version != version:
        raise Stale(f"Order {order.number}", _state(session, order), f"/orders/{order.number}")
    if order.status not in OPEN:
        raise Refused(f"Order {order.number} is {order.status.value}; nothing more can be done with it.")
    return order


def _state(session: Session, order: PurchaseOrder) -> tuple[str, ...]:
    lines = order_lines(session, id_of(order))
    parts = lock_part_ids(session, lines)
    rows = [
        f"{parts[part_id].part.number}: {line.received} of {line.quantity} received"
        + (f", {line.closed_short} will not come" if line.closed_short else "")
        for part_id, line in lines.items()
    ]
    return (f"The order is now: {order.status.value}.", *rows)


def order_lines(session: Session, order_id: int) -> dict[int, PurchaseOrderLine]:
    """Return the lines of an order by part id."""
    rows = session.exec(select(PurchaseOrderLine).where(col(PurchaseOrderLine.order_id) == order_id)).all()
    return {row.part_id: row for row in rows}


def settle_status(session: Session, order: PurchaseOrder) -> None:
    """Set an order's status by its lines, and raise its version."""
    lines = order_lines(session, id_of(order)).values()
    if any(line.received + line.closed_short < line.quantity for line in lines):
        came = any(line.received for line in lines)
        order.status = OrderStatus.PART_RECEIVED if came else OrderStatus.PLACED
    else:
        came = any(line.received for line in lines)
        order.status = OrderStatus.RECEIVED if came else OrderStatus.CANCELLED
    order.version += 1
    session.add(order)
    session.flush()


def close_short(
    session: Session,
    order_id: int,
    part_numbers: Iterable[str] | None = None,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    version: int | None = None,
) -> None:
    """Note that what is outstanding will not come: of the named parts, or of all. An empty order is cancelled.

    ``entry_id``, ``at`` and ``who`` belong to every action; an order keeps no history of its own.
    """
    order = load_order(session, order_id, version)
    lines = order_lines(session, order_id)
    held = lock_part_ids(session, lines)
    wanted = None if part_numbers is None else set(part_numbers)
    chosen = [line for i, line in sorted(lines.items()) if wanted is None or held[i].part.number in wanted]
    missing = {line.part_id: line.quantity - line.received - line.closed_short for line in chosen}
    if not any(missing.values()):
        raise Refused("Nothing is outstanding there. There is nothing to close.")
    for line in chosen:
        line.closed_short += missing[line.part_id]
        session.add(line)
    change_levels(session, "on_order", {line.part_id: -missing[line.part_id] for line in chosen})
    session.flush()
    settle_status(session, order)


def cancel_order(
    session: Session,
    order_id: int,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    version: int | None = None,
) -> None:
    """Cancel an order of which nothing came yet; refused otherwise."""
    order = load_order(session, order_id, version)
    if order.status is not OrderStatus.PLACED:
        raise Refused(f"Part of order {order.number} came already. Close the rest short instead.")
    close_short(session, order_id, entry_id=entry_id, at=at, who=who)
