"""Distributions of demand, against published figures and scipy.stats."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from app.rules.stores.arrays import reals
from app.rules.stores.laws import (
    LAWS,
    Law,
    at_most,
    demand,
    down_from,
    expected_short,
    from_zero,
    over,
    quantile,
    summed_short,
)


# Recorded with scipy.
@pytest.mark.parametrize(("variance", "points"), [(4, (7, 8, 9)), (8, (8, 9, 13))])
def test_lead_time_demand_has_the_recorded_quantiles(variance: float, points: tuple[int, ...]) -> None:
    assert tuple(int(quantile(demand(4, variance), share)[0]) for share in (0.90, 0.95, 0.99)) == points


def test_lead_time_demand_carries_the_spread_of_the_lead_time() -> None:
    """d = 100 a day, σd = 20, L = 9, σL = 2 → σ 208.806 (calculated with the handbooks' formula)."""
    found = over(reals(9.0), reals(100.0), reals(20.0**2 / 100), reals(0.0), 2.0)
    assert float(found.mean[0]) == 900
    assert float(np.sqrt(found.variance[0])) == pytest.approx(208.806, abs=5e-4)


def test_the_law_follows_the_dispersion() -> None:
    found = demand(reals([4, 4, 4, 40, 0]), reals([4, 8, 2, 20, 0]))
    assert [LAWS[int(n)] for n in found.law] == [
        Law.POISSON, Law.NEGATIVE_BINOMIAL, Law.POISSON, Law.NORMAL, Law.POISSON,
    ]  # fmt: skip
    with pytest.raises(ValueError, match="not negative"):
        demand(-1, 1)
    with pytest.raises(ValueError, match="between 0 and 1"):
        quantile(demand(1, 1), 1.0)


MEANS = st.floats(0.01, 300)


def _oracle(mean: float, dispersion: float) -> Any:
    if dispersion == 1:
        return stats.poisson(mean)
    return stats.nbinom(mean / (dispersion - 1), 1 / dispersion)


@given(MEANS, st.sampled_from([1.0, 1.2, 3.0, 12.0]), st.floats(0.05, 0.999))
def test_distribution_and_quantile_agree_with_an_independent_library(mean: float, dispersion: float, p: float) -> None:
    ours, theirs = demand(mean, mean * dispersion), _oracle(mean, dispersion)
    k = int(quantile(ours, p)[0])
    assert at_most(ours, np.asarray([k]))[0] == pytest.approx(theirs.cdf(k), abs=1e-9)
    assert theirs.cdf(k) >= p - 1e-9
    assert k == 0 or theirs.cdf(k - 1) < p + 1e-9
    assert at_most(ours, np.asarray([-1]))[0] == 0


@given(st.floats(0.0, 150), st.sampled_from([0.5, 1.0, 1.00001, 2.5, 9.0]), st.integers(0, 300))
def test_tables_built_step_by_step_are_those_of_the_distribution(mean: float, dispersion: float, k: int) -> None:
    ours = demand(mean, mean * dispersion)
    up, down = from_zero(ours, 60)[0], down_from(ours, np.asarray([k]), 60)[0]
    assert up == pytest.approx(at_most(ours.along(61), np.arange(61)), abs=1e-6)
    assert down == pytest.approx(at_most(ours.along(61), k - np.arange(61)), abs=1e-6)


@given(st.floats(0.1, 60), st.sampled_from([0.5, 1.0, 2.5, 8.0]), st.integers(0, 80))
def test_expected_shortages_are_the_sums_they_stand_for(mean: float, dispersion: float, x: int) -> None:
    ours = demand(mean, mean * dispersion)
    k = np.arange(0, 2000)
    chance = np.diff(at_most(ours.along(len(k)), k), prepend=0.0)
    plain = float((np.maximum(k - x, 0) * chance).sum())
    summed = float((np.where(k > x, (k - x) * (k - x - 1) / 2, 0) * chance).sum())
    # The normal law is continuous, cut at zero by no one: its integrals stand for the sums within a few per cent.
    loose = 0.06 * mean + 0.2 if int(ours.law[0]) == 2 else 1e-6 * (1 + mean**2)
    assert float(expected_short(ours, np.asarray([x]))[0]) == pytest.approx(plain, abs=loose)
    if int(ours.law[0]) != 2:
        assert float(summed_short(ours, np.asarray([x]))[0]) == pytest.approx(summed, abs=loose)


def test_a_part_without_demand_is_never_short() -> None:
    none = demand(0, 0)
    assert int(quantile(none, 0.99)[0]) == 0
    assert float(at_most(none, np.asarray([0]))[0]) == 1
    assert float(expected_short(none, np.asarray([0]))[0]) == 0
