"""Orders to suppliers: draft, send, confirm, chase, close short, cancel."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused, Stale
from app.rules.money import check_unit_cost
from app.rules.stock import check_order_quantity
from app.rules.stores.netting import day_words
from app.stores.actions.ledger import change_levels, id_of, lock_part_ids, lock_parts, note_changes
from app.stores.models import OrderEvent, OrderStatus, Part, PurchaseOrder, PurchaseOrderLine, Supplier, SupplierPrice
from app.stores.queries.shelf import OPEN_ORDER

NOT_ENDED = (OrderStatus.DRAFT, *OPEN_ORDER)


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
    draft: bool = False,
    today: date | None = None,
) -> str:
    """Place an order with one supplier; returns its number. No ``expected_on``: after the longest lead time.

    A draft is kept and nothing of it counts as on order until it is sent. A line without a price costs what the
    supplier asks from that quantity on, or the part's price. Refused for parts that neither come from this supplier
    nor have a price of his, a part named twice, a quantity that is not in packs or under the minimum order, or a day
    before ``today``, the workshop's day (that of ``at`` in UTC where it is not told).
    """
    today = today or at.date()
    if expected_on is not None and expected_on < today:
        raise Refused("That day is over already. Choose the day on which the goods should be here.", "expected_on")
    if session.get(Supplier, supplier_id) is None:
        raise NotFound(f"supplier {supplier_id}")
    if not (lines := [line for line in lines if line.quantity]):
        raise Refused("The order has no lines. Enter a quantity for at least one part.")
    held = lock_parts(session, [line.part_number for line in lines])
    if len(held) != len(lines):
        raise Refused("A part stands on the order twice. Put its quantity in one line.")
    prices = _prices(session, supplier_id, [part.id for part in held.values()])
    for line in lines:
        one = held[line.part_number]
        _check_line(one.part, line.quantity, supplier_id, offered=one.id in prices)
    lead = max(part.part.lead_time_days for part in held.values())
    order = PurchaseOrder(
        number=f"tmp{entry_id[-12:]}",
        supplier_id=supplier_id,
        status=OrderStatus.DRAFT if draft else OrderStatus.SENT,
        placed_at=at,
        placed_by=who,
        expected_on=expected_on or today + timedelta(days=lead),
        note=note,
    )
    session.add(order)
    session.flush()
    order.number = f"P{id_of(order):06d}"
    for line in lines:
        part = held[line.part_number].part
        price = line.unit_price
        if price is None:
            price = _price_from(prices.get(id_of(part), []), line.quantity, part.price)
        check_unit_cost(price)
        row = PurchaseOrderLine(order_id=id_of(order), part_id=id_of(part), quantity=line.quantity, unit_price=price)
        session.add(row)
    session.flush()
    note_event(session, order, "drafted" if draft else "sent", entry_id=entry_id, at=at, who=who)
    if not draft:
        change_levels(session, "on_order", {held[line.part_number].id: line.quantity for line in lines})
    return order.number


def _check_line(part: Part, quantity: int, supplier_id: int, *, offered: bool) -> None:
    field = f"quantity-{part.number}"
    if part.supplier_id != supplier_id and not offered:
        raise Refused(f"{part.number} comes from another supplier. Order it there.", field)
    try:
        check_order_quantity(part.number, quantity, part.pack, part.minimum_order)
    except Refused as refusal:
        raise Refused(refusal.reason, field) from refusal


def _prices(session: Session, supplier_id: int, part_ids: Iterable[int]) -> dict[int, list[tuple[int, Decimal]]]:
    """Return what a supplier asks from which quantity on, by part id, the greatest quantity first."""
    columns: tuple[Any, ...] = (SupplierPrice.part_id, SupplierPrice.from_quantity, SupplierPrice.unit_price)
    rows = session.exec(
        select(*columns)
        .where(col(SupplierPrice.supplier_id) == supplier_id, col(SupplierPrice.part_id).in_(list(part_ids)))
        .order_by(col(SupplierPrice.from_quantity).desc())
    ).all()
    found: dict[int, list[tuple[int, Decimal]]] = {}
    for part_id, least, price in rows:
        found.setdefault(part_id, []).append((least, price))
    return found


def _price_from(steps: Iterable[tuple[int, Decimal]], quantity: int, otherwise: Decimal) -> Decimal:
    return next((price for least, price in steps if quantity >= least), otherwise)


def note_event(
    session: Session, order: PurchaseOrder, kind: str, words: str = "", *, entry_id: str, at: datetime, who: int | None
) -> None:
    """Append what happened to an order. One entry may tell of several orders, and of one order several things."""
    last = session.exec(select(func.max(OrderEvent.line)).where(col(OrderEvent.entry_id) == entry_id)).one()
    session.add(
        OrderEvent(
            entry_id=entry_id, line=0 if last is None else last + 1, order_id=id_of(order), kind=kind,
            words=words[:300], at=at, person_id=who,
        )
    )  # fmt: skip
    session.flush()


def send_order(
    session: Session, order_id: int, *, entry_id: str, at: datetime, who: int | None, version: int | None = None
) -> None:
    """Note that a draft went to the supplier: from now on its goods count as on order."""
    order = load_order(session, order_id, version)
    if order.status is not OrderStatus.DRAFT:
        raise Refused(f"Order {order.number} is {order.status.value} already.")
    lines = order_lines(session, order_id)
    lock_part_ids(session, lines)
    waits = order.expected_on - order.placed_at.date()
    order.expected_on, order.placed_at, order.placed_by = at.date() + waits, at, who
    order.status = OrderStatus.SENT
    order.version += 1
    session.add(order)
    session.flush()
    note_event(session, order, "sent", entry_id=entry_id, at=at, who=who)
    change_levels(session, "on_order", {part_id: line.quantity for part_id, line in lines.items()})


def confirm_order(
    session: Session,
    order_id: int,
    confirmed_on: date,
    words: str = "",
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    version: int | None = None,
) -> None:
    """Note the day that the supplier promises; a later promise replaces an earlier one, and both stay on record."""
    order = load_order(session, order_id, version)
    if order.status is OrderStatus.DRAFT:
        raise Refused(f"Order {order.number} is a draft. Send it first.")
    if confirmed_on < order.placed_at.date():
        raise Refused("That day is before the order was sent. Read the confirmation again.", "confirmed_on")
    parts = lock_part_ids(session, order_lines(session, order_id))
    if order.status is OrderStatus.SENT:
        order.status = OrderStatus.CONFIRMED
    order.confirmed_on = order.expected_on = confirmed_on
    order.version += 1
    session.add(order)
    said = f"for {day_words(confirmed_on)}" + (f": {words}" if words else "")
    note_event(session, order, "confirmed", said, entry_id=entry_id, at=at, who=who)
    note_changes(session, parts)


def chase_order(
    session: Session,
    order_id: int,
    words: str,
    expected_on: date | None = None,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    version: int | None = None,
) -> None:
    """Note that we asked after a late order, what was said, and the new day if one was named."""
    order = load_order(session, order_id, version)
    if order.status is OrderStatus.DRAFT:
        raise Refused(f"Order {order.number} is a draft. Send it first.")
    words = " ".join(words.split())
    if not words:
        raise Refused("Say what the supplier answered, or that nobody did.", "words")
    parts = lock_part_ids(session, order_lines(session, order_id))
    if expected_on is not None:
        order.expected_on = expected_on
        words = f"{words} Now for {day_words(expected_on)}."
    order.chased_at = at
    order.version += 1
    session.add(order)
    note_event(session, order, "chased", words, entry_id=entry_id, at=at, who=who)
    note_changes(session, parts)


def load_order(session: Session, order_id: int, version: int | None = None) -> PurchaseOrder:
    """Load an open order for writing, its row locked. Raises NotFound, Stale, or Refused when it is not open."""
    order = session.exec(select(PurchaseOrder).where(col(PurchaseOrder.id) == order_id).with_for_update()).first()
    if order is None:
        raise NotFound(f"order {order_id}")
    if version is not None and order.version != version:
        raise Stale(f"Order {order.number}", _state(session, order), f"/orders/{order.number}")
    if order.status not in NOT_ENDED:
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
        if came:
            order.status = OrderStatus.PART_RECEIVED
    else:
        came = any(line.received for line in lines)
        order.status = OrderStatus.CLOSED if came else OrderStatus.CANCELLED
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
    """Note that what is outstanding will not come: of the named parts, or of all. An empty order is cancelled."""
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
    if order.status is not OrderStatus.DRAFT:
        change_levels(session, "on_order", {line.part_id: -missing[line.part_id] for line in chosen})
    session.flush()
    settle_status(session, order)
    kind = "cancelled" if order.status is OrderStatus.CANCELLED else "closed short"
    note_event(session, order, kind, entry_id=entry_id, at=at, who=who)


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
    if order.status is OrderStatus.PART_RECEIVED:
        raise Refused(f"Part of order {order.number} came already. Close the rest short instead.")
    close_short(session, order_id, entry_id=entry_id, at=at, who=who)
