"""How much to order: economic order quantity, price breaks, packs, minimum order, and what would expire."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, sqrt

import numpy as np

from app.rules.stores.arrays import Reals, Wholes


@dataclass(frozen=True, slots=True)
class Economic:
    """A quantity and what it costs a year, purchase included where prices were given."""

    quantity: float
    cost: float


def economic_order_quantity(order_cost: float, holding_cost: float, demand: float) -> Economic:
    """Return √(2Kλ/h) and its cost √(2Kλh): K an order, h a piece and year, λ pieces a year.

    Source: F. W. Harris (1913), How many parts to make at once. Raises ValueError unless all are positive.
    """
    _positive(order_cost, holding_cost, demand)
    return Economic(sqrt(2 * order_cost * demand / holding_cost), sqrt(2 * order_cost * demand * holding_cost))


def economic_with_backorders(order_cost: float, holding_cost: float, backorder_cost: float, demand: float) -> Economic:
    """Return the economic quantity when pieces may be owed at a cost a piece and year, and its cost.

    Source: L. V. Snyder & Z.-J. M. Shen, Fundamentals of Supply Chain Theory, 3.5.
    """
    _positive(order_cost, holding_cost, backorder_cost, demand)
    factor = sqrt((holding_cost + backorder_cost) / backorder_cost)
    plain = economic_order_quantity(order_cost, holding_cost, demand)
    return Economic(plain.quantity * factor, plain.cost / factor)


def _positive(*figures: float) -> None:
    if min(figures) <= 0:
        raise ValueError("costs and demand are above zero")


@dataclass(frozen=True, slots=True)
class PriceBreak:
    """From this quantity on, all pieces of the order cost this much each."""

    from_quantity: int
    unit_price: float


def with_price_breaks(
    order_cost: float, holding_share: float, demand: float, breaks: Sequence[PriceBreak], pack: int = 0
) -> Economic:
    """Return the cheapest quantity a year with all-units price breaks, purchase, ordering and holding together.

    ``holding_share`` is the holding cost a year as a share of the price. ``pack`` above 0 gives whole packs, else any
    quantity. In each bracket the cheapest quantity is its own economic one or an end of the bracket (Snyder & Shen,
    3.4.1). Raises ValueError without a price from quantity 0 (or 1) on.
    """
    steps = sorted(breaks, key=lambda b: b.from_quantity)
    if not steps or steps[0].from_quantity > 1:
        raise ValueError("the first price holds from the first piece on")
    best: Economic | None = None
    for place, step in enumerate(steps):
        least = float(max(step.from_quantity, pack, 0))
        most = float(steps[place + 1].from_quantity) if place + 1 < len(steps) else float("inf")
        ideal = economic_order_quantity(order_cost, holding_share * step.unit_price, demand).quantity
        for quantity in _tries(ideal, least, most, pack):
            cost = step.unit_price * (demand + holding_share * quantity / 2) + order_cost * demand / quantity
            if best is None or cost < best.cost:
                best = Economic(quantity, cost)
    assert best is not None
    return best


def _tries(ideal: float, least: float, most: float, pack: int) -> list[float]:
    if pack < 1:
        tries = [max(ideal, least)]
    else:
        first = ceil(least / pack) * pack
        tries = [float(max(first, n * pack)) for n in (floor(ideal / pack), ceil(ideal / pack))]
    return [q for q in tries if 0 < q < most]


def lots(demand_a_year: Reals, order_cost: Reals | float, holding_cost: Reals, pack: Wholes, minimum: Wholes) -> Wholes:
    """Return the order lot of each part: economic, in whole packs, no less than the minimum order.

    ``holding_cost`` a piece and year. Of the two pack multiples around the economic quantity the cheaper is taken.
    Without demand or holding cost the lot is the least that can be ordered.
    """
    least = -(-np.maximum(minimum, 1) // pack) * pack
    ideal = np.sqrt(2 * order_cost * demand_a_year / np.maximum(holding_cost, 1e-9))
    ideal = np.where((demand_a_year > 0) & (holding_cost > 0), ideal, 0.0)
    lower = np.maximum(np.floor(ideal / pack).astype(np.int64) * pack, pack)
    upper = lower + pack
    # K·λ/Q + h·Q/2 is the same at Q and Q' where Q·Q' is the square of the ideal.
    cheaper = np.where(lower * upper.astype(np.float64) < ideal**2, upper, lower)
    lot: Wholes = np.maximum(cheaper, least)
    return lot


@dataclass(frozen=True, slots=True)
class Sized:
    """A quantity to order and why it is that much, in words; ``wasted`` is what will probably expire of it."""

    quantity: int
    because: tuple[str, ...]
    wasted: int = 0


def size_order(wanted: int, pack: int = 1, minimum: int = 1, *, most: int | None = None, most_words: str = "") -> Sized:
    """Round a wanted quantity up to packs and the minimum order, and cap it by what can be used in time.

    ``most`` is what would be used before it expires (``before_expiry``), said in ``most_words``. The cap rounds down
    to packs, but never below the least that can be ordered: then the words say what will probably expire. Raises
    ValueError for a pack or quantity below one.
    """
    if pack < 1 or wanted < 1:
        raise ValueError("a pack and a wanted quantity are at least one")
    because = []
    least = -(-max(minimum, 1) // pack) * pack
    quantity = max(-(-wanted // pack) * pack, least)
    if quantity > wanted:
        reason = f"minimum order {minimum}" if quantity == least and minimum > wanted else f"packs of {pack}"
        because.append(f"{wanted} wanted, rounded up to {quantity}: {reason}.")
    if most is None or quantity <= most:
        return Sized(quantity, tuple(because))
    capped = max(most // pack * pack, least)
    if capped < quantity:
        because.append(f"Cut from {quantity} to {capped}: {most_words or f'only {most} would be used in time'}.")
    wasted = max(0, capped - max(most, 0))
    if wasted:
        because.append(
            f"{capped} is the least that can be ordered; about {wasted} of it will probably expire. "
            "Ask for a smaller pack or a fresher lot."
        )
    return Sized(capped, tuple(because), wasted)


def before_expiry(rate_per_day: float, shelf_life_days: float, stock_at_arrival: float) -> int:
    """Return how many of a new lot will be used before it expires, the stock that is there being used first."""
    return max(0, floor(rate_per_day * shelf_life_days - max(0.0, stock_at_arrival) + 1e-9))
