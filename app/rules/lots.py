"""Which lots a kit is picked from: what expires first goes first, what has expired never goes."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from app.rules.verdict import Refused


@dataclass(frozen=True, slots=True)
class ShelfLot:
    """What is free to pick of one lot at one place, in stock units.

    ``expires`` is the last day it may be used, None when it keeps; ``received`` is the day it came.
    """

    lot_id: int
    quantity: int
    received: date
    expires: date | None = None


@dataclass(frozen=True, slots=True)
class LotPick:
    """Take ``quantity`` of this lot."""

    lot_id: int
    quantity: int


def is_expired(expires: date | None, today: date) -> bool:
    """Say whether a lot is past its last day of use; the day itself may still be used."""
    return expires is not None and expires < today


def choose_lots(lots: Iterable[ShelfLot], quantity: int, today: date) -> tuple[LotPick, ...]:
    """Pick a quantity: first expired first out, then first in first out, then by lot number.

    Lots that keep go after those that expire. Expired lots are never picked. Raises Refused with
    the shortage in words when the usable lots do not suffice, ValueError for a quantity below one.
    """
    if quantity < 1:
        raise ValueError("a pick has a quantity of at least one")
    there = [lot for lot in lots if lot.quantity > 0]
    usable = [lot for lot in there if not is_expired(lot.expires, today)]
    free = sum(lot.quantity for lot in usable)
    if free < quantity:
        spoiled = sum(lot.quantity for lot in there) - free
        raise Refused(_shortage(quantity, free, spoiled), "quantity")
    usable.sort(key=lambda lot: (lot.expires or date.max, lot.received, lot.lot_id))
    picks: list[LotPick] = []
    for lot in usable:
        count = min(quantity, lot.quantity)
        picks.append(LotPick(lot.lot_id, count))
        quantity -= count
        if quantity == 0:
            break
    return tuple(picks)


def _shortage(wanted: int, free: int, spoiled: int) -> str:
    there = "none is free" if free == 0 else "1 is free" if free == 1 else f"{free} are free"
    words = f"{wanted} needed, {there} on the shelf: {wanted - free} short."
    if spoiled:
        words += f" {spoiled} more {'has' if spoiled == 1 else 'have'} expired and must not be used."
    return words
