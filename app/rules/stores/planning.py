"""The levels of all parts in one pass: rate, law, reorder point, service, fill rate and order lot.

Twenty thousand parts with three years of months take seconds, one part milliseconds; both go this one way, so the
list and the page of a part can never differ.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy import special

from app.rules.stores.arrays import DAYS_PER_MONTH, DAYS_PER_YEAR, Flags, Reals, Wholes, ratio
from app.rules.stores.demand import Shapes, shapes
from app.rules.stores.forecast import SMOOTHING, Rates, rates, with_prior
from app.rules.stores.laws import Demand, over
from app.rules.stores.levels import fill_rates, reorder_points
from app.rules.stores.quantities import lots

ENOUGH_DEMANDS: Final = 5
"""From so many periods with demand on, a part's own history stands without a prior."""


@dataclass(frozen=True, slots=True)
class Terms:
    """What holds for the whole storeroom: money in the site's currency, times in days.

    ``order_cost`` an order line; ``holding_share`` a year as a share of the price; ``review_days`` between two looks
    at the reorder list; ``period_days`` the length of a period of the histories; ``smoothing`` between 0 and 1.
    """

    order_cost: float = 15.0
    holding_share: float = 0.2
    review_days: float = 1.0
    period_days: float = DAYS_PER_MONTH
    smoothing: float = SMOOTHING

    def __post_init__(self) -> None:
        if min(self.order_cost, self.holding_share) < 0 or min(self.review_days, self.period_days) <= 0:
            raise ValueError("costs are not negative, and times are above zero")
        if not 0 < self.smoothing < 1:
            raise ValueError("the smoothing weight lies between 0 and 1")


@dataclass(frozen=True, slots=True)
class Parts:
    """What is known of the parts, one place (or row) a part.

    ``history``: unforeseen demand, parts × periods, oldest first, stock units; ``first``: each part's first period;
    ``price`` a stock unit; ``target``: cycle service level; ``prior_rate`` a day with its weight ``prior_days``, 0
    for none; ``shelf_life_days``, 0 for what keeps; ``lot``: order lot from price breaks, 0 for the economic one.
    """

    history: Reals
    first: Wholes
    price: Reals
    pack: Wholes
    minimum: Wholes
    lead_days: Reals
    lead_sd_days: Reals
    target: Reals
    prior_rate: Reals
    prior_days: Reals
    shelf_life_days: Reals
    lot: Wholes

    def __post_init__(self) -> None:
        count = self.history.shape[0]
        others = (getattr(self, name) for name in self.__slots__ if name != "history")
        if any(column.shape != (count,) for column in others):
            raise ValueError("every column has one place a part")


def plain_parts(history: Reals, *, target: float, lead_days: float, lead_sd_days: float = 0.0) -> Parts:
    """Return parts that differ in their history alone: price 10, packs of one, no prior, nothing that expires."""
    count = history.shape[0]
    same = np.ones(count)
    ones, none = np.ones(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
    return Parts(
        history=history, first=none, price=10 * same, pack=ones, minimum=ones, lead_days=lead_days * same,
        lead_sd_days=lead_sd_days * same, target=target * same, prior_rate=0 * same, prior_days=0 * same,
        shelf_life_days=0 * same, lot=none,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Plans:
    """The levels of parts, one place a part.

    ``rate`` a day (method: a place of ``forecast.METHODS``); ``dispersion`` variance over mean; ``error`` squared
    relative standard error of the rate; ``lead``: demand of the lead time, ``protected``: of lead time and review
    period, both in lots of ``unit``; ``point``, ``lot`` and ``up_to`` = point + lot in stock units; ``service``:
    cycle service level that the point gives, at least the target where ``kept``; ``fill`` rate; ``cut``: the lot was
    cut to what is used before it expires. ``kept`` is False for parts nobody wants: they are ordered when needed.
    """

    shape: Shapes
    rate: Reals
    method: Wholes
    dispersion: Reals
    error: Reals
    unit: Wholes
    lead: Demand
    protected: Demand
    point: Wholes
    lot: Wholes
    up_to: Wholes
    target: Reals
    service: Reals
    fill: Reals
    kept: Flags
    cut: Flags


def plan_parts(parts: Parts, terms: Terms) -> Plans:
    """Recompute the levels of parts; raises ValueError for demand below zero.

    A part that is always wanted in the same quantity or multiples of it (screws in fours) is counted in that unit:
    its point is then 4·s + 3, which orders at the same places of four as s fours would.
    """
    shape = shapes(parts.history, parts.first)
    found = _rates(parts, terms, shape)
    unit = shape.unit.astype(np.float64)
    rate = found.rate / unit
    dispersion = _dispersion(shape, unit)
    lead = over(parts.lead_days, rate, dispersion, found.error, parts.lead_sd_days)
    review = over(np.full_like(rate, terms.review_days), rate, dispersion, np.zeros_like(rate))
    both = over(parts.lead_days + terms.review_days, rate, dispersion, found.error, parts.lead_sd_days)
    holding = terms.holding_share * parts.price
    lot = lots(found.rate * DAYS_PER_YEAR, terms.order_cost, holding, parts.pack, parts.minimum)
    agreed = -(-np.maximum(parts.lot, parts.minimum) // parts.pack) * parts.pack
    lot = np.where(parts.lot > 0, agreed, lot)
    points = reorder_points(lead, review, _in_units(lot, shape.unit), parts.target)
    fresh = _usable_lot(parts, found.rate, lot, points.point * shape.unit)
    cut = fresh < lot
    if cut.any():
        lot = fresh
        again = reorder_points(lead.take(cut), review.take(cut), _in_units(lot, shape.unit)[cut], parts.target[cut])
        points.point[cut], points.service[cut] = again.point, again.service
    lots_in_units = _in_units(lot, shape.unit)
    fill = fill_rates(lead, both, rate * terms.review_days, points.point, lots_in_units)
    point = points.point * shape.unit + shape.unit - 1
    kept = found.rate > 0
    return Plans(
        shape=shape, rate=found.rate, method=found.method, dispersion=dispersion, error=found.error, unit=shape.unit,
        lead=lead, protected=both, point=np.where(kept, point, 0), lot=lot,
        up_to=np.where(kept, point + lot, 0), target=parts.target, service=points.service, fill=fill, kept=kept,
        cut=cut & kept,
    )  # fmt: skip


STEADIER: Final = 0.01
"""Demand counts as steadier than Poisson's only when chance makes it look so less often than this."""


def _dispersion(shape: Shapes, unit: Reals) -> Reals:
    """Return variance over mean, and 1 where it is lower by what may be chance (Fisher's index of dispersion).

    R. A. Fisher, Statistical Methods for Research Workers (1925), 18: (n − 1)·variance/mean of Poisson counts follows
    a chi-squared distribution with n − 1 degrees of freedom.
    """
    found = ratio(shape.variance, shape.mean, 1.0) / unit
    freedom = np.maximum(shape.periods - 1, 1).astype(np.float64)
    steady = special.chdtr(freedom, freedom * found) < STEADIER
    return np.where(steady, np.maximum(found, 0.05), np.maximum(found, 1.0))


def _in_units(lot: Wholes, unit: Wholes) -> Wholes:
    count: Wholes = np.maximum(lot // unit, 1)
    return count


def _rates(parts: Parts, terms: Terms, shape: Shapes) -> Rates:
    """Return rates a day: from history, and from the prior where the history is thin and there is one."""
    found = rates(parts.history, shape, parts.first, terms.smoothing)
    days = shape.periods.astype(np.float64) * terms.period_days
    used = shape.mean * shape.periods
    thin = (parts.prior_days > 0) & (parts.prior_rate > 0) & (shape.demands < ENOUGH_DEMANDS)
    rate, error = with_prior(parts.prior_rate, parts.prior_days, used, days)
    return replace(
        found,
        rate=np.where(thin, rate, found.rate / terms.period_days),
        method=np.where(thin, 4, found.method),
        error=np.where(thin, error, found.error),
    )


def _usable_lot(parts: Parts, rate: Reals, lot: Wholes, point: Wholes) -> Wholes:
    """Cut lots to what is used before it expires: the safety stock is used first, then the lot.

    Never below the least that can be ordered.
    """
    safety = np.maximum(point - rate * parts.lead_days, 0.0)
    most = np.floor(np.maximum(rate * parts.shelf_life_days - safety, 0.0) / parts.pack).astype(np.int64) * parts.pack
    least = -(-np.maximum(parts.minimum, 1) // parts.pack) * parts.pack
    mine = (parts.shelf_life_days > 0) & (rate > 0)
    return np.where(mine, np.minimum(lot, np.maximum(most, least)), lot)
