"""An invented workshop for years: seeded demand of many parts, the policy recomputed month by month, what came of it.

Shared by the tests and by the benchmark. Demand a day is Poisson, negative binomial (scattered a little, or much) or
in fours; lead times are steady for half of the parts and scatter for the others.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from app.rules.stores.arrays import DAYS_PER_MONTH, Flags, Reals, Wholes
from app.rules.stores.lead_time import lead_time
from app.rules.stores.planning import Parts, Plans, Terms, plain_parts, plan_parts
from app.rules.stores.simulation import Levels, Outcome, World, simulate

HISTORY = 36
KINDS = ("Poisson", "a little scattered", "much scattered", "in fours", "rare and lumpy")


@dataclass(frozen=True)
class Workshop:
    """Parts with their true demand (mean a day, pieces a demand), lead times and targets; one place a part."""

    mean: Reals
    kind: Wholes
    piece: Wholes
    lead: Reals
    lead_sd: Reals
    target: Reals
    months: Reals
    edges: Wholes
    world: World

    @property
    def lead_demand(self) -> Reals:
        """Mean demand of a lead time, in what is always wanted together."""
        return self.mean * self.lead / self.piece


def workshop(parts: int, years: int, seed: int, *, review_days: int = 1) -> Workshop:
    """Draw a workshop; the first three years are history, the years after them are counted."""
    chance = np.random.default_rng(seed)
    days = int((years + 3) * 365.25)
    kind = np.arange(parts) % len(KINDS)
    mean = np.exp(chance.uniform(np.log(0.02), np.log(3), parts))
    mean = np.where(kind == 4, mean / 10, mean)
    scatter = np.select([kind == 1, kind == 2, kind == 4], [1.5, chance.uniform(2, 5, parts), 3.0], 1.0)
    wanted = np.zeros((parts, days), dtype=np.int64)
    for part in range(parts):
        if kind[part] == 0:
            wanted[part] = chance.poisson(mean[part], days)
        elif kind[part] == 3:
            wanted[part] = 4 * chance.poisson(mean[part] / 4, days)
        else:
            wanted[part] = chance.negative_binomial(mean[part] / (scatter[part] - 1), 1 / scatter[part], days)
    lead = chance.integers(5, 41, parts).astype(np.float64)
    lead_sd = np.where(np.arange(parts) // len(KINDS) % 2 == 0, 0.0, 0.2 * lead)
    leads = np.maximum(1, np.rint(chance.normal(lead[:, None], lead_sd[:, None], (parts, days)))).astype(np.int64)
    edges = (np.arange(0, (years + 3) * 12 + 1) * DAYS_PER_MONTH).astype(np.int64)
    same = np.ones(parts, dtype=np.int64)
    world = World(
        wanted, leads, np.ceil(mean * (lead + 60)).astype(np.int64), 0 * same, review_days, int(edges[HISTORY])
    )
    return Workshop(
        mean, kind, np.where(kind == 3, 4, 1), lead, lead_sd, chance.choice([0.90, 0.95, 0.98], parts),
        _by_month(wanted, edges), edges, world,
    )  # fmt: skip


def with_learnt_lead_times(shop: Workshop, receipts: int, seed: int) -> Workshop:
    """The same world, but the storeroom knows its lead times from so many receipts and a stated time, which is up to
    a fifth off."""
    chance = np.random.default_rng(seed)
    found = []
    for lead, sd in zip(shop.lead, shop.lead_sd, strict=True):
        came = np.maximum(1, np.rint(chance.normal(lead, sd, receipts)))
        found.append(lead_time(round(lead * chance.uniform(0.8, 1.2)), came.tolist()))
    return replace(shop, lead=np.asarray([x.mean_days for x in found]), lead_sd=np.asarray([x.sd_days for x in found]))


def with_drift(shop: Workshop, start: float, end: float, seed: int) -> Workshop:
    """The same parts, each piece wanted with a chance that goes evenly from ``start`` to ``end`` over all days."""
    chance = np.random.default_rng(seed)
    share = np.linspace(start, end, shop.world.wanted.shape[1])[None, :]
    unit = shop.piece[:, None]
    wanted = unit * chance.binomial(shop.world.wanted // unit, share)
    return replace(shop, world=replace(shop.world, wanted=wanted), months=_by_month(wanted, shop.edges))


def _by_month(wanted: Wholes, edges: Wholes) -> Reals:
    return np.stack([wanted[:, a:b].sum(axis=1) for a, b in pairwise(edges)], axis=1).astype(np.float64)


def parts_of(shop: Workshop, month: int) -> Parts:
    """What the storeroom knows at the start of a month: the 36 months before it."""
    plain = plain_parts(shop.months[:, month - HISTORY : month], target=0.95, lead_days=1)
    return replace(plain, lead_days=shop.lead, lead_sd_days=shop.lead_sd, target=shop.target, price=0 * shop.lead + 8)


Planner = Callable[[Parts, Terms, Plans], Wholes]


@dataclass(frozen=True)
class Years:
    """What came of the policy, and the service it stated, averaged over the months."""

    outcome: Outcome
    stated: Reals
    stated_fill: Reals


def run(shop: Workshop, point_of: Planner | None = None, terms: Terms | None = None) -> Years:
    """Recompute the levels every month and run the years; ``point_of`` replaces the reorder points."""
    terms = terms or Terms(review_days=shop.world.review_days)
    levels: list[Levels] = []
    stated, stated_fill = np.zeros(len(shop.mean)), np.zeros(len(shop.mean))
    months = range(HISTORY, shop.months.shape[1])
    for month in months:
        parts = parts_of(shop, month)
        plans = plan_parts(parts, terms)
        stated += plans.service / len(months)
        stated_fill += plans.fill / len(months)
        point = plans.point if point_of is None else point_of(parts, terms, plans)
        levels.append(Levels(0 if month == HISTORY else int(shop.edges[month]), point, plans.lot))
    return Years(simulate(shop.world, levels), stated, stated_fill)


def achieved(years: Years, shop: Workshop, mine: Flags) -> tuple[float, float, float, int]:
    """Return achieved, promised and stated cycle service over some parts, weighed by their cycles, and the cycles."""
    cycles = years.outcome.cycles[mine]
    total = int(cycles.sum())
    return (
        float(years.outcome.kept_cycles[mine].sum() / total),
        float((shop.target[mine] * cycles).sum() / total),
        float((years.stated[mine] * cycles).sum() / total),
        total,
    )
