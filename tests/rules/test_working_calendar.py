"""The working calendar, against the holidays library and dates worked by hand over a change of clocks."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import holidays
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.verdict import Refused
from app.rules.working_calendar import (
    Shift,
    WorkingCalendar,
    closed_days,
    day_words,
    hours_words,
    public_holidays,
    week,
)

ZONE = ZoneInfo("Europe/Copenhagen")
DAY_SHIFT = week([Shift(time(8), time(16))])


def calendar() -> WorkingCalendar:
    return WorkingCalendar(ZONE, DAY_SHIFT, public_holidays("DK", None, [2027]))


def test_danish_easter_of_2027_is_closed_from_thursday_to_monday() -> None:
    # Easter Sunday 2027 is 28 March (Gauss), the day the clocks change too.
    found = calendar()
    names = [(day.day, name) for day, name in found.closed_between(date(2027, 3, 20), date(2027, 4, 2))]
    assert names == [(25, "Maundy Thursday"), (26, "Good Friday"), (29, "Easter Monday")]
    assert found.working_day(date(2027, 3, 25)) == date(2027, 3, 30)
    assert found.working_day(date(2027, 3, 24), 1) == date(2027, 3, 30)
    assert found.working_days_between(date(2027, 3, 24), date(2027, 3, 31)) == 2
    assert found.working_days_between(date(2027, 3, 31), date(2027, 3, 24)) == -2


@pytest.mark.parametrize(("country", "part"), [("DK", None), ("DE", "BY"), ("GB", "SCT"), ("NO", None), ("CH", "ZH")])
def test_the_closed_days_are_those_of_the_holidays_library(country: str, part: str | None) -> None:
    theirs = holidays.country_holidays(country, subdiv=part, years=[2026, 2027, 2028])
    ours = public_holidays(country, part, [2026, 2027, 2028])
    assert set(ours) == set(theirs)
    found = WorkingCalendar(ZONE, DAY_SHIFT, ours)
    start = date(2026, 1, 1)
    for n in range(3 * 365):
        day = start + timedelta(days=n)
        assert found.is_working(day) == (day.weekday() < 5 and day not in theirs)


def test_the_part_of_a_country_makes_a_difference() -> None:
    assert date(2027, 1, 6) in public_holidays("DE", "BY", [2027])
    assert date(2027, 1, 6) not in public_holidays("DE", "HH", [2027])


def test_unknown_countries_and_parts_are_refused_and_no_country_has_none() -> None:
    with pytest.raises(Refused, match="“QQ”"):
        public_holidays("QQ", None, [2027])
    with pytest.raises(Refused, match="no part “XX”"):
        public_holidays("DE", "XX", [2027])
    assert public_holidays("", None, [2027]) == {}


def test_a_night_shift_is_as_long_as_it_really_is_when_the_clocks_change() -> None:
    nights = WorkingCalendar(ZONE, week([Shift(time(22), time(6))], range(7)), {})
    assert nights.working_s(date(2027, 3, 26)) == 8 * 3600
    assert nights.working_s(date(2027, 3, 27)) == 7 * 3600  # 28 March 2027: 02:00 becomes 03:00.
    assert nights.working_s(date(2027, 10, 30)) == 9 * 3600  # 31 October 2027: 03:00 becomes 02:00.


def test_a_day_shift_starts_an_hour_earlier_in_utc_after_the_change() -> None:
    found = calendar()
    assert found.spans(date(2027, 3, 24))[0].start == datetime(2027, 3, 24, 7, tzinfo=UTC)
    assert found.spans(date(2027, 3, 30))[0].start == datetime(2027, 3, 30, 6, tzinfo=UTC)
    assert found.spans(date(2027, 3, 26)) == ()


def test_shifts_that_overlap_count_once_and_a_break_between_them_not_at_all() -> None:
    found = WorkingCalendar(
        ZONE, week([Shift(time(13), time(17)), Shift(time(8), time(12)), Shift(time(11), time(12, 30))]), {}
    )
    day = date(2027, 6, 1)
    assert found.working_s(day) == (4.5 + 4) * 3600
    assert found.working_s(day, datetime(2027, 6, 1, 8, tzinfo=UTC)) == (2.5 + 4) * 3600  # 10:00 local.
    assert found.moment(day, 5 * 3600) == datetime(2027, 6, 1, 11, 30, tzinfo=UTC)  # Half an hour into the second.
    assert found.moment(day, 99 * 3600) == datetime(2027, 6, 1, 15, tzinfo=UTC)


def test_the_sites_own_days_close_and_an_open_day_is_worked_all_the_same() -> None:
    public = {date(2027, 5, 17): "Pentecost Monday"}
    own = {date(2027, 6, 4): "Works outing"}
    assert closed_days(public, own, [date(2027, 5, 17)]) == own
    assert list(closed_days(public, own)) == [date(2027, 5, 17), date(2027, 6, 4)]


def test_a_calendar_that_never_works_is_refused_and_a_shift_has_no_zone() -> None:
    with pytest.raises(Refused, match="no working day"):
        WorkingCalendar(ZONE, {}, {}).working_day(date(2027, 1, 1))
    with pytest.raises(ValueError, match="local"):
        Shift(time(8, tzinfo=UTC), time(16))


@given(st.dates(date(2026, 1, 1), date(2028, 12, 1)), st.integers(0, 60))
def test_counting_days_on_and_counting_days_between_agree(day: date, count: int) -> None:
    found = calendar()
    first = found.working_day(day)
    assert found.working_days_between(first, found.working_day(first, count)) == count


def test_days_and_hours_are_said_in_words() -> None:
    assert day_words(date(2027, 3, 30)) == "Tuesday 30 March 2027"
    assert [hours_words(s) for s in (61, 3600, 5400, 0)] == ["2 min", "1 h", "1 h 30 min", "0 min"]
