"""Kits: promise, release, hand out, take back."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused
from app.rules.stock import available, check_hand_out
from app.stores.actions.keeping import note_openings
from app.stores.actions.ledger import (
    Entry,
    Move,
    find_lots,
    id_of,
    lock_part_ids,
    lock_parts,
    post,
    promise,
    promised_to,
)
from app.stores.actions.lot_checks import check_lots
from app.stores.actions.picking import drop_claims, end_claims
from app.stores.actions.wanting import want, wanted_parts
from app.stores.models import Location, MovementKind, Part
from app.stores.queries import Pick, issued_net
from app.stores.queries.shelf import usable_by_part


@dataclass(frozen=True)
class IssuedLot:
    """What was handed out of one lot, at the lot's unit cost."""

    part_number: str
    lot_id: int
    lot_code: str
    location_id: int
    quantity: int
    unit_cost: Decimal
    serials: tuple[str, ...] = ()


def lock(session: Session, numbers: Iterable[str]) -> None:
    """Lock the levels of parts ahead of several actions on them, so that two callers never wait in a circle."""
    lock_parts(session, numbers)


def reserve(
    session: Session,
    source_ref: str,
    wants: Mapping[str, int],
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    today: date | None = None,
) -> Mapping[str, int]:
    """Promise to a source what is available of the wanted quantities, on top of what it is already promised.

    Returns the newly promised quantity of every wanted part, zero where nothing is available. ``today`` is the
    workshop's day, by default the UTC day of ``at``. Raises NotFound for an unknown part.
    """
    asked = {number: quantity for number, quantity in wants.items() if quantity > 0}
    held = lock_parts(session, asked)
    usable = usable_by_part(session, [part.id for part in held.values()], today or at.date())
    got = {
        number: min(quantity, available(usable.get(held[number].id, 0), held[number].reserved))
        for number, quantity in asked.items()
    }
    entry = Entry(entry_id, at, who, source_ref)
    promise(session, entry, [(held[number].id, source_ref, quantity) for number, quantity in got.items()])
    return {number: got.get(number, 0) for number in wants}


def release(
    session: Session,
    source_ref: str,
    parts: Mapping[str, int] | None = None,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
) -> None:
    """Give promised stock free again: the quantities named, as far as they are promised, or all of it."""
    own = promised_to(session, source_ref)
    if parts is None:
        # All parts are locked at once: one after another, two callers could wait for each other in a circle.
        lock_part_ids(session, {*own, *wanted_parts(session, source_ref)})
        drop_claims(session, source_ref, at)
        want(session, source_ref, {}, at.date(), at=at)
    if not own:
        return
    if parts is None:
        held = list(lock_part_ids(session, own).values())
        asked = {part.id: own[part.id] for part in held}
    else:
        locked = lock_parts(session, [number for number, quantity in parts.items() if quantity > 0])
        asked = {part.id: parts[number] for number, part in locked.items()}
    # Read again under the lock: a picker may have taken some of it meanwhile.
    own = promised_to(session, source_ref)
    changes = [(part_id, source_ref, -min(quantity, own.get(part_id, 0))) for part_id, quantity in asked.items()]
    promise(session, Entry(entry_id, at, who, source_ref), changes)


def hand_out(
    session: Session,
    source_ref: str,
    picks: Sequence[Pick],
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    today: date | None = None,
) -> tuple[IssuedLot, ...]:
    """Hand picked stock out to a source: issue movements at lot cost; its promise shrinks by what went out.

    Refused for an expired lot, for more than lies there, for more than is free beside the promises to others,
    and when the serials named do not match the quantity. Nothing is handed out unless all of it is.
    """
    day = today or at.date()
    picks = [pick for pick in picks if pick.quantity]
    if not picks:
        raise Refused("Nothing is picked. Enter what you took off the shelf.", "quantity")
    held = lock_parts(session, [pick.part_number for pick in picks])
    usable = usable_by_part(session, [part.id for part in held.values()], day)
    own = promised_to(session, source_ref)
    wanted: dict[str, int] = {}
    for pick in picks:
        wanted[pick.part_number] = wanted.get(pick.part_number, 0) + pick.quantity
    for number, quantity in wanted.items():
        part = held[number]
        check_hand_out(number, quantity, usable.get(part.id, 0), part.reserved, own.get(part.id, 0))
    lots = check_lots(session, picks, held, day, source_ref)
    entry = Entry(entry_id, at, who, source_ref)
    moves = [Move(MovementKind.ISSUE, lots[p.lot_id], p.location_id, -p.quantity, serials=p.serials) for p in picks]
    post(session, entry, moves)
    kept = [(part.id, min(wanted[n], own.get(part.id, 0))) for n, part in held.items()]
    promise(session, entry, [(part_id, source_ref, -quantity) for part_id, quantity in kept])
    end_claims(session, source_ref, picks, at)
    note_openings(session, lots.values(), at=at, who=who, today=day)
    return tuple(
        IssuedLot(
            p.part_number, p.lot_id, lots[p.lot_id].code, p.location_id, p.quantity,
            lots[p.lot_id].unit_cost, p.serials,
        )
        for p in picks
    )  # fmt: skip


def take_back(
    session: Session,
    source_ref: str,
    returns: Sequence[tuple[int, int]],
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    reason: str = "",
) -> None:
    """Put unused stock back to its part's own location at its lot's cost, as (lot id, quantity).

    Refused when more would come back of a lot than the source was handed out.
    """
    wanted: dict[int, int] = {}
    for lot_id, quantity in returns:
        if quantity < 0:
            raise Refused("A returned quantity is not below zero.", "quantity")
        wanted[lot_id] = wanted.get(lot_id, 0) + quantity
    lots = find_lots(session, [lot_id for lot_id, quantity in wanted.items() if quantity])
    held = lock_part_ids(session, [lot.part_id for lot in lots.values()])
    out = issued_net(session, source_ref)
    for lot_id, lot in lots.items():
        if wanted[lot_id] > out.get(lot_id, 0):
            number = held[lot.part_id].part.number
            raise Refused(
                f"{number}: {wanted[lot_id]} of lot {lot.code} cannot come back, only {out.get(lot_id, 0)} went out.",
                "quantity",
            )
    moves = [
        Move(MovementKind.RETURN, lot, held[lot.part_id].part.location_id, wanted[lot_id], reason)
        for lot_id, lot in lots.items()
    ]
    post(session, Entry(entry_id, at, who, source_ref), moves)


def find_location(session: Session, code: str | None, part: Part) -> int:
    """Return the id of a location by its code, or the part's own; NotFound for an unknown code."""
    if not code:
        return part.location_id
    found = session.exec(select(Location).where(col(Location.code) == code.strip())).first()
    if found is None:
        raise NotFound(f"location {code}")
    return id_of(found)
