"""Reorder points for a cycle service level, and the fill rate that goes with them.

The policy: at each review, when the position is at or below the reorder point s, order the smallest number of lots
Q that brings it above s (periodic review, reorder point, lots: (R, s, nQ)). The *cycle service level* is the share of
order cycles in which nothing runs out before the order arrives. The *fill rate* is the share of pieces that are there
when they are wanted. The two are different figures and are never exchanged for one another.

The position at the moment of ordering is not s but s − U: the undershoot U comes from demand in more than ones and
from the days until the review looks. In the long run the position before a review's demand is spread evenly over
s + 1 … s + Q, so P(U = u) = (F(u + Q) − F(u)) / E min(X, Q), with F the distribution of demand X in a review period;
for large Q this is the excess of renewal theory. Cycle service is P(D + U ≤ s), D the demand of the lead time.
Sources: G. Hadley & T. M. Whitin, Analysis of Inventory Systems (1963), chapter 5, for the even spread; H. C. Tijms &
H. Groenevelt (1984), European Journal of Operational Research 17, 175-190, for the undershoot.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from scipy import special

from app.rules.stores.arrays import Reals, Wholes, ratio
from app.rules.stores.laws import Demand, at_most, demand, down_from, from_zero, quantile, summed_short

WIDEST: Final = 256
"""Undershoots up to here are counted one by one; longer ones by their mean and variance."""

_REST: Final = 1e-7


@dataclass(frozen=True, slots=True)
class Undershoot:
    """P(U = u), one row a part, u from 0 on; for parts of ``wide`` only mean and variance hold."""

    chance: Reals
    mean: Reals
    variance: Reals


def undershoot(review: Demand, lot: Wholes, widest: int) -> Undershoot:
    """Return the undershoot below the reorder point, for demand in a review period and a lot."""
    steps = np.arange(widest + 1, dtype=np.float64)[None, :]
    below = from_zero(review, 2 * widest)
    # Beyond twice the widest there is nothing to speak of: a lot as large leaves the plain excess.
    ahead = np.minimum(steps + lot[:, None], 2 * widest).astype(np.int64)
    chance = np.maximum(np.take_along_axis(below, ahead, axis=1) - below[:, : widest + 1], 0.0)
    total = chance.sum(axis=1, keepdims=True)
    chance = np.where(total > 0, ratio(chance, np.broadcast_to(total, chance.shape)), steps == 0)
    mean = (chance * steps).sum(axis=1)
    return Undershoot(chance, mean, (chance * steps**2).sum(axis=1) - mean**2)


def cycle_service(lead: Demand, below: Undershoot, point: Wholes) -> Reals:
    """Return P(D + U ≤ s): the share of order cycles in which nothing runs out."""
    found: Reals = (below.chance * down_from(lead, point, below.chance.shape[1] - 1)).sum(axis=1)
    return found


@dataclass(frozen=True, slots=True)
class Points:
    """Reorder points and the cycle service level each of them really gives: never less than asked."""

    point: Wholes
    service: Reals


def reorder_points(lead: Demand, review: Demand, lot: Wholes, target: Reals) -> Points:
    """Return the least reorder point of each part whose cycle service level reaches the target.

    ``lead`` is demand in the lead time, ``review`` in a review period, ``lot`` the order lot Q, ``target`` between 0
    and 1. A part without demand has the point 0.
    """
    point = np.zeros(lead.mean.shape, dtype=np.int64)
    service = np.ones(lead.mean.shape)
    reach = quantile(review, 1 - _REST)
    # Parts of like width go together, so that a part in thousands does not widen the table of all.
    edges = [-1, 1, 3, 6, 10, 15, 22, 32, 48, 70, 100, 140, 190, WIDEST]
    for low, high in pairwise(edges):
        mine = np.flatnonzero((reach > low) & (reach <= high))
        if mine.size:
            point[mine], service[mine] = _search(lead.take(mine), review.take(mine), lot[mine], target[mine], high)
    mine = np.flatnonzero(reach > WIDEST)
    if mine.size:
        point[mine], service[mine] = _by_moments(lead.take(mine), review.take(mine), lot[mine], target[mine])
    return Points(point, service)


def _search(lead: Demand, review: Demand, lot: Wholes, target: Reals, widest: int) -> tuple[Wholes, Reals]:
    below = undershoot(review, lot, widest)
    point = quantile(demand(lead.mean + below.mean, lead.variance + below.variance), target)
    service = cycle_service(lead, below, point)
    todo = np.flatnonzero(service < target)
    while todo.size:
        point[todo] += 1
        service[todo] = cycle_service(lead.take(todo), _rows(below, todo), point[todo])
        todo = todo[service[todo] < target[todo]]
    todo = np.flatnonzero(point > 0)
    while todo.size:
        less = cycle_service(lead.take(todo), _rows(below, todo), point[todo] - 1)
        enough = less >= target[todo]
        todo = todo[enough]
        point[todo] -= 1
        service[todo] = less[enough]
        todo = todo[point[todo] > 0]
    return point, service


def _rows(below: Undershoot, places: Wholes) -> Undershoot:
    return Undershoot(below.chance[places], below.mean[places], below.variance[places])


def _by_moments(lead: Demand, review: Demand, lot: Wholes, target: Reals) -> tuple[Wholes, Reals]:
    """Take the undershoot by its mean and variance: with X/Q small, E X²/2EX − ½ and so on (renewal theory)."""
    second = review.variance + review.mean**2
    # The third moment of the negative binomial and near enough of the others: skewness (2v/m − 1)/sd.
    sd = np.sqrt(review.variance)
    third = sd**3 * (2 * ratio(review.variance, review.mean) - 1) / sd + 3 * review.mean * second - 2 * review.mean**3
    third = np.where(review.law == 2, 3 * review.mean * second - 2 * review.mean**3, third)
    mean = np.minimum(second / (2 * review.mean) - 0.5, 0.5 * lot + review.mean)
    square = np.maximum(third / (3 * review.mean) - second / (2 * review.mean) + 1 / 6, mean**2)
    both = demand(lead.mean + np.maximum(mean, 0), lead.variance + square - mean**2)
    point = quantile(both, target)
    return point, at_most(both, point)


def fill_rates(lead: Demand, both: Demand, per_review: Reals, point: Wholes, lot: Wholes) -> Reals:
    """Return the share of demand met from the shelf at once, between 0 and 1.

    ``lead`` is demand in the lead time, ``both`` in lead time and review period, ``per_review`` the mean in a review
    period. After each review the position is spread evenly over s + 1 … s + Q; what is short at the end of the
    review period less what was short at its start, over the demand in it. Source: Hadley & Whitin, chapter 5;
    Silver, Pyke & Thomas, 7.
    """
    s = point.astype(np.float64)
    short = [(summed_short(d, s) - summed_short(d, s + lot)) / lot for d in (lead, both)]
    lost = ratio(np.maximum(short[1] - short[0], 0.0), per_review)
    return np.clip(1 - lost, 0.0, 1.0)


def normal_point_for_cycle_service(mean: float, sd: float, level: float) -> float:
    """Return the reorder point with P(D ≤ s) = level for normal lead-time demand: mean + z·sd."""
    return mean + float(special.ndtri(level)) * sd


def normal_point_for_fill_rate(mean: float, sd: float, lot: float, fill: float) -> float:
    """Return the reorder point with expected shortage per cycle (1 − fill)·Q, for normal lead-time demand.

    Continuous review, lots Q (S. Nahmias, Production and Operations Analysis: type 2 service). It is beside the
    point for cycle service, only to show how far apart the two are. Raises ValueError unless 0 < fill < 1.
    """
    if not 0 < fill < 1:
        raise ValueError("a fill rate lies between 0 and 1")
    wanted = (1 - fill) * lot / sd
    low, high = -40.0, 40.0
    while high - low > 1e-12:
        z = (low + high) / 2
        loss = float(np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi) - z * special.ndtr(-z))
        low, high = (z, high) if loss > wanted else (low, z)
    return mean + low * sd
