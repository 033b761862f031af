"""Goods in: against an order, or without one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlmodel import Session, col, select

from app.platform.errors import Refused
from app.rules.lots import is_expired
from app.rules.money import check_unit_cost, short_price
from app.rules.stores.netting import day_words
from app.stores.actions.kits import find_location
from app.stores.actions.ledger import Entry, Locked, Move, change_levels, lock_parts, post
from app.stores.actions.ordering import load_order, note_event, order_lines, settle_status
from app.stores.actions.quarantine import begin_quarantine
from app.stores.models import Lot, MovementKind, OrderStatus, PurchaseOrder, PurchaseOrderLine


@dataclass(frozen=True)
class ReceivedLine:
    """What came of one part in one lot. Blank lot code: one is made up. No unit cost: the order line's price.

    No location: the part's own. ``expires_on`` is wanted for parts with a shelf life. ``quarantine`` is why the lot is
    set aside instead of used, blank when it is not.
    """

    part_number: str
    quantity: int
    lot_code: str = ""
    expires_on: date | None = None
    unit_cost: Decimal | None = None
    location_code: str | None = None
    quarantine: str = ""


def receive_goods(
    session: Session,
    order_id: int,
    lines: Sequence[ReceivedLine],
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    version: int | None = None,
    today: date | None = None,
) -> tuple[int, ...]:
    """Receive goods of an order, in part or whole, into lots; returns the ids of the lots.

    Refused for more than is outstanding, for a part that is not on the order, for goods that have expired and
    for a lot number that is already kept with another expiry or cost. Raises NotFound or Stale.
    """
    order = load_order(session, order_id, version)
    if order.status is OrderStatus.DRAFT:
        raise Refused(f"Order {order.number} is a draft. Send it before goods are received.")
    lines = [line for line in lines if line.quantity]
    if not lines:
        raise Refused("Nothing is entered. Enter what came, or close the order short.")
    held = lock_parts(session, [line.part_number for line in lines])
    ordered = order_lines(session, order_id)
    entry = Entry(entry_id, at, who, f"order:{order.number}")
    moves = []
    for line in lines:
        part = held[line.part_number]
        on_order = ordered.get(part.id)
        if on_order is None:
            raise Refused(f"{line.part_number} is not on this order. Receive it without an order.")
        outstanding = on_order.quantity - on_order.received - on_order.closed_short
        if line.quantity > outstanding:
            raise Refused(
                f"{line.part_number}: {line.quantity} came, {outstanding} outstanding. Receive {outstanding} "
                "here and the rest on the part's page, without an order.",
                f"quantity-{line.part_number}",
            )
        cost = on_order.unit_price if line.unit_cost is None else line.unit_cost
        move = _receipt(session, part, line, cost, entry, today or at.date(), f"-{line.part_number}")
        moves.append(move)
        on_order.received += line.quantity
        session.add(on_order)
    session.flush()
    post(session, entry, moves)
    for number, part in sorted(held.items()):
        came = sum(line.quantity for line in lines if line.part_number == number)
        change_levels(session, "on_order", {part.id: -came})
    settle_status(session, order)
    _note(session, order, lines, held, ordered, entry)
    for line, move in zip(lines, moves, strict=True):
        if line.quarantine:
            begin_quarantine(session, move.lot, line.quarantine, at=at, who=who)
    return tuple(move.lot.id for move in moves if move.lot.id is not None)


def _note(
    session: Session,
    order: PurchaseOrder,
    lines: Sequence[ReceivedLine],
    held: Mapping[str, Locked],
    ordered: Mapping[int, PurchaseOrderLine],
    entry: Entry,
) -> None:
    """Note what came, and each price that is not the agreed one."""
    stamp: dict[str, Any] = {"entry_id": entry.entry_id, "at": entry.at, "who": entry.who}
    came = ", ".join(f"{line.quantity} × {line.part_number}" for line in lines)
    note_event(session, order, "received", came, **stamp)
    for line in lines:
        agreed = ordered[held[line.part_number].id].unit_price
        if line.unit_cost is not None and line.unit_cost != agreed:
            words = f"{line.part_number} is charged at {short_price(line.unit_cost)}, agreed {short_price(agreed)}."
            note_event(session, order, "price differs", words, **stamp)


def receive_loose(
    session: Session,
    part_number: str,
    lot_code: str,
    expires_on: date | None,
    quantity: int,
    unit_cost: Decimal | None,
    location_code: str | None,
    reason: str,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    today: date | None = None,
) -> int:
    """Receive stock without an order, with the reason; returns the lot's id. Refused like ``receive_goods``.

    No unit cost: the part's price. Blank lot code: one is made up.
    """
    part = lock_parts(session, [part_number])[part_number]
    reason = " ".join(reason.split())
    if not reason:
        raise Refused("Say where it comes from. The reason stays with the movement.", "reason")
    line = ReceivedLine(part_number, quantity, lot_code, expires_on, unit_cost, location_code)
    cost = part.part.price if unit_cost is None else unit_cost
    entry = Entry(entry_id, at, who, "receipt")
    move = _receipt(session, part, line, cost, entry, today or at.date(), "", reason)
    post(session, entry, [move])
    assert move.lot.id is not None
    return move.lot.id


def _receipt(
    session: Session,
    held: Locked,
    line: ReceivedLine,
    cost: Decimal,
    entry: Entry,
    today: date,
    suffix: str,
    reason: str = "",
) -> Move:
    part = held.part
    if line.quantity < 1:
        raise Refused("Enter a quantity of at least 1.", f"quantity{suffix}")
    if part.shelf_life_days is not None and line.expires_on is None:
        raise Refused(
            f"{part.number} does not keep for ever. Read the last day of use off the pack.",
            f"expires_on{suffix}",
        )
    if line.expires_on is not None and is_expired(line.expires_on, today):
        raise Refused(
            f"{part.number} expired on {day_words(line.expires_on)}. Send it back; it is not taken in.",
            f"expires_on{suffix}",
        )
    try:
        check_unit_cost(cost)
    except ValueError as error:
        raise Refused("A unit cost has at most 4 decimals and is not below zero.", f"unit_cost{suffix}") from error
    lot = _lot(session, held, line, cost, entry.at, suffix)
    location_id = find_location(session, line.location_code, part)
    return Move(MovementKind.RECEIPT, lot, location_id, line.quantity, reason)


def _lot(session: Session, held: Locked, line: ReceivedLine, cost: Decimal, at: datetime, suffix: str) -> Lot:
    """Return the lot to receive into: the known one when expiry and cost agree, otherwise a new one."""
    code = "-".join(line.lot_code.split()) or _made_up(session, held, at)
    if len(code) > 48:
        raise Refused("A lot number has at most 48 characters.", f"lot_code{suffix}")
    known = session.exec(select(Lot).where(col(Lot.part_id) == held.id, col(Lot.code) == code)).first()
    if known is not None:
        if known.expires_on != line.expires_on:
            raise Refused(
                f"Lot {code} is kept with the last day {known.expires_on or 'not given'}. Check the pack; if both "
                f"are right, call this one {code}-2.",
                f"lot_code{suffix}",
            )
        if known.unit_cost != cost:
            raise Refused(
                f"Lot {code} is kept at {known.unit_cost} each. Call this delivery {code}-2, so that each lot "
                "has one cost.",
                f"lot_code{suffix}",
            )
        return known
    lot = Lot(part_id=held.id, code=code, expires_on=line.expires_on, unit_cost=cost, received_at=at)
    session.add(lot)
    session.flush()
    return lot


def _made_up(session: Session, held: Locked, at: datetime) -> str:
    """Return a lot number of our own: the day it came and a count within it."""
    day = f"{at:%y%m%d}"
    known = session.exec(select(Lot.code).where(col(Lot.part_id) == held.id, col(Lot.code).startswith(day))).all()
    number = len(known) + 1
    while f"{day}-{number}" in known:
        number += 1
    return f"{day}-{number}"
