"""Rates with their interval, against published figures, and medians."""

import pytest

from app.rules.statistics import median, wilson_interval


# R. G. Newcombe (1998), Statistics in Medicine 17, 857-872; the inputs are quoted from memory.
@pytest.mark.parametrize(
    ("hits", "trials", "low", "high"),
    [
        (81, 263, 0.255289, 0.366210),
        (15, 148, 0.062386, 0.160487),
        (0, 20, 0.0, 0.161125),
        (1, 29, 0.006113, 0.171755),
    ],
)
def test_the_interval_is_that_of_the_published_examples(hits: int, trials: int, low: float, high: float) -> None:
    rate = wilson_interval(hits, trials)
    assert rate.low == pytest.approx(low, abs=5e-7)
    assert rate.high == pytest.approx(high, abs=5e-7)
    assert rate.share == hits / trials


def test_the_interval_is_turned_round_when_hits_and_misses_are() -> None:
    few, many = wilson_interval(3, 40), wilson_interval(37, 40)
    assert many.low == pytest.approx(1 - few.high)
    assert many.high == pytest.approx(1 - few.low)
    assert wilson_interval(20, 20).high == 1.0


@pytest.mark.parametrize(("hits", "trials"), [(0, 0), (-1, 5), (6, 5)])
def test_a_rate_without_trials_or_with_impossible_hits_is_refused(hits: int, trials: int) -> None:
    with pytest.raises(ValueError, match="a rate needs trials"):
        wilson_interval(hits, trials)


def test_the_median_is_the_middle_value() -> None:
    assert median([]) is None
    assert median([7]) == 7
    assert median([9, 1, 5]) == 5
    assert median([4, 1, 3, 2]) == 2
