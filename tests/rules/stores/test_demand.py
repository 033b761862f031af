"""Demand classes and rates, against published and recorded figures, real series, and by hand."""

import hashlib
from datetime import date
from importlib import resources
from statistics import mean, variance

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.stores.arrays import reals
from app.rules.stores.demand import DemandClass, Use, by_month, demand_class, demand_shape, shapes, unforeseen
from app.rules.stores.forecast import (
    METHODS,
    Method,
    croston,
    prior_from_procedures,
    rates,
    sba,
    smooth,
    tsb,
    with_prior,
)
from app.rules.stores.laws import LAWS, Law, demand

SPARSE = (0, 0, 5, 0, 0, 0, 3, 0, 4, 0, 0, 2)

# Deaths by horse kick, L. von Bortkiewicz, Das Gesetz der kleinen Zahlen (1898), 14 corps, 1875 to 1894. From memory:
# how often a corps had so many in a year; the years' totals; the years of the guard corps, a series as rare as a
# slow part's. The three are held against one another and against the total of 196.
BY_COUNT = {0: 144, 1: 91, 2: 32, 3: 11, 4: 2}
BY_YEAR = (3, 5, 7, 9, 10, 18, 6, 14, 11, 9, 5, 11, 15, 6, 11, 17, 12, 15, 8, 4)
GUARD = (0, 2, 2, 1, 0, 0, 1, 1, 0, 3, 0, 2, 1, 0, 0, 1, 0, 1, 0, 1)


# A. A. Syntetos, J. E. Boylan & J. D. Croston (2005), J. Opl Res. Soc. 56, 495-503: ADI 1.32 and CV² 0.49.
@pytest.mark.parametrize(
    ("adi", "cv2", "kind"),
    [
        (1.0, 0.1, DemandClass.SMOOTH),
        (1.31, 0.48, DemandClass.SMOOTH),
        (1.0, 0.49, DemandClass.ERRATIC),
        (1.32, 0.48, DemandClass.INTERMITTENT),
        (1.32, 0.49, DemandClass.LUMPY),
        (float("inf"), 0.0, DemandClass.NONE),
    ],
)
def test_the_class_is_that_of_the_published_limits(adi: float, cv2: float, kind: DemandClass) -> None:
    assert demand_class(adi, cv2) is kind


def test_the_shape_leaves_zeros_out_of_the_sizes_and_names_both_divisors() -> None:
    """Recorded: statsforecast 2.1.1 and by hand, ADI 3.0, CV² .102 with divisor n, .136 with n − 1."""
    shape = demand_shape(SPARSE)
    assert (shape.periods, shape.demands, shape.adi) == (12, 4, 3.0)
    assert shape.cv2 == pytest.approx(0.102, abs=5e-4)
    assert shape.cv2_sample == pytest.approx(0.136, abs=5e-4)
    assert shape.kind is DemandClass.INTERMITTENT


def test_croston_and_its_corrections_give_the_recorded_rates() -> None:
    """Recorded with statsforecast 2.1.1, alpha .1, start at the first size and interval, TSB from probability 0."""
    assert croston(SPARSE) == pytest.approx(1.487128, abs=5e-7)
    assert sba(SPARSE) == pytest.approx(1.412772, abs=5e-7)
    assert tsb(SPARSE) == pytest.approx(1.204034, abs=5e-7)


def test_a_published_monthly_series_gives_the_recorded_rates() -> None:
    """PBS_dataset.csv of sktime 1.2.0 (SHA-256 below): 204 months, 114 with demand, sum 331, mean gap 1.4602.

    Recorded with statsforecast 2.1.1: Croston .868892, SBA .825448, TSB .015194. The series has a licence of its
    own and is not kept here; the test runs where the package is installed.
    """
    try:
        data = resources.files("sktime").joinpath("datasets/data/PBS_dataset/PBS_dataset.csv").read_bytes()
    except ModuleNotFoundError:
        pytest.skip("sktime is not installed")
    assert hashlib.sha256(data).hexdigest() == "bfd1b67547b909218d2b6be1bdc67eb134886135f4bca157c1c6785285f2eb28"
    series = [int(line.split(",")[1]) for line in data.decode().splitlines()[1:]]
    places = [n for n, value in enumerate(series) if value]
    assert (len(series), len(places), sum(series)) == (204, 114, 331)
    assert (places[-1] - places[0]) / (len(places) - 1) == pytest.approx(1.4602, abs=5e-5)
    assert croston(series) == pytest.approx(0.868892, abs=5e-7)
    assert sba(series) == pytest.approx(0.825448, abs=5e-7)
    assert tsb(series) == pytest.approx(0.015194, abs=5e-7)


def test_the_horse_kicks_are_poisson_and_a_slow_series_among_them_is_intermittent() -> None:
    counts = [n for n, times in BY_COUNT.items() for _ in range(times)]
    assert (len(counts), sum(counts), sum(BY_YEAR), sum(GUARD)) == (280, 196, 196, 16)
    assert mean(counts) == pytest.approx(0.7)
    assert variance(counts) == pytest.approx(0.7627, abs=5e-5)
    shape = demand_shape(GUARD)
    assert shape.adi == pytest.approx(20 / 11)
    assert shape.kind is DemandClass.INTERMITTENT
    # Poisson, once the dispersion is within what 20 years can tell; the rate near 16 in 20 years.
    assert variance(GUARD) / mean(GUARD) == pytest.approx(1.0, abs=0.1)
    assert LAWS[int(demand(mean(GUARD), min(variance(GUARD), mean(GUARD))).law[0])] is Law.POISSON
    found = rates(reals(GUARD)[None, :], shapes(reals(GUARD)[None, :]))
    assert METHODS[int(found.method[0])] is Method.SBA
    assert float(found.rate[0]) == pytest.approx(0.8, abs=0.15)


def test_a_silence_out_of_keeping_with_the_demand_before_it_changes_to_a_falling_rate() -> None:
    history = reals([2, 3, 2, 1, 3, 2, 2, 3, 1, 2, 2, 3] + [0] * 12)[None, :]
    silent = rates(history, shapes(history))
    assert METHODS[int(silent.method[0])] is Method.TSB
    longer = np.hstack([history, np.zeros((1, 12))])
    later = rates(longer, shapes(longer))
    assert 0 < float(later.rate[0]) < float(silent.rate[0]) < 2.2 / 2
    lively = history[:, :13]
    assert METHODS[int(rates(lively, shapes(lively)).method[0])] is not Method.TSB


def test_a_warm_start_is_the_plain_mean_while_the_history_is_short() -> None:
    found = smooth(reals(SPARSE)[None, :], warm=True)
    assert float(found.size[0]) == pytest.approx(14 / 4)
    assert float(found.interval[0]) == pytest.approx(12 / 4)
    assert float(found.probability[0]) == pytest.approx(0.9 * (4 - 1) / 11 + 0.1 * 1, abs=0.1)
    assert float(found.weight[0]) == pytest.approx(1 / 4)


def test_periods_before_a_part_was_kept_do_not_count() -> None:
    late = reals([0, 0, 0, 0, 2, 0, 2, 2])[None, :]
    first = np.asarray([4])
    assert int(shapes(late, first).periods[0]) == 4
    alone = rates(late[:, 4:], shapes(late[:, 4:]))
    assert float(rates(late, shapes(late, first), first).rate[0]) == pytest.approx(float(alone.rate[0]))


def test_no_demand_has_no_rate() -> None:
    none = np.zeros((1, 6))
    assert float(rates(none, shapes(none)).rate[0]) == 0
    assert croston([0, 0, 0]) == sba([0, 0]) == tsb([0]) == 0
    assert demand_shape([0, 0]).kind is DemandClass.NONE
    with pytest.raises(ValueError, match="not negative"):
        demand_shape([1, -1])


@given(st.lists(st.integers(0, 40), min_size=1, max_size=60), st.integers(1, 9))
def test_rates_lie_between_none_and_the_greatest_demand_and_grow_with_the_sizes(series: list[int], times: int) -> None:
    for rate in (croston, sba, tsb):
        assert 0 <= rate(series) <= max(series) + 1e-9
        assert rate([times * x for x in series]) == pytest.approx(times * rate(series))
    many, one = np.asarray([series, series[::-1]], dtype=np.float64), reals(series)[None, :]
    assert float(rates(many, shapes(many)).rate[0]) == float(rates(one, shapes(one)).rate[0])


def test_uses_that_a_plan_announced_in_time_are_left_to_the_known_demand() -> None:
    day = date(2026, 3, 20)
    uses = (Use(day, 2, date(2026, 3, 1)), Use(day, 3, date(2026, 3, 15)), Use(day, 4))
    assert [u.quantity for u in unforeseen(uses, 10)] == [3, 4]


def test_months_end_before_the_running_one() -> None:
    uses = (Use(date(2025, 12, 31), 1), Use(date(2026, 1, 1), 2), Use(date(2026, 2, 28), 5), Use(date(2026, 2, 2), -1),
            Use(date(2026, 1, 5), -9), Use(date(2026, 3, 1), 7))  # fmt: skip
    assert by_month(uses, date(2026, 3, 20), 3) == [1, 0, 4]


def test_a_new_part_starts_from_what_the_procedures_use() -> None:
    prior = prior_from_procedures(2, 0.25, 60)
    assert prior.rate_per_day * 365.25 == pytest.approx(30)
    assert prior.words.startswith("2 a job × 0.25 jobs a year and device × 60 devices = 30.0 a year")
    rate, error = with_prior(reals(prior.rate_per_day), reals(prior.weight_days), reals(0.0), reals(180.0))
    assert float(rate[0]) == pytest.approx(prior.rate_per_day / 2)
    assert float(error[0]) == pytest.approx(1 / (prior.rate_per_day * 180))
    with pytest.raises(ValueError, match="not negative"):
        prior_from_procedures(-1, 1, 1)
