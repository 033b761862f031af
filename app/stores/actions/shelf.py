"""What happens on the shelf itself: count adjustments, transfers and scrap."""

from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session

from app.platform.errors import Refused
from app.rules.stock import withdrawals
from app.stores.actions.kits import find_location
from app.stores.actions.ledger import (
    Entry,
    Locked,
    Move,
    balance,
    find_lot,
    lock_part_ids,
    post,
    promise,
    promises_newest_first,
)
from app.stores.models import MovementKind
from app.stores.queries.shelf import usable_by_part


@dataclass(frozen=True)
class Withdrawn:
    """A promise that fell because the stock for it is gone."""

    source_ref: str
    part_number: str
    quantity: int


def withdraw_promises(session: Session, entry: Entry, held: Locked, today: date, on_hand: int) -> tuple[Withdrawn, ...]:
    """Let the newest promises of a part fall that the stock left cannot keep; returns which.

    ``on_hand`` is what the movement just posted has left in all lots. Promises over stock that has merely
    expired fall with the next change, for they cannot be kept either.
    """
    usable = usable_by_part(session, [held.id], today).get(held.id, 0)
    fallen = withdrawals(promises_newest_first(session, held.id), min(usable, on_hand))
    promise(session, entry, [(held.id, source, -quantity) for source, quantity in fallen])
    return tuple(Withdrawn(source, held.part.number, quantity) for source, quantity in fallen)


def _reasoned(reason: str) -> str:
    reason = " ".join(reason.split())
    if not reason:
        raise Refused("Say why. The reason stays with the movement.", "reason")
    if len(reason) > 300:
        raise Refused("Give the reason in at most 300 characters.", "reason")
    return reason


def adjust(
    session: Session,
    lot_id: int,
    location_id: int,
    difference: int,
    reason: str,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    source_ref: str = "count",
    today: date | None = None,
) -> tuple[Withdrawn, ...]:
    """Correct the book of a lot at a location by a counted difference, with the reason.

    A count is a fact, so it is posted even when stock was promised: the newest promises that can no longer be
    kept fall and are returned. Refused when the book would go below zero or no reason is given.
    """
    lot = find_lot(session, lot_id)
    held = lock_part_ids(session, [lot.part_id])[lot.part_id]
    reason = _reasoned(reason)
    there = balance(session, lot_id, location_id)
    if difference == 0:
        raise Refused("The count agrees with the book; there is nothing to correct.", "difference")
    if there + difference < 0:
        raise Refused(f"The book has {there} of lot {lot.code} here; it cannot go below zero.", "difference")
    entry = Entry(entry_id, at, who, source_ref)
    post(session, entry, [Move(MovementKind.COUNT_ADJUSTMENT, lot, location_id, difference, reason)])
    if difference > 0:
        return ()
    return withdraw_promises(session, entry, held, today or at.date(), held.on_hand + difference)


def scrap_stock(
    session: Session,
    lot_id: int,
    location_id: int,
    quantity: int,
    reason: str,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    today: date | None = None,
) -> tuple[Withdrawn, ...]:
    """Scrap stock that expired or broke on the shelf, with the reason. Promises it carried fall; returns them."""
    lot = find_lot(session, lot_id)
    held = lock_part_ids(session, [lot.part_id])[lot.part_id]
    reason = _reasoned(reason)
    _check_quantity(session, lot_id, location_id, quantity, lot.code)
    entry = Entry(entry_id, at, who, "scrap")
    post(session, entry, [Move(MovementKind.SCRAP, lot, location_id, -quantity, reason)])
    return withdraw_promises(session, entry, held, today or at.date(), held.on_hand - quantity)


def transfer(
    session: Session,
    lot_id: int,
    location_id: int,
    to_location: str,
    quantity: int,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    reason: str = "",
) -> None:
    """Move stock of a lot to another location, by that one's code: two movements that cancel in the sum."""
    lot = find_lot(session, lot_id)
    held = lock_part_ids(session, [lot.part_id])[lot.part_id]
    target = find_location(session, to_location, held.part)
    if target == location_id:
        raise Refused("It lies there already. Choose another place.", "to_location")
    _check_quantity(session, lot_id, location_id, quantity, lot.code)
    moves = [
        Move(MovementKind.TRANSFER, lot, location_id, -quantity, reason),
        Move(MovementKind.TRANSFER, lot, target, quantity, reason),
    ]
    post(session, Entry(entry_id, at, who, "transfer"), moves)


def _check_quantity(session: Session, lot_id: int, location_id: int, quantity: int, code: str) -> None:
    if quantity < 1:
        raise Refused("Enter a quantity of at least 1.", "quantity")
    there = balance(session, lot_id, location_id)
    if quantity > there:
        raise Refused(f"Lot {code} has {there} here. Enter at most {there}, or count the shelf.", "quantity")
