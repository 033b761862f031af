"""Slow, dead and expiring stock, and what expiry will cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum
from math import floor
from typing import Final

from app.rules.money import extend
from app.rules.stores.netting import day_words

DEAD_AFTER_DAYS: Final = 365
SLOW_COVER_DAYS: Final = 365


class Ageing(StrEnum):
    """The most pressing state of a part's stock comes first."""

    EXPIRING = "expiring"
    DEAD = "dead"
    SLOW = "slow"
    MOVING = "moving"
    NONE = "none on hand"


@dataclass(frozen=True, slots=True)
class HeldLot:
    """What of a lot is on the shelf. ``expires`` is the last day of use, None for what keeps."""

    code: str
    quantity: int
    unit_cost: Decimal
    received: date
    expires: date | None = None


@dataclass(frozen=True, slots=True)
class LotWaste:
    """What of a lot will probably be left on the day it expires (all of it when it has), and what it cost."""

    code: str
    quantity: int
    cost: Decimal
    expires: date


@dataclass(frozen=True, slots=True)
class StockAge:
    """A part's stock by age: its state, the days it lasts (None without use), and what will expire."""

    state: Ageing
    quantity: int
    value: Decimal
    cover_days: float | None
    waste: tuple[LotWaste, ...]
    waste_cost: Decimal
    because: tuple[str, ...]


def waste(lots: Sequence[HeldLot], rate_per_day: float, today: date) -> tuple[LotWaste, ...]:
    """Return what of each lot will be left when it expires, at a steady rate, first expired first out.

    Lots are used one after another, so a lot waits until those before it are used up or expire. Pieces are rounded up.
    """
    found: list[LotWaste] = []
    spare = 0.0
    for lot in sorted((x for x in lots if x.expires is not None), key=lambda x: (x.expires, x.received, x.code)):
        assert lot.expires is not None
        days = max(0, (lot.expires - today).days + 1)
        # ``spare`` is the use of the days up to this expiry that earlier lots have taken.
        can = max(0.0, rate_per_day * days - spare)
        used = min(float(lot.quantity), can)
        spare += used
        left = lot.quantity - floor(used + 1e-9)
        if left > 0:
            found.append(LotWaste(lot.code, left, extend(lot.unit_cost, left), lot.expires))
    return tuple(found)


def stock_age(lots: Sequence[HeldLot], rate_per_day: float, last_used: date | None, today: date) -> StockAge:
    """Say how a part's stock is doing. Raises ValueError for a rate below zero.

    Expiring: something will be left when its lot expires. Dead: not used for ``DEAD_AFTER_DAYS`` and there for as
    long. Slow: it lasts more than ``SLOW_COVER_DAYS``. Both limits are conventions of ours.
    """
    if rate_per_day < 0:
        raise ValueError("a rate is not negative")
    held = [lot for lot in lots if lot.quantity > 0]
    quantity = sum(lot.quantity for lot in held)
    value = sum((extend(lot.unit_cost, lot.quantity) for lot in held), Decimal(0))
    cover = quantity / rate_per_day if rate_per_day > 0 else None
    lost = waste(held, rate_per_day, today)
    cost = sum((lot.cost for lot in lost), Decimal(0))
    if not held:
        return StockAge(Ageing.NONE, 0, value, None, (), cost, ("None on hand.",))
    because = [
        f"Lot {lot.code}: {lot.quantity} will probably be left when it expires on {day_words(lot.expires)}."
        if lot.expires >= today
        else f"Lot {lot.code}: {lot.quantity} expired on {day_words(lot.expires)}. Scrap it."
        for lot in lost
    ]
    oldest, long_ago = min(lot.received for lot in held), today - timedelta(days=DEAD_AFTER_DAYS)
    dead = oldest <= long_ago and (last_used is None or last_used <= long_ago)
    slow = cover is None or cover > SLOW_COVER_DAYS
    if dead:
        used = f"Last used on {day_words(last_used)}" if last_used else "Never used"
        because.append(f"{used}; {quantity} on hand. Return it, offer it or write it off.")
    elif slow:
        lasts = "no use is expected" if cover is None else f"it lasts {cover / 365.25:.1f} years"
        because.append(f"{quantity} on hand, {lasts}. Order no more of it.")
    state = Ageing.EXPIRING if lost else Ageing.DEAD if dead else Ageing.SLOW if slow else Ageing.MOVING
    if state is Ageing.MOVING:
        because.append(f"{quantity} on hand last {cover or 0:.0f} days.")
    return StockAge(state, quantity, value, cover, lost, cost, tuple(because))
