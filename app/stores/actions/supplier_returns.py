"""Goods that go back to their supplier, and the credit for them."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused
from app.rules.money import check_unit_cost, round_money
from app.rules.stores.supplier_returns import ReturnReason, ReturnState, check_close, expected_credit
from app.stores.actions.ledger import Entry, Locked, Move, balance, change_levels, find_lot, id_of, lock_part_ids, post
from app.stores.actions.ordering import note_event, order_lines
from app.stores.actions.shelf import withdraw_promises
from app.stores.models import (
    Lot,
    MovementKind,
    OrderStatus,
    PurchaseOrder,
    PurchaseOrderLine,
    SupplierReturn,
)
from app.stores.queries.shelf import OPEN_ORDER


@dataclass(frozen=True)
class GoodsBack:
    """What goes back: a quantity of a lot at a place, why, and whether the supplier sends others instead."""

    lot_id: int
    location_id: int
    quantity: int
    reason: ReturnReason
    words: str
    replaced: bool = False


def return_goods(
    session: Session,
    goods: GoodsBack,
    order_number: str = "",
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    today: date | None = None,
) -> str:
    """Send goods back to their supplier at lot cost; returns the return's number. It waits for its credit.

    With an order, the goods must have come on it: where others are sent instead the quantity is outstanding again and
    the order opens again, otherwise it will not come any more. Promises that the goods carried fall. Set aside or
    expired goods may go back. Raises NotFound, or Refused for more than lies there or than came.
    """
    order = _order(session, order_number)
    lot = find_lot(session, goods.lot_id)
    held = lock_part_ids(session, [lot.part_id])[lot.part_id]
    words = " ".join(goods.words.split())
    if not words:
        raise Refused("Say what is wrong with it. The supplier will ask.", "reason")
    there = balance(session, goods.lot_id, goods.location_id)
    if goods.quantity < 1 or goods.quantity > there:
        raise Refused(f"{there} of lot {lot.code} lie there. Enter 1 to {there}.", "quantity")
    line = _line(session, order, held, goods.quantity) if order else None
    if goods.replaced and order is None:
        raise Refused("Choose the order that the replacement comes on, or expect a credit.", "replaced")
    number = _next_number(session)
    entry = Entry(entry_id, at, who, f"back:{order_number or number}")
    post(session, entry, [Move(MovementKind.RETURN, lot, goods.location_id, -goods.quantity, words[:300])])
    withdraw_promises(session, entry, held, today or at.date(), held.on_hand - goods.quantity)
    session.add(
        SupplierReturn(
            number=number, entry_id=entry_id, supplier_id=order.supplier_id if order else held.part.supplier_id,
            order_number=order_number, part_id=held.id, lot_id=goods.lot_id, quantity=goods.quantity,
            reason=goods.reason, words=words[:300], replaced=goods.replaced,
            expected=expected_credit(goods.quantity, lot.unit_cost, replaced=goods.replaced),
            state=ReturnState.SENT, sent_at=at, sent_by=who,
        )
    )  # fmt: skip
    session.flush()
    if order and line:
        _keep_order(session, order, line, held, lot, goods, words, entry)
    return number


def _order(session: Session, number: str) -> PurchaseOrder | None:
    if not number:
        return None
    order = session.exec(select(PurchaseOrder).where(col(PurchaseOrder.number) == number).with_for_update()).first()
    if order is None:
        raise NotFound(f"order {number}")
    return order


def _line(session: Session, order: PurchaseOrder, held: Locked, quantity: int) -> PurchaseOrderLine:
    line = order_lines(session, id_of(order)).get(held.id)
    if line is None or quantity > line.received:
        came = 0 if line is None else line.received
        raise Refused(f"{came} of {held.part.number} came on order {order.number}. Choose the order it came on.")
    return line


def _next_number(session: Session) -> str:
    last = session.exec(select(func.max(col(SupplierReturn.id)))).one()
    return f"RS{(last or 0) + 1:05d}"


def _keep_order(
    session: Session,
    order: PurchaseOrder,
    line: PurchaseOrderLine,
    held: Locked,
    lot: Lot,
    goods: GoodsBack,
    words: str,
    entry: Entry,
) -> None:
    said = f"{goods.quantity} × {held.part.number}, lot {lot.code}: {words}"
    line.received -= goods.quantity
    if goods.replaced:
        if order.status not in OPEN_ORDER:
            order.status = OrderStatus.PART_RECEIVED
        change_levels(session, "on_order", {lot.part_id: goods.quantity})
        said += ". Others are sent instead."
    else:
        line.closed_short += goods.quantity
    session.add(line)
    order.version += 1
    session.add(order)
    session.flush()
    note_event(session, order, "sent back", said[:300], entry_id=entry.entry_id, at=entry.at, who=entry.who)


def close_return(
    session: Session,
    number: str,
    credited: Decimal | None,
    note: str,
    *,
    currency: str,
    at: datetime,
    who: int | None,
) -> ReturnState:
    """Close a return with the credit that came, zero when the supplier refused; None when the replacement came.

    Lots cost up to four decimals, a credit note is in whole minor units of ``currency``: the two are compared rounded.
    Raises NotFound, or Refused when it is closed already and for less than expected without a word.
    """
    row = session.exec(select(SupplierReturn).where(col(SupplierReturn.number) == number).with_for_update()).first()
    if row is None:
        raise NotFound(f"return {number}")
    note = " ".join(note.split())
    if credited is not None:
        try:
            check_unit_cost(credited)
        except ValueError as error:
            raise Refused("A credit has at most 4 decimals and is not below zero.", "credited") from error
    row.state = check_close(number, row.state, credited, round_money(row.expected, currency), note)
    row.credited, row.note, row.closed_at, row.closed_by = credited, note[:300], at, who
    session.add(row)
    session.flush()
    return row.state
