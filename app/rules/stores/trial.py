"""A storeroom's years replayed under its own policy and under two plain ones, and beside the exact optimum.

The demand is given, part by day. The policy is recomputed every month from the months before, as the storeroom would;
the plain ones are set once, from the same history. All are held to the same days and costs.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from typing import Final

import numpy as np

from app.rules.stores.arrays import DAYS_PER_MONTH, Flags, Reals, Wholes
from app.rules.stores.exact import best_point_and_level, policy_cost
from app.rules.stores.laws import demand
from app.rules.stores.planning import Parts, Plans, Terms, plain_parts, plan_parts
from app.rules.stores.simulation import Costs, Levels, Outcome, World, costs, fixed_min_max, order_when_empty, simulate

ENOUGH: Final = 5.0
"""Parts with so many wants in a lead time have enough demand to judge the service level by."""
CARD_DAYS: Final = 30
"""The fixed card's minimum covers the lead time and so many days more: what people write on cards."""


@dataclass(frozen=True, slots=True)
class Series:
    """Demand of parts by day (parts × days), with constant lead time in days, price and target of each part."""

    numbers: tuple[str, ...]
    wanted: Wholes
    lead_days: Wholes
    price: Reals
    target: Reals

    def __post_init__(self) -> None:
        if self.wanted.shape[0] != len(self.numbers) or self.wanted.shape[1] < 24 * DAYS_PER_MONTH:
            raise ValueError("a trial needs every part's demand of at least two years")


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of a policy: services over all parts and over those with enough demand, and the costs of all."""

    name: str
    service: float
    service_enough: float
    fill_rate: float
    costs: Costs
    orders: int


@dataclass(frozen=True, slots=True)
class Beside:
    """Of the parts whose optimum was computed: cost a year of the optimum, and of the policy's levels, both exact."""

    parts: int
    optimum: float
    policy: float


@dataclass(frozen=True, slots=True)
class Trial:
    """The whole answer; ``promised`` is the service level promised over the parts with enough demand."""

    parts: int
    enough: int
    days: int
    promised: float
    tried: tuple[Tried, ...]
    beside: Beside | None


def try_policies(series: Series, terms: Terms, owed_cost_per_day: float, exact_parts: int = 40) -> Trial:
    """Replay the series. History is what lies before the counted days: three years, half of it when there is less."""
    days = series.wanted.shape[1]
    edges = (np.arange(0, int(days / DAYS_PER_MONTH) + 1) * DAYS_PER_MONTH).astype(np.int64)
    months = np.stack([series.wanted[:, a:b].sum(axis=1) for a, b in pairwise(edges)], axis=1).astype(np.float64)
    history = min(36, months.shape[1] // 2)
    start = int(edges[history])
    first = plan_parts(_parts(series, months[:, :history]), terms)
    opening = np.maximum(first.up_to, 1)
    leads = np.repeat(series.lead_days[:, None], days, axis=1)
    world = World(series.wanted, leads, opening, np.zeros_like(opening), int(terms.review_days), start)
    levels = [
        _levels(series, months[:, month - history : month], terms, 0 if month == history else int(edges[month]))
        for month in range(history, months.shape[1])
    ]
    rate = months[:, :history].mean(axis=1) / DAYS_PER_MONTH
    least = np.ceil(rate * (series.lead_days + CARD_DAYS)).astype(np.int64)
    enough = rate * series.lead_days >= ENOUGH
    ran = (
        ("This policy", simulate(world, levels)),
        ("Fixed card", simulate(world, [fixed_min_max(least, least + first.lot, np.ones_like(least))])),
        ("When empty", simulate(world, [order_when_empty(first.lot)])),
    )
    tried = tuple(_tried(name, out, series, enough, terms, owed_cost_per_day) for name, out in ran)
    cycles = ran[0][1].cycles * enough
    promised = float((series.target * cycles).sum() / max(1, int(cycles.sum())))
    beside = _beside(series, first, rate, terms, owed_cost_per_day, exact_parts)
    return Trial(len(series.numbers), int(enough.sum()), days - start, promised, tried, beside)


def _parts(series: Series, history: Reals) -> Parts:
    plain = plain_parts(history, target=0.95, lead_days=1)
    return Parts(
        **{
            **{name: getattr(plain, name) for name in plain.__slots__},
            "lead_days": series.lead_days.astype(np.float64),
            "price": series.price,
            "target": series.target,
        }
    )


def _levels(series: Series, history: Reals, terms: Terms, day: int) -> Levels:
    plans = plan_parts(_parts(series, history), terms)
    return Levels(day, plans.point, plans.lot)


def _tried(name: str, out: Outcome, series: Series, enough: Flags, terms: Terms, owed: float) -> Tried:
    def service(mine: Flags | slice) -> float:
        kept, all_ = out.kept_cycles[mine].sum(), out.cycles[mine].sum()
        return float(kept / all_) if all_ else 1.0

    found = costs(
        out, series.price, order_cost=terms.order_cost, holding_share=terms.holding_share, owed_cost_per_day=owed
    )
    fill = float(out.at_once.sum() / max(1, int(out.wanted.sum())))
    return Tried(name, service(slice(None)), service(enough), fill, found, int(out.orders.sum()))


def _beside(series: Series, plans: Plans, rate: Reals, terms: Terms, owed: float, most: int) -> Beside | None:
    """Hold the policy's levels beside the exact (s, S) of daily demand with the history's mean and variance.

    Computed for parts small enough: up to some hundred pieces between order and order, looked at every day.
    """
    if terms.review_days != 1 or owed <= 0:
        return None
    history = series.wanted[:, : int(36 * DAYS_PER_MONTH)]
    variance = history.var(axis=1)
    optimum = policy = 0.0
    count = 0
    for part in np.flatnonzero((rate > 0.01) & (rate < 5) & (series.price > 0)):
        holding = float(terms.holding_share * series.price[part] / 365.25)
        span = sqrt(2 * terms.order_cost * float(rate[part]) / holding) + float(rate[part] * series.lead_days[part])
        if span > 400 or count >= most:
            continue
        of = demand(float(rate[part]), float(max(variance[part], rate[part])))
        lead = int(series.lead_days[part])
        best = best_point_and_level(of, holding, owed, terms.order_cost, lead)
        mine = (int(plans.point[part]), int(plans.up_to[part]))
        optimum += best.cost * 365.25
        policy += policy_cost(of, mine, holding, owed, terms.order_cost, lead) * 365.25
        count += 1
    return Beside(count, optimum, policy) if count else None


def from_rows(rows: Sequence[tuple[str, int, int]], lead_days: int, price: float, target: float) -> Series:
    """Return a series from (part, day counted from 0, quantity); days nobody names have no demand."""
    numbers = tuple(sorted({number for number, _day, _quantity in rows}))
    place = {number: n for n, number in enumerate(numbers)}
    days = max((day for _number, day, _quantity in rows), default=0) + 1
    wanted = np.zeros((len(numbers), days), dtype=np.int64)
    for number, day, quantity in rows:
        wanted[place[number], day] += quantity
    same = np.ones(len(numbers))
    return Series(numbers, wanted, (lead_days * same).astype(np.int64), price * same, target * same)
