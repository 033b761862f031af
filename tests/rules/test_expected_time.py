"""Expected bench time: measured where there is history, and honest where there is none."""

import pytest

from app.rules.expected_time import from_standard, plan_expected_time
from app.rules.planning import make_plan
from app.rules.step_history import Observation, fit_steps
from app.rules.step_times import REST, rest_s, standard_times
from tests.rules.sheets import sheet, step, unit


def test_where_only_the_standard_time_is_known_it_gives_that_and_says_so() -> None:
    expected = from_standard(1000)
    assert (expected.median_s, expected.p80_s, expected.jobs) == (1000, 1250, 0)
    assert "not measured" in expected.basis
    assert from_standard(0).p80_s == 0
    # A quarter more of 2 s is 2.5, half up.
    assert from_standard(2).p80_s == 3
    with pytest.raises(ValueError, match="negative"):
        from_standard(-1)


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
