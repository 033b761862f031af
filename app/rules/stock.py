"""Decisions about stock: what is free, what may go out, which promises fall, and the fold of the ledger.

All quantities are whole stock units. *Usable* is what is on hand in lots that have not expired; *reserved* is
what is promised to sources (jobs) and not yet handed out; *available* is usable − reserved, never below zero.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from app.rules.verdict import Refused


def available(usable: int, reserved: int) -> int:
    """Return what may still be promised: usable − reserved, not below zero when promised lots have expired."""
    return max(0, usable - reserved)


def free_for(usable: int, reserved: int, own: int) -> int:
    """Return how much one source may take: what is promised to it, or what nobody else is promised.

    ``reserved`` is the sum over all sources and includes ``own``. When lots expired under the promises, the
    source that comes first is still given its own.
    """
    return min(usable, max(own, usable - (reserved - own)))


def check_hand_out(part: str, wanted: int, usable: int, reserved: int, own: int) -> None:
    """Raise Refused when a source asks for more of a part than it may take."""
    if wanted > usable:
        raise Refused(
            f"{part}: {wanted} picked, {usable} usable on the shelf. Pick fewer, or count the shelf.", "quantity"
        )
    free = free_for(usable, reserved, own)
    if wanted > free:
        raise Refused(
            f"{part}: {wanted} picked, and only {free} may go out here: the rest is promised elsewhere. "
            "Pick fewer, or release the other promise first.",
            "quantity",
        )


def withdrawals(promises: Sequence[tuple[str, int]], usable: int) -> tuple[tuple[str, int], ...]:
    """Return which promises can no longer be kept with ``usable`` left, as (source, quantity taken from it).

    ``promises`` stand newest first; the newest falls first, the oldest is kept longest.
    """
    missing = sum(quantity for _source, quantity in promises) - usable
    taken: list[tuple[str, int]] = []
    for source, quantity in promises:
        if missing <= 0:
            break
        share = min(quantity, missing)
        if share:
            taken.append((source, share))
            missing -= share
    return tuple(taken)


def check_order_quantity(part: str, quantity: int, pack: int, minimum_order: int) -> None:
    """Raise Refused unless the quantity is in whole packs and at least the supplier's minimum order."""
    least = -(-max(minimum_order, 1) // pack) * pack
    if quantity < least:
        raise Refused(f"{part}: the supplier takes orders of {least} or more. Order {least}, or leave it out.")
    if quantity % pack:
        below = quantity // pack * pack
        raise Refused(f"{part} comes in packs of {pack}. Order {max(below, least)} or {below + pack}.")


@dataclass(frozen=True, slots=True)
class MovementFact:
    """What the fold needs of a movement: signed quantity of a lot of a part at a location."""

    part_id: int
    lot_id: int
    location_id: int
    quantity: int


@dataclass(frozen=True, slots=True)
class PromiseFact:
    """What the fold needs of a reservation entry: signed quantity of a part for a source."""

    part_id: int
    source_ref: str
    quantity: int


@dataclass(slots=True)
class Folded:
    """Stock as the facts make it; ``faults`` name what went below zero on the way."""

    on_hand: dict[int, int] = field(default_factory=dict)
    balances: dict[tuple[int, int], int] = field(default_factory=dict)
    reserved: dict[int, int] = field(default_factory=dict)
    reservations: dict[tuple[int, str], int] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)


def fold(movements: Iterable[MovementFact], promises: Iterable[PromiseFact]) -> Folded:
    """Fold the facts, in the order they were appended, into what the projections must say."""
    found = Folded()
    for move in movements:
        key = (move.lot_id, move.location_id)
        found.on_hand[move.part_id] = found.on_hand.get(move.part_id, 0) + move.quantity
        found.balances[key] = found.balances.get(key, 0) + move.quantity
        if found.balances[key] < 0:
            found.faults.append(f"Lot {move.lot_id} at location {move.location_id} went below zero.")
    for entry in promises:
        own = (entry.part_id, entry.source_ref)
        found.reserved[entry.part_id] = found.reserved.get(entry.part_id, 0) + entry.quantity
        found.reservations[own] = found.reservations.get(own, 0) + entry.quantity
        if found.reservations[own] < 0:
            found.faults.append(f"The promise of part {entry.part_id} to {entry.source_ref} went below zero.")
    return found


def differences(what: str, facts: Mapping[Any, int], stored: Mapping[Any, int]) -> list[str]:
    """Name every key whose stored figure is not the one the facts give; a missing row counts as zero."""
    keys = facts.keys() | stored.keys()
    return [
        f"{what} {key}: stored {stored.get(key, 0)}, the facts give {facts.get(key, 0)}."
        for key in sorted(keys, key=str)
        if facts.get(key, 0) != stored.get(key, 0)
    ]
