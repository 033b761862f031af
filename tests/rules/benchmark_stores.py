"""Measure the storeroom's rules: ``python -m tests.rules.benchmark_stores [--parts N] [--years N]``.

Prints how long all parts and one part take, and what service a seeded workshop achieves under the policy and under
plainer rules. It is no test: times belong to a machine.
"""

import argparse
import time
from dataclasses import replace
from datetime import date

import numpy as np

from app.rules.reorder import Stock
from app.rules.stores.arrays import Reals, Wholes
from app.rules.stores.laws import demand, over, quantile
from app.rules.stores.lead_time import lead_time
from app.rules.stores.netting import KnownDemand
from app.rules.stores.planning import Parts, Plans, Terms, plain_parts, plan_parts
from app.rules.stores.simulation import Outcome, costs, fixed_min_max, order_when_empty, simulate
from app.rules.stores.suggestion import PartState, suggest
from tests.rules.stores.workshop import (
    HISTORY,
    KINDS,
    Planner,
    Workshop,
    Years,
    achieved,
    parts_of,
    run,
    with_drift,
    with_learnt_lead_times,
    workshop,
)


def main() -> None:
    """Print everything."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--parts", type=int, default=1000, help="parts of the simulated workshop")
    asked.add_argument("--years", type=int, default=10, help="years simulated after three of history")
    asked.add_argument("--seed", type=int, default=7)
    given = asked.parse_args()
    speed()
    for review_days in (1, 7):
        service(workshop(given.parts, given.years, given.seed, review_days=review_days))


def many_parts(count: int, months: int) -> Parts:
    """Draw parts of all kinds: rare ones, lumpy ones, some wanted by the hundred."""
    chance = np.random.default_rng(1)
    mean = np.exp(chance.uniform(np.log(0.05), np.log(300), count))
    scatter = chance.uniform(1.05, 8, count)
    history = chance.negative_binomial((mean / (scatter - 1))[:, None], (1 / scatter)[:, None], (count, months))
    parts = plain_parts(history.astype(np.float64), target=0.95, lead_days=14, lead_sd_days=3)
    return replace(
        parts,
        price=chance.uniform(0.2, 80, count),
        pack=chance.choice([1, 5, 10], count),
        lead_days=chance.uniform(3, 60, count),
        shelf_life_days=chance.choice([0.0, 0.0, 365.0], count),
    )


def speed() -> None:
    """Print the time of all parts together and of one part with its suggestion, the median of several runs."""
    parts = many_parts(20_000, 36)
    print(f"20,000 parts × 36 months: {_median(lambda: plan_parts(parts, Terms()), 3):.2f} s")
    one = many_parts(1, 36)
    state = PartState("SEAL-1", Stock(3), lead_time(14), KnownDemand((), None, ()))
    took = _median(lambda: suggest(state, plan_parts(one, Terms()), 0, today=date(2026, 3, 2)), 50)
    print(f"one part, planned and told in words: {1000 * took:.1f} ms")


def _median(what: object, times: int) -> float:
    assert callable(what)
    what()
    found = []
    for _ in range(times):
        began = time.perf_counter()
        what()
        found.append(time.perf_counter() - began)
    return sorted(found)[times // 2]


def _poisson(parts: Parts, terms: Terms, plans: Plans) -> Wholes:
    mean = plans.rate * (parts.lead_days + terms.review_days)
    return np.where(plans.kept, quantile(demand(mean, mean), parts.target), 0)


def _lead_alone(parts: Parts, _terms: Terms, plans: Plans) -> Wholes:
    return _dispersed(parts.lead_days, parts, plans)


def _lead_and_review(parts: Parts, terms: Terms, plans: Plans) -> Wholes:
    return _dispersed(parts.lead_days + terms.review_days, parts, plans)


def _dispersed(days: Reals, parts: Parts, plans: Plans) -> Wholes:
    ahead = over(days, plans.rate / plans.unit, plans.dispersion, np.zeros_like(days), parts.lead_sd_days)
    return np.where(plans.kept, quantile(ahead, parts.target) * plans.unit + plans.unit - 1, 0)


RULES: tuple[tuple[str, Planner | None], ...] = (
    ("the policy: undershoot, error of the rate, spread of the lead time", None),
    ("Poisson demand of lead time and review period", _poisson),
    ("demand of the lead time by its dispersion", _lead_alone),
    ("demand of lead time and review period by its dispersion", _lead_and_review),
)


def service(shop: Workshop) -> None:
    """Print achieved and promised cycle service, and costs, under several rules."""
    print(f"\n{len(shop.mean)} parts, looked at every {shop.world.review_days} days, rates from the last 36 months")
    price = np.full(len(shop.mean), 8.0)
    for name, rule in RULES:
        years = run(shop, rule)
        print(f"{name}\n  costs: {_costs(years.outcome, price)}")
        _groups(shop, years, fine=rule is None)
    _harder(shop)
    plans = plan_parts(parts_of(shop, HISTORY), Terms())
    least = np.ceil(plans.rate * (shop.lead + 30)).astype(np.int64)
    for name, levels in (
        ("fixed card: a month over lead-time demand", fixed_min_max(least, least + plans.lot, np.ones_like(least))),
        ("ordered when empty", order_when_empty(plans.lot)),
    ):
        out = simulate(shop.world, [levels])
        got = out.kept_cycles.sum() / out.cycles.sum()
        print(f"{name}\n  cycle service {got:.2%}, fill rate {out.at_once.sum() / out.wanted.sum():.2%}")
        print(f"  costs: {_costs(out, price)}")


def _harder(shop: Workshop) -> None:
    """Print the service of the policy where it knows less, or where the world does not stand still."""
    for name, other in (
        ("lead times learnt from eight receipts", with_learnt_lead_times(shop, 8, 99)),
        ("demand falls by half over the years", with_drift(shop, 1.0, 0.5, 5)),
        ("demand doubles over the years", with_drift(shop, 0.5, 1.0, 5)),
    ):
        years = run(other)
        print(f"the policy, {name}; parts with enough demand")
        for label, mine in (("all", shop.lead_sd >= 0), ("lead time scatters", shop.lead_sd > 0)):
            got, promised, _stated, _cycles = achieved(years, shop, mine & (shop.lead_demand >= 5))
            print(f"  {label}: achieved {got:.2%}, promised {promised:.2%} ({100 * (got - promised):+.2f})")


def _costs(out: Outcome, price: Reals) -> str:
    found = costs(out, price, order_cost=15, holding_share=0.2, owed_cost_per_day=5)
    return (
        f"holding {found.holding:,.0f}, ordering {found.ordering:,.0f}, expiry {found.expiry:,.0f}, "
        f"shortage {found.shortage:,.0f}, together {found.total:,.0f}"
    )


def _groups(shop: Workshop, years: Years, *, fine: bool) -> None:
    wants = shop.lead_demand
    groups = [("all", wants > 0), ("below 1 want in a lead time", wants < 1), ("1 to 5", (wants >= 1) & (wants < 5))]
    groups.append(("5 and more (enough)", wants >= 5))
    if fine:
        groups += [(f"  {name}", (wants >= 5) & (shop.kind == n)) for n, name in enumerate(KINDS)]
        groups += [(f"  target {t:.0%}", (wants >= 5) & (shop.target == t)) for t in (0.9, 0.95, 0.98)]
        groups.append(("  lead time scatters", (wants >= 5) & (shop.lead_sd > 0)))
    for name, mine in groups:
        if not years.outcome.cycles[mine].sum():
            continue
        got, promised, stated, cycles = achieved(years, shop, mine)
        fill = years.outcome.at_once[mine].sum() / years.outcome.wanted[mine].sum()
        print(
            f"  {name:28} {int(mine.sum()):5} parts {cycles:6} cycles: achieved {got:.2%}, promised {promised:.2%} "
            f"({100 * (got - promised):+.2f}), stated {stated:.2%}; fill rate {fill:.2%}"
        )


if __name__ == "__main__":
    main()
