"""Control charts against the handbook's worked examples, and what must hold for any row of figures."""

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.control_charts import D2, D3, ewma, individuals

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: ten flow rates.
FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
# A statistics package's manual; its limits rest on the exact d2.
SECOND = (
    78.4, 80.1, 84.4, 79.1, 80.4, 83.5, 73.8, 83.5, 75.0, 76.8, 70.5, 80.3, 82.4, 79.4, 86.4, 90.5, 77.7, 82.5, 79.9,
    83.2,
)  # fmt: skip
# NIST/SEMATECH e-Handbook, 6.3.2.4: twenty values, started at 50 with a standard deviation of 2.0539, weight 0.3.
DRIFT = (52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *FLOW)
AVERAGED = (
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
    50.73, 51.23, 51.94, 51.99,
)  # fmt: skip

rows = st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=60)


def test_the_handbooks_flow_rates_with_its_rounded_d2() -> None:
    found = individuals(FLOW, d2=1.128)
    assert found.mean == pytest.approx(50.81)
    assert found.mean_range == pytest.approx(1.8778, abs=5e-5)
    assert (found.upper, found.lower) == pytest.approx((55.8041, 45.8159), abs=5e-5)
    assert (found.outside, found.jumps) == ((), ())


def test_the_handbooks_flow_rates_with_the_exact_d2() -> None:
    assert individuals(FLOW).upper == pytest.approx(55.8024, abs=5e-5)


def test_the_second_row_with_its_limit_of_the_moving_range() -> None:
    found = individuals(SECOND)
    assert found.mean == pytest.approx(80.39)
    assert found.mean_range == pytest.approx(5.32632, abs=5e-6)
    assert (found.lower, found.upper) == pytest.approx((66.2290, 94.5510), abs=5e-5)
    assert found.range_upper == pytest.approx(17.3986, abs=5e-5)


def test_the_handbooks_moving_average() -> None:
    found = ewma(DRIFT, 50, 2.0539, 0.3)
    assert found.points == pytest.approx(AVERAGED, abs=0.0051)
    # The handbook gives the steady limits; after twenty values these are within a thousandth of them.
    assert (found.upper[-1], found.lower[-1]) == pytest.approx((52.5884, 47.4116), abs=1e-4)
    assert found.outside == ()


def test_the_constants_are_those_of_the_tables() -> None:
    # d2, d3 and D4 of two values as every table of control chart constants prints them (common practice).
    assert (round(D2, 3), round(D3, 3), round(1 + 3 * D3 / D2, 3)) == (1.128, 0.853, 3.267)


def test_a_value_that_stands_out_and_the_jump_to_it_are_named() -> None:
    calm = [100.0, 101.0] * 10
    found = individuals([*calm, 130.0, 101.0], base=20)
    assert found.outside == (20,)
    assert found.jumps == (20, 21)


def test_limits_from_the_first_values_show_a_small_change_that_stays() -> None:
    before, after = [100.0, 102.0] * 10, [102.0, 104.0] * 10
    found = individuals([*before, *after], base=20)
    assert found.outside == ()
    average = ewma([*before, *after], found.mean, found.sigma)
    assert average.outside
    assert average.outside[0] > 20


@given(rows)
def test_limits_lie_evenly_about_the_mean_and_name_exactly_what_is_beyond(values: list[float]) -> None:
    found = individuals(values)
    assert found.upper - found.mean == pytest.approx(found.mean - found.lower)
    slack = 1e-9 * max(abs(value) for value in values)
    beyond = {n for n, value in enumerate(values) if value < found.lower - slack or value > found.upper + slack}
    assert set(found.outside) == beyond
    assert len(found.ranges) == len(values) - 1


@given(rows, st.floats(0.01, 1.0))
def test_the_average_stays_between_the_extremes_and_its_limits_widen_to_the_steady_ones(
    values: list[float], weight: float
) -> None:
    found = ewma(values, values[0], 1.0, weight)
    slack = 1e-9 * max(abs(value) for value in values)
    assert all(min(values) - slack <= point <= max(values) + slack for point in found.points)
    assert list(found.upper) == sorted(found.upper)
    assert found.upper[-1] - found.middle <= 3 * sqrt(weight / (2 - weight)) + 1e-6


@given(st.floats(-10, 10), st.integers(2, 50))
def test_equal_values_never_stand_out(value: float, count: int) -> None:
    found = individuals([value] * count)
    assert (found.outside, found.jumps) == ((), ())
    assert ewma([value] * count, found.mean, found.sigma).outside == ()


def test_a_weight_of_one_is_the_values_themselves() -> None:
    assert ewma(FLOW, 50, 2.0, 1.0).points == FLOW


@pytest.mark.parametrize("weight", [0.0, 1.1, -0.2])
def test_an_impossible_weight_is_refused(weight: float) -> None:
    with pytest.raises(ValueError, match="weight"):
        ewma(FLOW, 50, 1.0, weight)


def test_one_value_makes_no_chart() -> None:
    with pytest.raises(ValueError, match="two values"):
        individuals([50.0])
    with pytest.raises(ValueError, match="two values"):
        individuals(FLOW, base=1)
