"""Orders and the reorder list."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.people.queries import names
from app.rules.reorder import Reorder, ReorderRule, Stock, reorder
from app.stores.models import (
    Location,
    OrderEvent,
    OrderStatus,
    Part,
    PurchaseOrder,
    PurchaseOrderLine,
    StockLevel,
    Supplier,
)
from app.stores.queries.catalogue import PartRow, parts_by_number
from app.stores.queries.shelf import OPEN_ORDER, usable_by_part


@dataclass(frozen=True)
class OrderLineRow:
    """One part on an order; ``outstanding`` is what may still come."""

    part_number: str
    part_name: str
    unit: str
    supplier_number: str
    pack: int
    location: str
    shelf_life_days: int | None
    quantity: int
    unit_price: Decimal
    received: int
    closed_short: int

    @property
    def outstanding(self) -> int:
        """Ordered, less what came and what will not come."""
        return self.quantity - self.received - self.closed_short

    @property
    def total(self) -> Decimal:
        """Quantity times unit price, exact."""
        return self.quantity * self.unit_price


@dataclass(frozen=True)
class OrderRow:
    """An order with its lines."""

    id: int
    number: str
    supplier_id: int
    supplier: str
    supplier_name: str
    email: str
    address: str
    status: str
    placed_at: datetime
    placed_by: str
    expected_on: date
    confirmed_on: date | None
    chased_at: datetime | None
    note: str
    version: int
    lines: tuple[OrderLineRow, ...]

    @property
    def total(self) -> Decimal:
        """Sum of the lines, exact."""
        return sum((line.total for line in self.lines), Decimal(0))

    @property
    def total_wanted(self) -> Decimal:
        """Sum of the lines without what was closed short, exact: what the order sheet asks for."""
        return sum(((line.quantity - line.closed_short) * line.unit_price for line in self.lines), Decimal(0))

    @property
    def is_open(self) -> bool:
        """Whether something may still come."""
        return self.status in {s.value for s in OPEN_ORDER}


@dataclass(frozen=True)
class ReorderLine:
    """A part that is due: its stock, the rule's answer in words, and what it would cost."""

    part: PartRow
    on_hand: int
    on_order: int
    reserved: int
    answer: Reorder

    @property
    def cost(self) -> Decimal:
        """Price of the suggested quantity, exact."""
        return self.answer.quantity * self.part.price


@dataclass(frozen=True)
class ReorderGroup:
    """The due parts of one supplier."""

    supplier_id: int
    supplier: str
    supplier_name: str
    lines: tuple[ReorderLine, ...]

    @property
    def cost(self) -> Decimal:
        """Price of all suggested quantities, exact."""
        return sum((line.cost for line in self.lines), Decimal(0))


def order_page(
    session: Session,
    *,
    show: str = "",
    supplier: str = "",
    after: int | None = None,
    limit: int = 50,
    today: date | None = None,
) -> tuple[OrderRow, ...]:
    """Return orders newest first; ``show``: '' all, 'open', 'late', or a status; ``after`` is the last id seen."""
    query = select(PurchaseOrder.id)
    if show == "open":
        query = query.where(col(PurchaseOrder.status).in_(OPEN_ORDER))
    elif show == "late":
        query = query.where(
            col(PurchaseOrder.status).in_(OPEN_ORDER), col(PurchaseOrder.expected_on) < (today or date.min)
        )
    elif show:
        query = query.where(col(PurchaseOrder.status) == OrderStatus(show))
    if supplier:
        query = query.join(Supplier, col(Supplier.id) == col(PurchaseOrder.supplier_id)).where(
            col(Supplier.code) == supplier
        )
    if after is not None:
        query = query.where(col(PurchaseOrder.id) < after)
    ids = session.exec(query.order_by(col(PurchaseOrder.id).desc()).limit(limit)).all()
    return _orders(session, [i for i in ids if i is not None])


def open_orders(
    session: Session, part_number: str | None = None, *, drafts: bool = False, until: date | None = None
) -> tuple[OrderRow, ...]:
    """Return open orders, the first due first; with ``part_number`` those on which the part is outstanding.

    ``drafts``: those too that were not sent yet; ``until``: only those expected up to that day.
    """
    states = (OrderStatus.DRAFT, *OPEN_ORDER) if drafts else OPEN_ORDER
    query = select(PurchaseOrder.id).where(col(PurchaseOrder.status).in_(states))
    if until is not None:
        query = query.where(col(PurchaseOrder.expected_on) <= until)
    if part_number is not None:
        query = (
            query.join(PurchaseOrderLine, col(PurchaseOrderLine.order_id) == col(PurchaseOrder.id))
            .join(Part, col(Part.id) == col(PurchaseOrderLine.part_id))
            .where(
                col(Part.number) == part_number,
                col(PurchaseOrderLine.quantity) > PurchaseOrderLine.received + PurchaseOrderLine.closed_short,
            )
        )
    found = _orders(session, [i for i in session.exec(query).all() if i is not None])
    return tuple(sorted(found, key=lambda order: (order.expected_on, order.id)))


@dataclass(frozen=True)
class OrderEventRow:
    """What happened to an order."""

    kind: str
    words: str
    at: datetime
    who: str


def order_events(session: Session, order_id: int) -> tuple[OrderEventRow, ...]:
    """Return what happened to an order, oldest first."""
    people = names(session)
    rows = session.exec(
        select(OrderEvent).where(col(OrderEvent.order_id) == order_id).order_by(col(OrderEvent.id))
    ).all()
    return tuple(
        OrderEventRow(r.kind, r.words, r.at, people.get(r.person_id, "") if r.person_id is not None else "")
        for r in rows
    )


def count_open_orders(session: Session) -> int:
    """Return how many orders are open."""
    return session.exec(select(func.count()).where(col(PurchaseOrder.status).in_(OPEN_ORDER))).one()


def order(session: Session, number: str) -> OrderRow | None:
    """Return an order by its number, or None."""
    found = session.exec(select(PurchaseOrder.id).where(col(PurchaseOrder.number) == number)).first()
    return None if found is None else _orders(session, [found])[0]


def _orders(session: Session, ids: list[int]) -> tuple[OrderRow, ...]:
    """Return the orders with these ids, in the order of the ids."""
    people = names(session)
    lines: dict[int, list[OrderLineRow]] = {}
    rows = session.exec(
        select(PurchaseOrderLine, Part, Location.code)
        .join(Part, col(Part.id) == col(PurchaseOrderLine.part_id))
        .join(Location, col(Location.id) == col(Part.location_id))
        .where(col(PurchaseOrderLine.order_id).in_(ids))
        .order_by(col(Part.number))
    ).all()
    for line, part, location in rows:
        lines.setdefault(line.order_id, []).append(_line_row(line, part, location))
    heads = session.exec(
        select(PurchaseOrder, Supplier)
        .join(Supplier, col(Supplier.id) == col(PurchaseOrder.supplier_id))
        .where(col(PurchaseOrder.id).in_(ids))
    ).all()
    found = {
        head.id: OrderRow(
            id=head.id or 0,
            number=head.number,
            supplier_id=head.supplier_id,
            supplier=supplier.code,
            supplier_name=supplier.name,
            email=supplier.email,
            address=supplier.address,
            status=head.status.value,
            placed_at=head.placed_at,
            placed_by=people.get(head.placed_by, "") if head.placed_by is not None else "",
            expected_on=head.expected_on,
            confirmed_on=head.confirmed_on,
            chased_at=head.chased_at,
            note=head.note,
            version=head.version,
            lines=tuple(lines.get(head.id or 0, ())),
        )
        for head, supplier in heads
    }
    return tuple(found[i] for i in ids if i in found)


def _line_row(line: PurchaseOrderLine, part: Part, location: str) -> OrderLineRow:
    return OrderLineRow(
        part_number=part.number,
        part_name=part.name,
        unit=part.unit,
        supplier_number=part.supplier_number,
        pack=part.pack,
        location=location,
        shelf_life_days=part.shelf_life_days,
        quantity=line.quantity,
        unit_price=line.unit_price,
        received=line.received,
        closed_short=line.closed_short,
    )


_RULE_COLUMNS: tuple[Any, ...] = (
    Part.id,
    Part.number,
    Part.reorder_point,
    Part.order_up_to,
    Part.pack,
    Part.minimum_order,
    StockLevel.on_order,
    StockLevel.reserved,
)
_RULES: Any = (
    select(*_RULE_COLUMNS)
    .outerjoin(StockLevel, col(StockLevel.part_id) == col(Part.id))
    .where(col(Part.active).is_(True))
    .order_by(col(Part.number))
)


def reorder_lines(session: Session, today: date) -> tuple[ReorderLine, ...]:
    """Return the parts that are due, by number. Expired stock does not count as on hand."""
    due: dict[str, tuple[Stock, Reorder]] = {}
    rows = session.exec(_RULES).all()
    usable = usable_by_part(session, [row[0] for row in rows], today)
    for part_id, number, point, up_to, pack, minimum, on_order, reserved in rows:
        stock = Stock(usable.get(part_id, 0), on_order or 0, reserved or 0)
        answer = reorder(stock, ReorderRule(point, up_to, pack, minimum))
        if answer.due:
            due[number] = (stock, answer)
    parts = parts_by_number(session, list(due)) if due else ()
    return tuple(
        ReorderLine(part, stock.on_hand, stock.on_order, stock.reserved, answer)
        for part in parts
        for stock, answer in [due[part.number]]
    )


def reorder_groups(session: Session, today: date) -> tuple[ReorderGroup, ...]:
    """Return the reorder list grouped by supplier, suppliers by name."""
    groups: dict[int, list[ReorderLine]] = {}
    for line in reorder_lines(session, today):
        groups.setdefault(line.part.supplier_id, []).append(line)
    found = [
        ReorderGroup(supplier_id, lines[0].part.supplier, lines[0].part.supplier_name, tuple(lines))
        for supplier_id, lines in groups.items()
    ]
    return tuple(sorted(found, key=lambda group: group.supplier_name))
