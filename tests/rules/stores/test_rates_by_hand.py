"""Rates, their errors and the silence of a part, each worked a second way; what a plan announced in time."""

import statistics
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.stores.arrays import reals
from app.rules.stores.demand import Use, demand_shape, shapes, unforeseen
from app.rules.stores.forecast import METHODS, QUIET_LIMIT, Method, prior_from_procedures, rates, smooth, with_prior
from tests.rules.stores.test_demand import SPARSE

histories = st.lists(st.integers(0, 30), min_size=1, max_size=40)


def rate_of(history: list[int] | tuple[int, ...]) -> tuple[float, Method, float]:
    """Return rate, method and squared relative error of one history."""
    row = reals(history)[None, :]
    found = rates(row, shapes(row))
    return float(found.rate[0]), METHODS[int(found.method[0])], float(found.error[0])


@given(histories, st.integers(0, 5))
def test_mean_and_variance_are_the_librarys_and_the_unit_divides_every_demand(history: list[int], lead: int) -> None:
    found = shapes(reals([*[0] * lead, *history])[None, :], np.asarray([lead]))
    assert int(found.periods[0]) == len(history)
    assert float(found.mean[0]) == pytest.approx(statistics.mean(history))
    assert float(found.variance[0]) == pytest.approx(statistics.variance(history) if len(history) > 1 else 0)
    wanted = [one for one in history if one]
    if len(wanted) > 1:
        size = statistics.mean(wanted)
        assert float(found.cv2[0]) == pytest.approx(statistics.pvariance(wanted) / size**2)
        assert float(found.cv2_sample[0]) == pytest.approx(statistics.variance(wanted) / size**2)
    unit = int(found.unit[0])
    assert unit == (int(np.gcd.reduce(np.asarray(wanted))) if len(wanted) >= 3 else 1)


def test_demands_always_in_fives_have_five_as_their_unit_once_there_are_three() -> None:
    for history, unit in (([5, 0, 10], 1), ([5, 0, 10, 25], 5), ([5, 0, 10, 26], 1), ([0, 0, 0], 1)):
        assert int(shapes(reals(history)[None, :]).unit[0]) == unit


def test_a_short_sparse_history_gives_the_plain_means_corrected() -> None:
    # Four demands, 14 pieces, 12 periods: size 3.5, interval 3, both plain means, so w = 1/4 and 1 − 1/p = 2/3.
    rate, method, error = rate_of(SPARSE)
    assert method is Method.SBA
    assert rate == pytest.approx((3.5 / 3) / (1 + 1 / 4 * 2 / 3))
    assert error == pytest.approx(1 / 4 * (demand_shape(SPARSE).cv2_sample + 2 / 3))


def test_a_part_wanted_in_every_period_is_not_corrected_and_as_sure_as_its_sizes() -> None:
    rate, method, error = rate_of([2, 4, 2, 4])
    assert rate == pytest.approx(3)
    assert method is Method.CROSTON
    assert error == pytest.approx(1 / 4 * demand_shape([2, 4, 2, 4]).cv2_sample)
    # A first demand that came late makes its interval, which is part of what is not known.
    assert rate_of([3])[2] == 0
    assert rate_of([0, 3])[2] == pytest.approx(1 / 2)


def test_the_method_changes_at_an_interval_of_1_32() -> None:
    # 25 demands in 33 periods are 1.32 exactly; in 32 they are less.
    assert rate_of([1, 1, 1, 0] * 8 + [1])[1] is Method.SBA
    assert rate_of([1, 1, 1, 0] * 7 + [1] * 4)[1] is Method.CROSTON


def quiet_chance(demands: int, periods: int, quiet: int) -> float:
    """The chance of so many quiet periods, as the product that the ratio of two beta functions is."""
    hits, misses = demands + 0.5, periods - quiet - demands + 0.5
    found = 1.0
    for n in range(quiet):
        found *= (misses + n) / (hits + misses + n)
    return found


@pytest.mark.parametrize("before", [[2, 3, 2, 1, 3, 2], [1, 0, 1, 1, 0, 2, 1, 1], [4, 0, 0, 3, 0, 0, 0, 5]])
def test_a_part_is_silent_from_the_period_on_whose_chance_is_below_two_in_a_hundred(before: list[int]) -> None:
    demands = sum(1 for one in before if one)
    assert QUIET_LIMIT == 0.02
    for quiet in range(40):
        _rate, method, _error = rate_of([*before, *[0] * quiet])
        silent = quiet_chance(demands, len(before) + quiet, quiet) < 0.02
        assert (method is Method.TSB) == silent, quiet
    assert silent, "forty quiet periods end the use of any of these"


def test_the_rate_of_a_silent_part_is_its_probability_times_its_size() -> None:
    history = [2, 4, 2, 4] + [0] * 10
    rate, method, _error = rate_of(history)
    assert method is Method.TSB
    found = smooth(reals(history)[None, :], warm=True)
    # Warm: the probability is the plain mean of ten periods, then smoothed by a tenth.
    assert rate == pytest.approx(4 / 10 * 0.9**4 * 3)
    assert int(found.quiet[0]) == 10


@given(histories.filter(any))
def test_the_warm_weights_are_those_of_the_mean_and_then_of_the_smoothing(history: list[int]) -> None:
    found = smooth(reals(history)[None, :], 0.1, 0.1, warm=True)
    size = interval = weight = probability = gap = 0.0
    count = 0
    for seen, now in enumerate(history, start=1):
        probability += max(1 / seen, 0.1) * ((now > 0) - probability)
        gap += 1
        if now:
            count += 1
            a = max(1 / count, 0.1)
            size, interval, gap = size + a * (now - size), interval + a * (gap - interval), 0
            weight = (1 - a) ** 2 * weight + a * a
    got = [float(one[0]) for one in (found.size, found.interval, found.probability, found.weight)]
    assert got == pytest.approx([size, interval, probability, weight])
    assert int(found.quiet[0]) == gap


def test_nothing_is_known_of_a_part_without_demand() -> None:
    assert rate_of([0, 0, 0]) == (0, Method.NONE, 0)


def test_what_was_used_and_what_was_supposed_are_added_up() -> None:
    # Gamma: 2 a day weighed like 10 days are 20 pieces; 4 used in 5 days make 24 in 15.
    rate, error = with_prior(reals(2.0), reals(10.0), reals(4.0), reals(5.0))
    assert float(rate[0]) == pytest.approx(24 / 15)
    assert float(error[0]) == pytest.approx(1 / 24)


def test_a_device_that_nobody_has_uses_nothing() -> None:
    assert prior_from_procedures(0, 0.5, 10).rate_per_day == 0
    assert prior_from_procedures(1, 0, 10).rate_per_day == 0
    assert prior_from_procedures(1, 1, 0).rate_per_day == 0
    for wrong in ((-1, 1, 1), (1, -1, 1), (1, 1, -1)):
        with pytest.raises(ValueError, match="not negative"):
            prior_from_procedures(*wrong)


def test_a_plan_made_a_lead_time_ahead_is_known_to_the_day() -> None:
    day = date(2026, 3, 20)
    known = [Use(day, n, day - timedelta(days=n)) for n in (9, 10, 11)]
    assert [use.quantity for use in unforeseen(known, 10)] == [9]
