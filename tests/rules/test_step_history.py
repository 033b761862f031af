"""Times of steps drawn toward the standard time, and the plan's time from them."""

import random
from math import exp, log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.expected_time import Z_80, calibration, plan_expected_time, sum_of_steps
from app.rules.planning import make_plan
from app.rules.shrinkage import between_variance, shrink, stein_estimates, stein_factor
from app.rules.step_history import (
    CENTRE,
    CHANCE_SD,
    DAY_SD,
    PACE_SD,
    STEP_SD,
    Observation,
    StepExpectation,
    fit_steps,
)
from app.rules.step_times import StepKey
from tests.rules.sheets import sheet, step, unit

# Hits of 45 times at bat. Efron & Morris, Stein's paradox in statistics, Scientific American 236(5), 1977.
HITS = (18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7)


def test_the_baseball_averages_shrink_as_efron_and_morris_published() -> None:
    averages = [hits / 45 for hits in HITS]
    mean = sum(averages) / len(averages)
    variance = mean * (1 - mean) / 45
    assert mean == pytest.approx(0.26543, abs=5e-6)
    assert stein_factor(averages, variance) == pytest.approx(0.212, abs=5e-4)
    assert stein_estimates(averages, variance)[0] == pytest.approx(0.294, abs=5e-4)


def test_a_posterior_lies_between_prior_and_sample_by_their_variances() -> None:
    found = shrink(prior=10, between=3, sample=20, within=1)
    assert (found.mean, found.variance, found.weight) == (17.5, 0.75, 0.75)


def test_groups_that_differ_no_more_than_chance_have_no_variance_between_them() -> None:
    assert between_variance([1.0, 1.1, 0.9], [1.0, 1.0, 1.0]) == 0
    # Equal variances: the estimator is the sample variance of the means less the variance of each.
    assert between_variance([0.0, 2.0, 4.0], [1.0, 1.0, 1.0]) == pytest.approx(4 - 1)


def test_shrinkage_refuses_what_has_no_meaning() -> None:
    with pytest.raises(ValueError, match="variances"):
        shrink(0, 0, 1, 0)
    with pytest.raises(ValueError, match="4 values"):
        stein_factor([1, 2, 3], 1)
    with pytest.raises(ValueError, match="needs a variance"):
        between_variance([1, 2], [1, 0])


DOWN: list[StepKey] = [("down", f"s{n}") for n in range(6)]
STANDARD = dict.fromkeys(DOWN, 60)


def test_without_history_a_step_takes_its_standard_time_and_is_as_wide_as_assumed() -> None:
    found = fit_steps(STANDARD, []).expect(DOWN[0], 60)
    assert found.median_s == pytest.approx(60 * exp(CENTRE))
    # Its mean over chance is the standard time; the day and the pace are factors about 1.
    assert found.median_s * exp((STEP_SD**2 + CHANCE_SD**2) / 2) == pytest.approx(60)
    assert fit_steps(STANDARD, []).pace == pytest.approx(1)
    assert found.variance == pytest.approx(PACE_SD**2 + STEP_SD**2 + DAY_SD**2 + CHANCE_SD**2)
    assert (found.count, found.weight) == (0, 0.0)


def test_one_slow_time_moves_a_step_a_little_and_twenty_move_it_nearly_all_the_way() -> None:
    one = fit_steps(STANDARD, [Observation("a", DOWN[0], 120)])
    many = fit_steps(
        STANDARD,
        [Observation(f"j{n}", key, 120 if key == DOWN[0] else 60) for n in range(20) for key in DOWN],
    )
    first, last = one.expect(DOWN[0], 60), many.expect(DOWN[0], 60)
    assert 60 * exp(CENTRE) < first.median_s < 90
    assert 105 < last.median_s < 120
    assert first.weight < last.weight < 1
    assert last.variance < first.variance


def test_a_step_never_timed_has_the_pace_of_the_others() -> None:
    history = fit_steps(STANDARD, [Observation(f"j{n}", key, 90) for n in range(10) for key in DOWN[:5]])
    assert history.pace == pytest.approx(1.5, abs=0.06)
    unknown = history.expect(DOWN[5], 60)
    assert unknown.median_s == pytest.approx(60 * exp(history.centre))
    assert 80 < unknown.median_s < 90
    assert unknown.variance > history.expect(DOWN[0], 60).variance


def test_times_of_other_revisions_steps_are_left_out() -> None:
    history = fit_steps({DOWN[0]: 60, DOWN[1]: 0}, [Observation("a", DOWN[1], 5), Observation("a", ("up", "gone"), 5)])
    assert (history.jobs, history.times) == (0, 0)


@given(
    st.lists(
        st.tuples(st.integers(0, 5), st.sampled_from(DOWN), st.integers(1, 4000)),
        max_size=40,
    )
)
def test_an_estimate_lies_between_the_pace_and_the_steps_own_times(drawn: list[tuple[int, StepKey, int]]) -> None:
    history = fit_steps(STANDARD, [Observation(str(job), key, seconds) for job, key, seconds in drawn])
    for key in DOWN:
        found = history.expect(key, 60)
        mean, count = history.by_step.get(key, (history.centre, 0))
        low, high = sorted((mean, history.centre))
        assert low - 1e-9 <= found.location - log(60) <= high + 1e-9
        assert found.variance > 0
        assert found.count == count
    turned = fit_steps(STANDARD, [Observation(str(job), key, seconds) for job, key, seconds in reversed(drawn)])
    assert (turned.jobs, turned.times) == (history.jobs, history.times)
    assert turned.pace == pytest.approx(history.pace)
    assert turned.step_sd == pytest.approx(history.step_sd)
    assert turned.day_sd == pytest.approx(history.day_sd)


def expectation(median: float, own: float, day: float = 0.0, pace: float = 0.0, share: float = 0.0) -> StepExpectation:
    return StepExpectation(DOWN[0], 1, log(median), own, day, pace, share, 0, 0.0)


def test_the_sum_of_one_step_is_that_step() -> None:
    middle, high = sum_of_steps([expectation(100, 0.04)])
    assert middle == pytest.approx(100)
    assert high == pytest.approx(100 * exp(Z_80 * 0.2))


def test_independent_steps_average_out_and_those_of_one_day_do_not() -> None:
    free = sum_of_steps([expectation(100, 0.09)] * 25)
    bound = sum_of_steps([expectation(100, 0.0, day=0.09)] * 25)
    assert free[1] / free[0] == pytest.approx(exp(Z_80 * 0.0613), abs=2e-3)  # ln(1 + (e^0.09 − 1)/25) = 0.0613².
    assert bound[1] / bound[0] == pytest.approx(exp(Z_80 * 0.3))
    assert bound[0] == pytest.approx(2500)


def test_the_sum_agrees_with_drawing_it_a_great_many_times() -> None:
    chance = random.Random(41)
    steps = [expectation(30 + 10 * n, 0.1, day=0.04, pace=0.03, share=0.2 * (n % 3)) for n in range(12)]
    sums = []
    for _ in range(20_000):
        day, pace = chance.gauss(0, 0.2), chance.gauss(0, 0.03**0.5)
        sums.append(sum(exp(s.location + day + s.share * pace + chance.gauss(0, s.own**0.5)) for s in steps))
    sums.sort()
    middle, high = sum_of_steps(steps)
    assert middle == pytest.approx(sums[10_000], rel=0.01)
    assert high == pytest.approx(sums[16_000], rel=0.01)


def test_a_plan_of_no_timed_step_stands_at_its_standard_time_and_says_so() -> None:
    steps = [step(f"s{n}", *([f"s{n - 1}"] if n else []), time_s=60, refit={"time_s": 90}) for n in range(12)]
    steps[-1]["frees"] = "cell"
    example = sheet(steps, [unit("cell")])
    found = plan_expected_time(example, make_plan(example, ["cell"]), fit_steps({}, []))
    assert found.median_s == pytest.approx(12 * 150, rel=0.02)
    assert found.p80_s > 1.2 * found.median_s
    assert found.jobs == 0
    assert "not measured" in found.basis


def test_a_plan_says_how_many_of_its_steps_were_timed() -> None:
    example = sheet([step("a", time_s=600), step("b", "a", time_s=60, frees="cell")], [unit("cell")])
    standard: dict[StepKey, int] = {("down", "a"): 600, ("down", "b"): 60, ("up", "a"): 10, ("up", "b"): 10}
    history = fit_steps(standard, [Observation(f"j{n}", ("down", "a"), 900) for n in range(8)])
    found = plan_expected_time(example, make_plan(example, ["cell"]), history)
    assert found.jobs == 8
    assert found.basis.startswith("1 of 4 steps were timed in 8 finished jobs")
    assert found.median_s > 680


def test_the_80_percent_point_holds_for_jobs_that_follow_the_model() -> None:
    """A hundred and twenty workshops of six jobs: the seventh stays within its 80 % point about four times in five."""
    chance = random.Random(7)
    standard: dict[StepKey, int] = {("down", f"s{n}"): 30 + 7 * n for n in range(20)}
    pairs = []
    for _shop in range(120):
        pace = chance.gauss(0, 0.2)
        own = {key: chance.gauss(0, 0.3) for key in standard}

        def job(pace: float = pace, own: dict[StepKey, float] = own) -> dict[StepKey, int]:
            day = chance.gauss(0, 0.2)
            return {
                key: max(1, round(s * exp(pace + own[key] + day + chance.gauss(0, 0.35))))
                for key, s in standard.items()
            }

        past = [Observation(str(n), key, s) for n in range(6) for key, s in job().items()]
        history = fit_steps(standard, past)
        _middle, high = sum_of_steps([history.expect(key, s) for key, s in standard.items()])
        pairs.append((round(high), sum(job().values())))
    found = calibration(pairs)
    assert found.kept, found.words


def test_calibration_names_what_happened() -> None:
    good = calibration([(100, 90)] * 16 + [(100, 101)] * 4)
    assert good.kept is True
    assert good.words.startswith("16 of 20 finished jobs took no longer than their 80 % point: 80 %")
    assert calibration([(100, 200)] * 20).kept is False
    assert "longer than it need be" in calibration([(100, 1)] * 40).words
    assert calibration([(100, 1)] * 3).kept is None
    assert calibration([]).rate is None
