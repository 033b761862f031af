"""Exact optimal policies of small cases, against published examples, brute force and the simulation."""

import numpy as np
import pytest

from app.rules.stores.exact import (
    base_stock,
    base_stock_fill,
    base_stock_normal,
    best_point_and_level,
    best_point_and_lot,
    point_and_lot_cost,
    policy_cost,
)
from app.rules.stores.laws import at_most, demand
from app.rules.stores.quantities import economic_order_quantity
from app.rules.stores.simulation import Levels, simulate, steady_world

# L. V. Snyder & Z.-J. M. Shen, Fundamentals of Supply Chain Theory, examples as run with stockpyl 1.0.2.


def test_the_base_stock_of_normal_demand_covers_the_lead_time_and_one_period() -> None:
    """Examples 4.1 and 4.4: N(50, 8), h = .18, p = .70."""
    assert base_stock_normal(50, 8, 0.18, 0.70) == pytest.approx(56.6040, abs=5e-5)
    assert base_stock_normal(50, 8, 0.18, 0.70, lead=4) == pytest.approx(264.7669, abs=5e-5)


def test_the_base_stock_of_poisson_demand_is_the_critical_quantile() -> None:
    """Problem 4.8a: mean 18, holding 200, shortage 270."""
    assert base_stock(demand(18, 18), 200, 270) == 19


def test_a_base_stock_has_a_ready_rate_and_a_lower_fill_rate() -> None:
    """Poisson 4 in the lead time, S = 7: P(D ≤ 7) = .9489, fill rate P(D ≤ 6) = .8893 (calculated)."""
    assert float(at_most(demand(4, 4), np.asarray([7]))[0]) == pytest.approx(0.9489, abs=5e-5)
    assert base_stock_fill(4, 7) == pytest.approx(0.8893, abs=5e-5)


def test_the_best_point_and_lot_of_poisson_demand() -> None:
    """Example 5.8, the exact continuous-review (r, Q) model with Poisson demand and backorders."""
    found = best_point_and_lot(rate=1.5, lead=2, holding=20, backorder=150, ordering=100)
    assert (found.point, found.up_to - found.point) == (3, 5)
    assert found.cost == pytest.approx(107.9236, abs=5e-5)


def test_the_best_point_and_level_of_poisson_demand() -> None:
    """Example 4.7: Poisson 6, h = 1, p = 4, K = 5 → (4, 10) at 8.03411."""
    found = best_point_and_level(demand(6, 6), holding=1, backorder=4, ordering=5)
    assert (found.point, found.up_to) == (4, 10)
    assert found.cost == pytest.approx(8.03411, abs=5e-6)


@pytest.mark.parametrize(
    ("mean", "dispersion", "ordering", "lead"), [(6, 1, 5, 0), (2, 1, 20, 3), (3, 3, 8, 0), (0.4, 1, 3, 2)]
)
def test_no_other_pair_of_levels_is_cheaper(mean: float, dispersion: float, ordering: float, lead: int) -> None:
    of = demand(mean, mean * dispersion)
    best = best_point_and_level(of, 1, 4, ordering, lead)
    pairs = [(s, up_to) for s in range(-4, 14) for up_to in range(s + 1, s + 25)]
    costs = {pair: policy_cost(of, pair, 1, 4, ordering, lead) for pair in pairs}
    assert min(costs.values()) == pytest.approx(best.cost)
    assert costs[best.point, best.up_to] == pytest.approx(best.cost)


@pytest.mark.parametrize(
    ("rate", "lead", "holding", "backorder", "ordering"),
    [(1.5, 2, 20, 150, 100), (0.1, 14, 0.02, 2, 15), (0.8, 20, 0.01, 1, 15), (6, 1, 1, 4, 5), (0.02, 40, 0.05, 5, 15)],
)
def test_the_economic_lot_with_its_best_point_costs_little_more_than_the_optimum(
    rate: float, lead: float, holding: float, backorder: float, ordering: float
) -> None:
    """Y.-S. Zheng (1992), On properties of stochastic inventory systems, Management Science 38, 87-103: no more than
    an eighth (from memory; proved for continuous quantities, whole pieces give a few per cent more)."""
    best = best_point_and_lot(rate, lead, holding, backorder, ordering)
    lot = max(1, round(economic_order_quantity(ordering, holding, rate).quantity))
    costs = [
        point_and_lot_cost(rate, lead, holding, backorder, ordering, (point, lot))
        for point in range(-lot, int(rate * lead) + 60)
    ]
    assert best.cost - 1e-9 <= min(costs) <= 1.15 * best.cost
    own = point_and_lot_cost(rate, lead, holding, backorder, ordering, (best.point, best.up_to - best.point))
    assert own == pytest.approx(best.cost)


def test_the_simulation_costs_what_the_exact_policy_says_and_its_neighbours_more() -> None:
    """An order of lead time 1 here comes after the next day's demand, just before that day's stock is counted: the
    handbook's order without lead time."""
    wanted = np.random.default_rng(4).poisson(6, (200, 2_000)).astype(np.int64)
    same = np.ones(200, dtype=np.int64)
    cost = {}
    for s, up_to in [(4, 10), (4, 14), (1, 10), (7, 11), (4, 7)]:
        out = simulate(steady_world(wanted, 1, 10, count_from=100), [Levels(0, s * same, same, up_to * same)])
        total = out.stock_days.sum() + 4 * out.owed_days.sum() + 5 * out.orders.sum()
        cost[s, up_to] = float(total) / (200 * 1900)
        assert cost[s, up_to] == pytest.approx(policy_cost(demand(6, 6), (s, up_to), 1, 4, 5), abs=0.03)
    assert min(cost, key=lambda pair: cost[pair]) == (4, 10)
    assert cost[4, 10] == pytest.approx(8.03411, abs=0.03)
