"""Exact optimal policies of small cases, to hold the everyday policy against: base stock, (r, Q) and (s, S).

Costs: ``holding`` a piece and period kept, ``backorder`` a piece and period owed, ``ordering`` an order.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from app.rules.stores.arrays import Reals
from app.rules.stores.laws import Demand, at_most, demand, expected_short, quantile


@dataclass(frozen=True, slots=True)
class ExactPolicy:
    """Order at or below ``point``; up to ``up_to``, or in lots of ``up_to`` − ``point``; ``cost`` a period."""

    point: int
    up_to: int
    cost: float


def base_stock_normal(mean: float, sd: float, holding: float, backorder: float, lead: int = 0) -> float:
    """Return the best order-up-to level for normal demand a period and a lead time in periods.

    The level covers lead + 1 periods, as an order placed after looking arrives that much later (Snyder & Shen, 4.3).
    """
    z = float(special.ndtri(backorder / (backorder + holding)))
    return mean * (lead + 1) + z * sd * float(np.sqrt(lead + 1))


def base_stock(of: Demand, holding: float, backorder: float) -> int:
    """Return the best order-up-to level for whole demand: the least S with P(D ≤ S) ≥ p/(p + h)."""
    return int(quantile(of, backorder / (backorder + holding))[0])


def base_stock_fill(mean: float, level: int) -> float:
    """Return the fill rate of a base stock S, each use ordered at once: P(D ≤ S − 1), D Poisson in the lead time."""
    return float(at_most(demand(mean, mean), np.asarray([level - 1]))[0])


def period_costs(of: Demand, holding: float, backorder: float, lowest: int, highest: int) -> Reals:
    """Return h·E(y − D)⁺ + p·E(D − y)⁺ for the positions y from ``lowest`` to ``highest``."""
    y = np.arange(lowest, highest + 1, dtype=np.float64)
    mean = float(of.mean[0])
    wide = of.along(len(y))
    short = np.where(y >= 0, expected_short(wide, np.maximum(y, 0)), mean - y)
    return holding * (y - mean + short) + backorder * short


def best_point_and_lot(rate: float, lead: float, holding: float, backorder: float, ordering: float) -> ExactPolicy:
    """Return the exact optimal (r, Q) for Poisson demand, continuous review and backorders.

    The position is spread evenly over r + 1 … r + Q, so the cost is (K·λ + Σ G(y))/Q. Source: A. Federgruen &
    Y.-S. Zheng (1992), Operations Research 40, 808-813: take the cheapest positions one after another while the
    next one costs less than the average.
    """
    of = demand(rate * lead, rate * lead)
    top = int(quantile(of, 1 - 1e-12)[0]) + int(4 * np.sqrt(2 * ordering * rate / holding)) + 50
    costs = period_costs(of, holding, backorder, -top, top)
    low = high = int(np.argmin(costs))
    total = ordering * rate + float(costs[low])
    while True:
        step = low - 1 if costs[low - 1] <= costs[high + 1] else high + 1
        count = high - low + 1
        if total / count <= float(costs[step]):
            return ExactPolicy(low - top - 1, high - top, total / count)
        total += float(costs[step])
        low, high = min(low, step), max(high, step)


def best_point_and_level(
    of_period: Demand, holding: float, backorder: float, ordering: float, lead: int = 0
) -> ExactPolicy:
    """Return the exact optimal (s, S) for independent demand a period, backorders, at most some hundred pieces.

    The cost of the period ``lead`` ahead is charged when ordering; it covers the demand of lead + 1 periods. Here an
    order is placed at or below s. Source: Y.-S. Zheng & A. Federgruen (1991), Finding optimal (s, S) policies is
    about as simple as evaluating a single policy, Operations Research 39, 654-665. ``of_period`` is one part's.
    """
    mean, variance = float(of_period.mean[0]), float(of_period.variance[0])
    ahead = demand(mean * (lead + 1), variance * (lead + 1))
    spread = int(quantile(ahead, 1 - 1e-12)[0])
    top = spread + int(6 * np.sqrt(2 * ordering * max(mean, 1e-9) / holding)) + 50
    low = -top
    costs = period_costs(ahead, holding, backorder, low, top)
    renewals = _renewals(of_period, top - low)

    def cost(s: int, up_to: int) -> float:
        span = up_to - s
        window = costs[up_to - low - np.arange(span)]
        return (ordering + float(renewals[:span] @ window)) / float(renewals[:span].sum())

    def at(y: int) -> float:
        return float(costs[y - low])

    best_level = int(np.argmin(costs)) + low
    s = best_level - 1
    while cost(s, best_level) > at(s):
        s -= 1
    best, up_to = cost(s, best_level), best_level
    level = best_level + 1
    while level < top and at(level) <= best:
        if cost(s, level) < best:
            up_to = level
            while cost(s, up_to) <= at(s + 1):
                s += 1
            best = cost(s, up_to)
        level += 1
    return ExactPolicy(s, up_to, best)


def _renewals(of: Demand, length: int) -> Reals:
    """Return m(j): the expected number of periods that the position spends j below the order-up-to level."""
    steps = np.arange(length + 1, dtype=np.float64)
    below = at_most(of.along(len(steps)), steps)
    chance = np.diff(below, prepend=0.0)
    found = np.zeros(length + 1)
    found[0] = 1 / (1 - chance[0])
    for j in range(1, length + 1):
        found[j] = float(chance[1 : j + 1] @ found[j - 1 :: -1][:j]) / (1 - chance[0])
    return found


def point_and_lot_cost(
    rate: float, lead: float, holding: float, backorder: float, ordering: float, policy: tuple[int, int]
) -> float:
    """Return the exact cost a time unit of a policy (r, Q) for Poisson demand, continuous review and backorders."""
    point, lot = policy
    costs = period_costs(demand(rate * lead, rate * lead), holding, backorder, point + 1, point + lot)
    return (ordering * rate + float(costs.sum())) / lot


def policy_cost(
    of_period: Demand, policy: tuple[int, int], holding: float, backorder: float, ordering: float, lead: int = 0
) -> float:
    """Return the exact cost a period of ordering at or below s up to S; policy is (s, S), ``lead`` in periods."""
    s, up_to = policy
    ahead = demand(of_period.mean * (lead + 1), of_period.variance * (lead + 1))
    costs = period_costs(ahead, holding, backorder, s, up_to)
    renewals = _renewals(of_period, up_to - s)[: up_to - s]
    window = costs[up_to - s - np.arange(up_to - s)]
    return (ordering + float(renewals @ window)) / float(renewals.sum())
