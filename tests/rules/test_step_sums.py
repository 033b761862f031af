"""The time of a plan as the sum of its steps, and shrinkage with groups of unequal size, each worked a second way."""

from fractions import Fraction
from math import exp, log, sqrt
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.expected_time import Z_80, calibration, plan_expected_time, sum_of_steps
from app.rules.planning import make_plan
from app.rules.shrinkage import between_variance, shrink, stein_estimates, stein_factor
from app.rules.statistics import Z_95, median, wilson_interval
from app.rules.step_history import Observation, StepExpectation, fit_steps
from app.rules.step_times import StepKey, standard_times
from tests.rules.sheets import sheet, step, unit

small = st.floats(0, 0.5)


def test_the_points_of_the_normal_distribution_are_its_own() -> None:
    assert pytest.approx(NormalDist().inv_cdf(0.8), abs=1e-12) == Z_80
    assert pytest.approx(NormalDist().inv_cdf(0.975), abs=1e-12) == Z_95


@given(
    st.lists(st.tuples(st.floats(2, 7), small, st.sampled_from((0.0, 0.25, 0.5, 1.0))), min_size=1, max_size=6),
    small,
    small,
)
def test_the_sum_has_the_mean_and_the_variance_of_all_its_pairs(
    drawn: list[tuple[float, float, float]], day: float, pace: float
) -> None:
    steps = [
        StepExpectation(("down", f"s{n}"), 60, location, own, day, pace, share, 3, 0.5)
        for n, (location, own, share) in enumerate(drawn)
    ]
    # Var of a log-normal m is m²(e^v − 1); Cov of two is m·m'(e^c − 1), c the covariance of their logarithms.
    mean = sum(one.mean_s for one in steps)
    variance = sum(
        one.mean_s * other.mean_s * (exp(one.variance if one is other else day + one.share * other.share * pace) - 1)
        for one in steps
        for other in steps
    )
    width = log(1 + variance / mean**2)
    middle = mean / sqrt(1 + variance / mean**2)
    assert sum_of_steps(steps) == pytest.approx((middle, middle * exp(NormalDist().inv_cdf(0.8) * sqrt(width))))


def test_no_steps_take_no_time() -> None:
    assert sum_of_steps([]) == (0.0, 0.0)


def test_a_step_without_a_time_of_its_own_is_left_out() -> None:
    example = sheet([step("a", frees="cell", time_s=600), step("b", "a", time_s=0, refit=False, frees="board")],
                    [unit("cell"), unit("board")])  # fmt: skip
    history = fit_steps(standard_times(example), [])
    with_b = plan_expected_time(example, make_plan(example, ["board"]), history)
    assert with_b == plan_expected_time(example, make_plan(example, ["cell"]), history)


def test_the_basis_says_how_much_was_timed_and_what_weighs_more() -> None:
    example = sheet([step("a", time_s=60), step("b", "a", frees="cell", time_s=600)], [unit("cell")])
    plan, standard = make_plan(example, ["cell"]), standard_times(example)
    timed = [key for key, seconds in standard.items() if seconds]
    short = [key for key in timed if standard[key] == 60]

    def basis(jobs: int, keys: list[StepKey]) -> str:
        times = [Observation(str(n), key, standard[key] // 2) for n in range(jobs) for key in keys]
        return plan_expected_time(example, plan, fit_steps(standard, times)).basis

    assert "no step of it was timed yet" in basis(0, timed)
    once = basis(1, short)
    assert once.startswith("1 of 4 steps were timed in 1 finished job; few times")
    # The one step that was timed is a short one: the sum rests on the standard times of the others.
    assert once.endswith("The standard times still weigh more than the history.")
    often = basis(40, timed)
    assert often.startswith("4 of 4 steps were timed in 40 finished jobs; few times")
    assert "still weigh more" not in often


@pytest.mark.parametrize(
    ("within", "over", "kept"),
    [(8, 1, None), (8, 2, True), (10, 0, True), (12, 12, False), (16, 0, False), (15, 0, True), (0, 10, False)],
)
def test_a_calibration_holds_while_80_percent_lies_in_its_interval(within: int, over: int, kept: bool | None) -> None:
    # Wilson: 15 of 15 reaches down to 0.796, 16 of 16 to 0.806; exactly the 80 % point is within it.
    found = calibration([(100, 100)] * within + [(100, 101)] * over)
    assert found.kept is kept
    rate = wilson_interval(within, within + over)
    assert found.rate == rate
    if kept is not None:
        assert kept == (rate.low <= 0.8 <= rate.high)


# Shrinkage -------------------------------------------------------------------------------------------------------


def test_the_variance_between_unequal_groups_is_that_of_dersimonian_and_laird() -> None:
    # Their formula with exact fractions: (Q − (k − 1)) / (Σw − Σw² / Σw), w = 1/variance.
    means, variances = [Fraction(0), Fraction(3), Fraction(10)], [Fraction(1), Fraction(2), Fraction(4)]
    weights = [1 / v for v in variances]
    total = sum(weights)
    centre = sum(w * m for w, m in zip(weights, means, strict=True)) / total
    q = sum(w * (m - centre) ** 2 for w, m in zip(weights, means, strict=True))
    exact = (q - 2) / (total - sum(w * w for w in weights) / total)
    assert exact > 0
    found = between_variance([float(m) for m in means], [float(v) for v in variances])
    assert found == pytest.approx(float(exact))
    assert between_variance([0.0, 10.0], [1.0, 1.0]) == pytest.approx(49)
    assert (between_variance([], []), between_variance([5.0], [1.0])) == (0.0, 0.0)
    with pytest.raises(ValueError, match="longer"):
        between_variance([1.0, 2.0, 3.0], [1.0, 1.0])


def test_a_prior_or_a_sample_without_doubt_is_believed_alone() -> None:
    assert shrink(10, 0, 20, 1).mean == 10
    sure = shrink(10, 1, 20, 0)
    assert (sure.mean, sure.variance, sure.weight) == (20, 0, 1)
    for between, within in ((-1, 1), (1, -1), (-1, 2), (2, -1), (0, 0)):
        with pytest.raises(ValueError, match="variances"):
            shrink(0, between, 1, within)


def test_four_values_are_enough_and_equal_ones_stay_where_they_are() -> None:
    assert stein_factor([0.0, 0.0, 4.0, 4.0], 1.0) == 1 - 1 / 16
    assert stein_factor([3.0] * 4, 1.0) == 0.0
    assert stein_estimates([3.0] * 4, 1.0) == (3.0,) * 4
    assert stein_factor([0.0, 1.0, 0.0, 1.0], 9.0) == 0.0
    for values, variance in (([1.0, 2.0, 3.0], 1.0), ([1.0, 2.0, 3.0, 4.0], 0.0), ([1.0, 2.0, 3.0, 4.0], -1.0)):
        with pytest.raises(ValueError, match="at least 4 values"):
            stein_factor(values, variance)


# Rates and medians -----------------------------------------------------------------------------------------------


@given(st.integers(1, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_ends_of_wilsons_interval_are_where_the_score_is_just_significant(pair: tuple[int, int]) -> None:
    hits, trials = pair
    rate = wilson_interval(hits, trials)
    assert 0 <= rate.low <= rate.share <= rate.high <= 1
    for end in (rate.low, rate.high):
        if 0 < end < 1:
            assert abs(rate.share - end) == pytest.approx(Z_95 * sqrt(end * (1 - end) / trials))


def test_one_trial_is_enough_for_a_rate_and_the_median_of_two_is_rounded_down() -> None:
    assert (wilson_interval(0, 1).low, wilson_interval(1, 1).high) == (0.0, 1.0)
    assert (median([1, 2]), median([1, 4]), median([3, 4])) == (1, 2, 3)
