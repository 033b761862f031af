"""A storeroom day by day for years, on demand and lead times that are given: what a policy would have done.

Nothing here draws numbers: the caller brings the series, so the same series gives the same outcome and several
policies can be held against one another on it. What is missing is owed and handed out first when it comes; no
demand is lost. A day: the oldest stock expires, what is wanted is handed out or owed, orders that are due arrive,
and on review days the position is looked at and an order placed. An order of lead time L meets the demand of L days
before it arrives.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.rules.stores.arrays import Reals, Wholes, ratio, wholes


@dataclass(frozen=True, slots=True)
class Levels:
    """What a policy says from a day on, one place a part: order at or below ``point``.

    With ``up_to`` None, the smallest number of lots that brings the position above the point; else up to the level,
    in whole lots (packs).
    """

    from_day: int
    point: Wholes
    lot: Wholes
    up_to: Wholes | None = None


def fixed_min_max(least: Wholes, most: Wholes, pack: Wholes) -> Levels:
    """Return the plain policy of a card on the shelf: at or below the minimum, order up to the maximum."""
    return Levels(0, least, pack, most)


def order_when_empty(lot: Wholes) -> Levels:
    """Return the plainest policy: order a lot when nothing is left and nothing on its way."""
    return Levels(0, np.zeros_like(lot), lot)


@dataclass(frozen=True, slots=True)
class World:
    """What happens to the storeroom, parts × days: what is wanted, and how long an order of that day takes.

    ``opening`` stock and ``shelf_life_days`` (0 for what keeps) have one place a part; the opening stock is
    as fresh as one received on the first day. Days before ``count_from`` run in and are not counted.
    """

    wanted: Wholes
    lead_days: Wholes
    opening: Wholes
    shelf_life_days: Wholes
    review_days: int = 1
    count_from: int = 0


@dataclass(slots=True)
class Outcome:
    """What came of it, one place a part. Counted from ``count_from`` on: ``cycles`` (orders that arrived),
    ``kept_cycles`` (nothing was owed just before), ``wanted`` and ``at_once`` pieces, ``orders``, ``expired``,
    ``stock_days`` and ``owed_days`` (pieces × days). Over all days, for the balance: ``all_…``; at the end:
    ``on_hand``, ``on_order``, ``owed``.
    """

    cycles: Wholes
    kept_cycles: Wholes
    wanted: Wholes
    at_once: Wholes
    orders: Wholes
    expired: Wholes
    stock_days: Wholes
    owed_days: Wholes
    all_ordered: Wholes
    all_received: Wholes
    all_handed_out: Wholes
    all_wanted: Wholes
    all_expired: Wholes
    on_hand: Wholes
    on_order: Wholes
    owed: Wholes

    @property
    def cycle_service(self) -> Reals:
        """Share of order cycles without anything owed; 1 without cycles."""
        return ratio(self.kept_cycles.astype(np.float64), self.cycles.astype(np.float64), 1.0)

    @property
    def fill_rate(self) -> Reals:
        """Share of pieces handed out at once; 1 when nothing was wanted."""
        return ratio(self.at_once.astype(np.float64), self.wanted.astype(np.float64), 1.0)


def simulate(world: World, levels: Sequence[Levels]) -> Outcome:
    """Run a policy over all days; ``levels`` stand by day, the first from day 0.

    Raises ValueError for demand or lead times below zero, or levels that do not begin at day 0.
    """
    parts, days = world.wanted.shape
    if min(int(world.wanted.min(initial=0)), int(world.lead_days.min(initial=0))) < 0:
        raise ValueError("demand and lead times are not negative")
    if not levels or levels[0].from_day != 0:
        raise ValueError("the levels begin at day 0")
    out = Outcome(**{name: np.zeros(parts, dtype=np.int64) for name in Outcome.__slots__})
    out.on_hand += world.opening
    longest = int(world.lead_days.max(initial=0))
    coming, orders_coming = (np.zeros((parts, days + longest + 1), dtype=np.int64) for _ in range(2))
    # All that ever came in by the end of a day, and all that ever went out: first in, first out needs no more.
    came = np.zeros((parts, days + 1), dtype=np.int64)
    came[:, 0] = world.opening
    gone = np.zeros(parts, dtype=np.int64)
    every = np.arange(parts)
    turn = 0
    for day in range(days):
        while turn + 1 < len(levels) and levels[turn + 1].from_day <= day:
            turn += 1
        counted = day >= world.count_from
        _expire(world, out, came, gone, day, counted)
        _hand_out(out, gone, world.wanted[:, day], counted)
        if (day + 1) % world.review_days == 0:
            amount = _order(out, levels[turn])
            out.on_order += amount
            out.all_ordered += amount
            placed = amount > 0
            out.orders += placed * counted
            due = day + world.lead_days[:, day]
            np.add.at(coming, (every, due), amount)
            np.add.at(orders_coming, (every, due), placed.astype(np.int64))
        _receive(out, gone, coming[:, day], orders_coming[:, day], counted)
        came[:, day + 1] = came[:, day] + coming[:, day]
        out.stock_days += out.on_hand * counted
        out.owed_days += out.owed * counted
    return out


def _expire(world: World, out: Outcome, came: Wholes, gone: Wholes, day: int, counted: bool) -> None:
    """Take out what came longer than a shelf life ago and is still there."""
    mine = np.flatnonzero((world.shelf_life_days > 0) & (world.shelf_life_days <= day))
    if not mine.size:
        return
    old = np.maximum(came[mine, day - world.shelf_life_days[mine]] - gone[mine], 0)
    gone[mine] += old
    out.on_hand[mine] -= old
    out.all_expired[mine] += old
    out.expired[mine] += old * counted


def _hand_out(out: Outcome, gone: Wholes, wanted: Wholes, counted: bool) -> None:
    at_once = np.minimum(wanted, out.on_hand)
    out.on_hand -= at_once
    gone += at_once
    out.owed += wanted - at_once
    out.all_wanted += wanted
    out.all_handed_out += at_once
    out.wanted += wanted * counted
    out.at_once += at_once * counted


def _receive(out: Outcome, gone: Wholes, amount: Wholes, orders: Wholes, counted: bool) -> None:
    if counted:
        out.cycles += orders
        out.kept_cycles += np.where(out.owed == 0, orders, 0)
    out.on_order -= amount
    out.all_received += amount
    paid = np.minimum(out.owed, out.on_hand + amount)
    out.owed -= paid
    out.all_handed_out += paid
    gone += paid
    out.on_hand += amount - paid


def _order(out: Outcome, levels: Levels) -> Wholes:
    position = out.on_hand + out.on_order - out.owed
    due = position <= levels.point
    if levels.up_to is None:
        amount = ((levels.point - position) // levels.lot + 1) * levels.lot
    else:
        amount = -(-(levels.up_to - position) // levels.lot) * levels.lot
    return np.where(due, np.maximum(amount, 0), 0)


@dataclass(frozen=True, slots=True)
class Costs:
    """What a policy cost in the days counted, in the site's currency."""

    holding: float
    ordering: float
    expiry: float
    shortage: float

    @property
    def total(self) -> float:
        """All four together."""
        return self.holding + self.ordering + self.expiry + self.shortage


def costs(
    outcome: Outcome,
    price: Reals,
    *,
    order_cost: float,
    holding_share: float,
    owed_cost_per_day: float,
    disposal_cost: float = 0.0,
) -> Costs:
    """Return the costs of an outcome: ``holding_share`` a year of the price, ``order_cost`` an order,
    price and ``disposal_cost`` a piece expired, ``owed_cost_per_day`` a piece and day owed (a job that waits).
    """
    return Costs(
        holding=float((outcome.stock_days * price).sum()) * holding_share / 365.25,
        ordering=float(outcome.orders.sum()) * order_cost,
        expiry=float((outcome.expired * (price + disposal_cost)).sum()),
        shortage=float(outcome.owed_days.sum()) * owed_cost_per_day,
    )


def steady_world(wanted: Wholes, lead_days: int, opening: int, *, review_days: int = 1, count_from: int = 0) -> World:
    """Return a world of constant lead time, packs of one and stock that keeps."""
    parts = wanted.shape[0]
    same = wholes(np.ones(parts, dtype=np.int64))
    return World(
        wanted=wanted,
        lead_days=np.full(wanted.shape, lead_days, dtype=np.int64),
        opening=opening * same,
        shelf_life_days=0 * same,
        review_days=review_days,
        count_from=count_from,
    )
