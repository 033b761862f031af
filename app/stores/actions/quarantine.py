"""Lots set aside and released again, and goods that go back to their supplier."""

from datetime import date, datetime

from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused
from app.stores.actions.ledger import (
    Entry,
    Move,
    balance,
    change_levels,
    find_lot,
    id_of,
    lock_part_ids,
    note_changes,
    post,
)
from app.stores.actions.ordering import note_event, order_lines
from app.stores.actions.shelf import withdraw_promises
from app.stores.models import Lot, LotQuarantine, MovementKind, OrderStatus, PurchaseOrder
from app.stores.queries.shelf import OPEN_ORDER


def begin_quarantine(session: Session, lot: Lot, reason: str, *, at: datetime, who: int | None) -> None:
    """Set a lot aside wherever it lies: it is not handed out, and not counted as usable. Set aside already: no change.

    The part must be locked. Raises Refused without a reason.
    """
    reason = " ".join(reason.split())
    if not reason:
        raise Refused("Say why the lot is set aside. The reason stays with it.", "reason")
    if _open(session, id_of(lot)) is None:
        session.add(LotQuarantine(lot_id=id_of(lot), reason=reason[:300], began_at=at, began_by=who))
        session.flush()
    note_changes(session, [lot.part_id])


def quarantine_lot(session: Session, lot_id: int, reason: str, *, at: datetime, who: int | None) -> None:
    """Set a lot aside wherever it lies, with the reason. Raises NotFound or Refused."""
    lot = find_lot(session, lot_id)
    lock_part_ids(session, [lot.part_id])
    if _open(session, lot_id) is not None:
        raise Refused(f"Lot {lot.code} is set aside already.")
    begin_quarantine(session, lot, reason, at=at, who=who)


def release_lot(session: Session, lot_id: int, reason: str, *, at: datetime, who: int | None) -> None:
    """Release a lot that was set aside, with the reason. Raises NotFound, or Refused when it is not set aside."""
    lot = find_lot(session, lot_id)
    lock_part_ids(session, [lot.part_id])
    held = _open(session, lot_id)
    if held is None:
        raise Refused(f"Lot {lot.code} is not set aside.")
    reason = " ".join(reason.split())
    if not reason:
        raise Refused("Say what was found, and why the lot may be used.", "reason")
    held.ended_at, held.ended_by, held.end_reason = at, who, reason[:300]
    session.add(held)
    session.flush()
    note_changes(session, [lot.part_id])


def _open(session: Session, lot_id: int) -> LotQuarantine | None:
    return session.exec(
        select(LotQuarantine).where(col(LotQuarantine.lot_id) == lot_id, col(LotQuarantine.ended_at).is_(None))
    ).first()


def return_to_supplier(
    session: Session,
    order_number: str,
    lot_id: int,
    location_id: int,
    quantity: int,
    reason: str,
    *,
    replaced: bool,
    entry_id: str,
    at: datetime,
    who: int | None,
    today: date | None = None,
) -> None:
    """Send goods of an order back: an issue to the supplier at lot cost, with the reason.

    ``replaced``: the supplier sends others, so the quantity is outstanding again on the order, which opens again;
    otherwise it will not come any more. Promises it carried fall. Raises NotFound, or Refused for more than lies
    there or than came on the order.
    """
    order = session.exec(
        select(PurchaseOrder).where(col(PurchaseOrder.number) == order_number).with_for_update()
    ).first()
    if order is None:
        raise NotFound(f"order {order_number}")
    lot = find_lot(session, lot_id)
    held = lock_part_ids(session, [lot.part_id])[lot.part_id]
    line = order_lines(session, id_of(order)).get(lot.part_id)
    reason = " ".join(reason.split())
    if not reason:
        raise Refused("Say what is wrong with it. The supplier will ask.", "reason")
    there = balance(session, lot_id, location_id)
    if quantity < 1 or quantity > there:
        raise Refused(f"{there} of lot {lot.code} lie there. Enter 1 to {there}.", "quantity")
    if line is None or quantity > line.received:
        came = 0 if line is None else line.received
        raise Refused(f"{came} of {held.part.number} came on order {order_number}. Choose the order it came on.")
    entry = Entry(entry_id, at, who, f"back:{order_number}")
    post(session, entry, [Move(MovementKind.ISSUE, lot, location_id, -quantity, reason)])
    withdraw_promises(session, entry, held, today or at.date(), held.on_hand - quantity)
    words = f"{quantity} × {held.part.number}, lot {lot.code}: {reason}"
    line.received -= quantity
    if replaced:
        if order.status not in OPEN_ORDER:
            order.status = OrderStatus.PART_RECEIVED
        change_levels(session, "on_order", {lot.part_id: quantity})
        words += ". Others are sent instead."
    else:
        line.closed_short += quantity
    session.add(line)
    order.version += 1
    session.add(order)
    session.flush()
    note_event(session, order, "sent back", words, entry_id=entry_id, at=at, who=who)
