"""Stock over time: counted back from what is there, and expected with what is known, forecast and on order."""

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from app.rules.stores.netting import Coming, Requirement
from app.rules.stores.outlook import BAND_Z, ahead, past

TODAY = date(2026, 3, 2)


def test_the_past_is_counted_back_from_what_is_there() -> None:
    days = past(10, {TODAY: -3, TODAY - timedelta(days=2): 8}, TODAY, 3)
    assert [day.expected for day in days] == [5, 13, 13, 10]
    assert (days[0].on, days[-1].on) == (TODAY - timedelta(days=3), TODAY)


def test_what_comes_and_what_is_wanted_stands_on_its_day_and_the_overdue_tomorrow() -> None:
    days = ahead(
        5, [Requirement(TODAY + timedelta(days=2), 4, "job J1")], [Coming(TODAY - timedelta(days=9), 6, "P1")],
        rate_per_day=1.0, dispersion=1.0, rate_error=0.0, today=TODAY, days=3,
    )  # fmt: skip
    assert [day.expected for day in days] == [10, 5, 4]
    assert (days[0].comes, days[1].wanted) == (6, 4)
    # Poisson: after three days the standard deviation is √3; 1.2816 is the normal 90 % point (scipy.stats).
    assert abs(days[2].high - (4 + BAND_Z * 3**0.5)) < 1e-9


@given(
    usable=st.integers(-50, 500), rate=st.floats(0, 20), dispersion=st.floats(0, 10), error=st.floats(0, 2),
    days=st.integers(1, 60),
)  # fmt: skip
def test_the_band_holds_the_middle_and_never_goes_below_zero(
    usable: int, rate: float, dispersion: float, error: float, days: int
) -> None:
    found = ahead(
        usable, [], [], rate_per_day=rate, dispersion=dispersion, rate_error=error, today=TODAY, days=days
    )  # fmt: skip
    assert len(found) == days
    assert all(0 <= day.low <= day.expected <= day.high for day in found)
