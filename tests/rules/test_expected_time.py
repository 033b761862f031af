"""Expected bench time: measured where there is history, and honest where there is none."""

import statistics
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.expected_time import expected_time, plan_expected_time, quantile
from app.rules.planning import make_plan
from app.rules.step_history import Observation, fit_steps
from app.rules.step_times import REST, rest_s, standard_times
from tests.rules.sheets import sheet, step, unit


def test_without_history_it_gives_the_standard_time_and_says_so() -> None:
    expected = expected_time(1000)
    assert (expected.median_s, expected.p80_s, expected.measured) == (1000, 1250, False)
    assert "no finished job" in expected.basis
    assert "not measured" in expected.basis


def test_four_jobs_are_not_enough() -> None:
    expected = expected_time(1000, [1, 2, 3, 4])
    assert expected.median_s == 1000
    assert "4 finished jobs" in expected.basis


def test_five_jobs_are_used_instead_of_the_standard_time() -> None:
    # Ordered 600 700 800 1000 2000: the median is the third; the 80 % point stands at 3.2, counted from 0.
    expected = expected_time(9999, [1000, 600, 2000, 800, 700])
    assert (expected.median_s, expected.p80_s, expected.jobs) == (800, 1200, 5)
    assert expected.basis == "Bench times of 5 finished jobs with the same targets."


def test_half_a_second_is_rounded_up() -> None:
    assert expected_time(10, [1, 1, 1, 2, 2, 2]).median_s == 2


@given(st.lists(st.integers(0, 10_000), min_size=2, max_size=30), st.integers(1, 99))
def test_quantiles_agree_with_the_standard_library_which_has_the_same_definition(
    sample: list[int], percent: int
) -> None:
    theirs = statistics.quantiles(sample, n=100, method="inclusive")[percent - 1]
    assert float(quantile(sample, Fraction(percent, 100))) == pytest.approx(theirs)


@given(st.integers(0, 10_000), st.lists(st.integers(0, 10_000), max_size=30))
def test_the_80_percent_point_is_never_below_the_median(standard: int, history: list[int]) -> None:
    expected = expected_time(standard, history)
    assert expected.p80_s >= expected.median_s


def test_it_refuses_negative_times_and_empty_samples() -> None:
    with pytest.raises(ValueError, match="negative"):
        expected_time(-1)
    with pytest.raises(ValueError, match="negative"):
        expected_time(1, [-1])
    with pytest.raises(ValueError, match="sample"):
        quantile([], Fraction(1, 2))


def test_what_a_job_takes_beside_its_steps_is_learnt_like_a_step() -> None:
    example = sheet([step("a", frees="cell", time_s=600)], [unit("cell")])
    plan = make_plan(example, ["cell"])
    standard = {**standard_times(example), REST: rest_s(example)}
    assert rest_s(example) == 60  # A closing count; each release test is another minute.
    without = plan_expected_time(example, plan, fit_steps(standard, []))
    assumed = plan_expected_time(example, plan, fit_steps(standard, []), rest_s(example))
    assert 50 <= assumed.median_s - without.median_s <= 65
    timed = [key for key, seconds in standard.items() if seconds]
    times = [Observation(str(n), key, 300 if key == REST else 600) for n in range(40) for key in timed]
    learnt = plan_expected_time(example, plan, fit_steps(standard, times), rest_s(example))
    assert 250 <= learnt.median_s - plan_expected_time(example, plan, fit_steps(standard, times)).median_s <= 350
