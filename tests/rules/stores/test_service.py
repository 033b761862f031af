"""The promise kept: a seeded workshop for years, levels recomputed from its own history month by month.

The size is fixed and the series are seeded, so the figures are the same on every run. ``python -m
tests.rules.benchmark_stores`` prints them for more parts and for plainer rules.
"""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from app.rules.stores.arrays import DAYS_PER_YEAR
from app.rules.stores.planning import Terms, plan_parts
from app.rules.stores.simulation import Costs, Levels, costs, fixed_min_max, order_when_empty, simulate
from tests.rules.stores.workshop import (
    HISTORY,
    KINDS,
    Workshop,
    Years,
    achieved,
    parts_of,
    run,
    with_learnt_lead_times,
    workshop,
)

ENOUGH = 5.0
"""Enough demand: five wants in a lead time. Below that one piece more or less moves the service by points."""

POINT = 0.01


@lru_cache(maxsize=2)
def _played(review_days: int) -> tuple[Workshop, Years]:
    shop = workshop(500, 10, seed=11, review_days=review_days)
    return shop, run(shop)


@pytest.mark.parametrize("review_days", [1, 7])
def test_the_achieved_service_is_within_a_point_of_the_promised_one(review_days: int) -> None:
    shop, years = _played(review_days)
    got, promised, stated, cycles = achieved(years, shop, shop.lead_demand >= ENOUGH)
    assert cycles > 5000
    assert got == pytest.approx(promised, abs=POINT)
    assert got == pytest.approx(stated, abs=POINT)


def test_parts_with_little_demand_get_no_less_than_promised_and_it_is_stated_how_much_more() -> None:
    shop, years = _played(1)
    got, promised, stated, _cycles = achieved(years, shop, shop.lead_demand < ENOUGH)
    assert got >= promised - POINT
    assert got == pytest.approx(stated, abs=1.5 * POINT)


@pytest.mark.parametrize("kind", range(len(KINDS) - 1), ids=KINDS[:-1])
def test_no_kind_of_demand_falls_far_short(kind: int) -> None:
    shop, years = _played(1)
    got, promised, _stated, cycles = achieved(years, shop, (shop.lead_demand >= ENOUGH) & (shop.kind == kind))
    assert got >= promised - POINT - 2 * (promised * (1 - promised) / cycles) ** 0.5


def test_learnt_lead_times_keep_the_promise_too_and_err_on_the_safe_side_where_they_are_steady() -> None:
    shop, _years = _played(1)
    years = run(with_learnt_lead_times(shop, 8, seed=99))
    enough = shop.lead_demand >= ENOUGH
    got, promised, _stated, _cycles = achieved(years, shop, enough & (shop.lead_sd > 0))
    assert got == pytest.approx(promised, abs=POINT)
    got, promised, _stated, _cycles = achieved(years, shop, enough & (shop.lead_sd == 0))
    assert promised <= got <= promised + 4 * POINT


def test_the_fill_rate_is_what_was_stated_and_not_the_cycle_service() -> None:
    shop, years = _played(1)
    mine = shop.lead_demand >= ENOUGH
    fill = years.outcome.at_once[mine].sum() / years.outcome.wanted[mine].sum()
    stated = (years.stated_fill * years.outcome.wanted)[mine].sum() / years.outcome.wanted[mine].sum()
    assert fill == pytest.approx(stated, abs=POINT / 2)
    assert fill > achieved(years, shop, mine)[0] + 0.02


def _cost(shop: Workshop, levels: list[Levels]) -> tuple[float, Costs]:
    out = simulate(shop.world, levels)
    price = np.full(len(shop.mean), 8.0)
    found = costs(out, price, order_cost=15, holding_share=0.2, owed_cost_per_day=5)
    return float(out.kept_cycles.sum() / out.cycles.sum()), found


def test_the_policy_is_cheaper_than_a_fixed_card_and_than_ordering_when_empty() -> None:
    """The card has a month's worth over lead-time demand as minimum and the economic lot above it as maximum, which
    is generous; both plain policies get the same lots as the policy."""
    shop, years = _played(1)
    plans = plan_parts(parts_of(shop, HISTORY), Terms())
    kept = np.maximum(plans.lot, 1)
    one = np.ones_like(kept)
    least = np.ceil(plans.rate * (shop.lead + 30)).astype(np.int64)
    price = np.full(len(shop.mean), 8.0)
    ours = costs(years.outcome, price, order_cost=15, holding_share=0.2, owed_cost_per_day=5)
    _service, card = _cost(shop, [fixed_min_max(least, least + kept, one)])
    empty_service, empty = _cost(shop, [order_when_empty(kept)])
    assert ours.total < card.total
    assert ours.total < empty.total / 3
    assert empty_service < 0.6


def test_what_expires_counts_as_a_cost_and_cut_lots_lower_it() -> None:
    shop = workshop(100, 6, seed=5)
    life = np.full(100, 150, dtype=np.int64)
    world = replace(shop.world, shelf_life_days=life, opening=np.zeros(100, dtype=np.int64))
    parts = parts_of(shop, HISTORY)
    blind = plan_parts(parts, Terms())
    aware = plan_parts(replace(parts, shelf_life_days=life.astype(np.float64)), Terms())
    lost = [int(simulate(world, [Levels(0, p.point, p.lot)]).expired.sum()) for p in (blind, aware)]
    assert lost[1] < lost[0] / 2
    assert DAYS_PER_YEAR > 365
