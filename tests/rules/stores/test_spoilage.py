"""Discards against the plan: factors with intervals that are honest for few pieces."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.statistics import wilson_interval
from app.rules.stores.spoilage import StepUse, scrap_factor


def test_a_step_that_spoils_more_than_planned_gets_more_spares() -> None:
    found = scrap_factor(StepUse("Seat the perimeter seal", "SEAL-1", 80, 80, 100, 0.05))
    rate = wilson_interval(20, 100)
    assert (found.spoiled, found.share, found.low, found.high) == (20, 0.2, rate.low, rate.high)
    assert found.factor == pytest.approx(0.25)
    assert (found.suggested, found.change, found.to_kit(4)) == (0.25, True, 5)
    assert found.because == (
        "80 on the sheets of 80 jobs, 100 used: 20 of 100 spoilt, "
        "20.0 % (between 13.3 % and 28.9 % with 95 % certainty).",
        "Plan 25 % spare instead of 5 %: this step spoils more than planned.",
    )


def test_few_pieces_give_a_wide_interval_and_no_change() -> None:
    found = scrap_factor(StepUse("Seat the seal", "SEAL-1", 4, 4, 5, 0.1))
    assert (found.suggested, found.change) == (0.1, False)
    assert found.factor_high - found.factor_low > 1
    assert "too few to tell" in found.because[1]


def test_a_plan_within_the_interval_stays() -> None:
    found = scrap_factor(StepUse("Seat the seal", "SEAL-1", 90, 90, 100, 0.08))
    assert not found.change
    assert "agrees" in found.because[1]


def test_nothing_used_says_nothing() -> None:
    found = scrap_factor(StepUse("Seat the seal", "SEAL-1", 0, 0, 0, 0.1))
    assert (found.low, found.high, found.suggested) == (0.0, 1.0, 0.1)
    with pytest.raises(ValueError, match="not negative"):
        scrap_factor(StepUse("Seat the seal", "SEAL-1", -1, 0, 0))


@given(st.integers(0, 300), st.integers(0, 400), st.floats(0, 2))
def test_the_factor_lies_in_its_interval_and_a_kit_is_never_short_of_the_sheet(
    sheet: int, used: int, factor: float
) -> None:
    found = scrap_factor(StepUse("step", "part", sheet, sheet, used, factor))
    assert found.factor_low <= found.factor + 1e-9
    assert found.factor <= found.factor_high + 1e-9
    assert found.to_kit(10) >= 10
