"""Reorder points by cycle service, fill rates beside them, and the even spread they rest on, played out."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from app.rules.stores.arrays import reals
from app.rules.stores.laws import Demand, at_most, demand, over
from app.rules.stores.levels import (
    cycle_service,
    fill_rates,
    normal_point_for_cycle_service,
    normal_point_for_fill_rate,
    reorder_points,
    undershoot,
)
from app.rules.stores.simulation import Levels, simulate, steady_world


# Standard normal quantiles, recorded with scipy.
@pytest.mark.parametrize(("level", "z"), [(0.90, 1.28155), (0.95, 1.64485), (0.98, 2.05375), (0.99, 2.32635)])
def test_the_safety_factors_are_those_of_the_normal_distribution(level: float, z: float) -> None:
    assert float(special.ndtri(level)) == pytest.approx(z, abs=5e-6)
    assert normal_point_for_cycle_service(0, 1, level) == pytest.approx(z, abs=5e-6)


def test_cycle_service_is_not_fill_rate() -> None:
    """S. Nahmias, Production and Operations Analysis (inputs second-hand, outcome calculated): lead-time demand
    N(100, 25), Q = 200, 98 %: reorder point 115.81 by fill rate and 151.34 by cycle service."""
    assert normal_point_for_fill_rate(100, 25, 200, 0.98) == pytest.approx(115.81, abs=0.005)
    assert normal_point_for_cycle_service(100, 25, 0.98) == pytest.approx(151.34, abs=0.005)
    with pytest.raises(ValueError, match="between 0 and 1"):
        normal_point_for_fill_rate(100, 25, 200, 1)


def _one(rate: float, dispersion: float, days: float) -> Demand:
    return over(reals(days), reals(rate), reals(dispersion), reals(0.0))


@pytest.mark.parametrize(
    ("rate", "dispersion", "lead", "review", "lot", "target"),
    [(0.4, 1, 10, 1, 12, 0.95), (2.0, 1, 14, 5, 40, 0.9), (0.5, 4, 12, 1, 15, 0.95), (1.5, 3, 8, 7, 9, 0.95),
     (3.0, 1, 6, 1, 1, 0.98), (0.05, 1, 20, 1, 3, 0.9)],
)  # fmt: skip
def test_played_out_for_long_the_policy_gives_the_service_and_the_fill_rate_it_states(
    rate: float, dispersion: float, lead: int, review: int, lot: int, target: float
) -> None:
    """With demand known, statement and outcome differ by chance alone: within 4 standard errors and a rounding."""
    ahead, per_review, both = (_one(rate, dispersion, d) for d in (lead, review, lead + review))
    lots = np.asarray([lot])
    found = reorder_points(ahead, per_review, lots, reals(target))
    fill = float(fill_rates(ahead, both, reals(rate * review), found.point, lots)[0])
    chance = np.random.default_rng(20)
    size = (40, 20_000)
    if dispersion == 1:
        wanted = chance.poisson(rate, size)
    else:
        wanted = chance.negative_binomial(rate / (dispersion - 1), 1 / dispersion, size)
    point = int(found.point[0])
    world = steady_world(wanted.astype(np.int64), lead, point + lot, review_days=review, count_from=1000)
    out = simulate(world, [Levels(0, np.full(40, point), np.full(40, lot))])
    cycles = int(out.cycles.sum())
    error = (target * (1 - target) / cycles) ** 0.5
    # Cycles of one part follow one another, so they are not independent where orders overlap.
    assert out.kept_cycles.sum() / cycles == pytest.approx(float(found.service[0]), abs=6 * error + 0.002)
    assert out.at_once.sum() / out.wanted.sum() == pytest.approx(fill, abs=0.004)


@given(
    st.floats(0.01, 4), st.sampled_from([1.0, 1.6, 5.0]), st.integers(1, 60), st.integers(1, 40),
    st.floats(0.5, 0.995), st.floats(0.0, 0.004),
)  # fmt: skip
def test_more_service_or_more_demand_never_lowers_the_reorder_point(
    rate: float, dispersion: float, lead: int, lot: int, target: float, more: float
) -> None:
    rates, targets = reals([rate, rate, 1.3 * rate]), reals([target, target + more, target])
    same = np.full(3, dispersion)
    ahead = over(np.full(3, float(lead)), rates, same, np.full(3, 0.02), 0.2 * lead)
    review = over(np.ones(3), rates, same, np.zeros(3))
    found = reorder_points(ahead, review, np.full(3, lot), targets)
    assert found.point[0] <= found.point[1]
    assert found.point[0] <= found.point[2]
    assert (found.service >= targets).all()


@given(
    st.floats(0.01, 30),
    st.sampled_from([0.5, 1.0, 2.0, 6.0]),
    st.integers(1, 60),
    st.integers(1, 80),
    st.integers(0, 90),
)
def test_a_fill_rate_lies_between_nothing_and_all(
    rate: float, dispersion: float, lead: int, lot: int, point: int
) -> None:
    ahead, both = _one(rate, dispersion, lead), _one(rate, dispersion, lead + 1)
    fill = fill_rates(ahead, both, reals(rate), np.asarray([point, point + 5]), np.asarray([lot, lot]))
    assert ((fill >= 0) & (fill <= 1)).all()
    assert fill[1] >= fill[0] - 1e-6


def test_one_by_one_the_policy_is_a_base_stock() -> None:
    """Lots of one at each review: D + U ≤ s is demand of lead time and review period up to s + 1, given some."""
    rate, lead = 0.8, 9
    below = undershoot(_one(rate, 1, 1), np.asarray([1]), 40)
    direct = cycle_service(_one(rate, 1, lead), below, np.asarray([14]))
    k = np.arange(0, 41)
    daily = np.diff(at_most(_one(rate, 1, 1).along(41), k), prepend=0.0)[1:]
    ahead = at_most(_one(rate, 1, lead).along(40), 15 - k[1:])
    assert float(direct[0]) == pytest.approx(float((daily * ahead).sum() / daily.sum()), abs=1e-9)


def test_parts_wanted_by_the_hundred_are_reckoned_by_moments_to_the_same_end() -> None:
    rate, dispersion, lead = 180.0, 6.0, 10
    ahead, review = _one(rate, dispersion, lead), _one(rate, dispersion, 1)
    lot = np.asarray([4000])
    found = reorder_points(ahead, review, lot, reals(0.95))
    exact = cycle_service(ahead, undershoot(review, lot, 900), found.point)
    assert float(exact[0]) == pytest.approx(float(found.service[0]), abs=0.004)
    assert float(exact[0]) == pytest.approx(0.95, abs=0.005)


def test_a_part_nobody_wants_has_the_point_zero() -> None:
    found = reorder_points(demand(0, 0), demand(0, 0), np.asarray([5]), reals(0.95))
    assert (int(found.point[0]), float(found.service[0])) == (0, 1.0)
