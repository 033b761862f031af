"""Promise dates worked by hand, over Easter and the change of clocks, and what becomes of a promise given."""

from dataclasses import replace
from datetime import UTC, date, datetime, time
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.promise import Bench, Capacity, QueuedJob, ShortPart, promise, slippage
from app.rules.verdict import Refused
from app.rules.working_calendar import Shift, WorkingCalendar, public_holidays, week

ZONE = ZoneInfo("Europe/Copenhagen")
CALENDAR = WorkingCalendar(ZONE, week([Shift(time(8), time(16))]), public_holidays("DK", None, [2027]))
ALONE = Bench(CALENDAR, Capacity(1, Fraction(1)))
HOUR = 3600
# Wednesday before Easter 2027, 08:00 in Copenhagen. Closed: 25, 26 and 29 March; the clocks change on the 28th.
WEDNESDAY = datetime(2027, 3, 24, 7, 0, tzinfo=UTC)


def job(hours: float, p80: float | None = None, name: str = "J-1", ready: date | None = None) -> QueuedJob:
    return QueuedJob(name, round(hours * HOUR), round((p80 or hours) * HOUR), ready)


def test_a_job_that_fits_into_today_is_ready_today() -> None:
    found = promise(job(2), [job(6, name="J-0")], ALONE, WEDNESDAY)
    assert (found.earliest, found.p80) == (date(2027, 3, 24), date(2027, 3, 24))


def test_work_left_over_before_easter_is_done_on_tuesday_after_it() -> None:
    # Eight hours today: six for the job before, two of the four; the rest when the workshop opens again.
    found = promise(job(4), [job(6, name="J-0")], ALONE, WEDNESDAY)
    assert found.earliest == date(2027, 3, 30)
    assert found.because == (
        "This job needs 4 h at the bench, four times in five no more than 4 h.",
        "1 job goes first and needs 6 h.",
        "The bench has 8 h of bench time on a working day (1 person).",
        "Closed: Thursday 25 March 2027 (Maundy Thursday); Friday 26 March 2027 (Good Friday); "
        "Monday 29 March 2027 (Easter Monday).",
    )


def test_the_80_percent_day_is_later_when_the_day_is_tight() -> None:
    found = promise(job(2, 2.5), [job(6, 6, name="J-0")], ALONE, WEDNESDAY)
    assert (found.earliest, found.p80) == (date(2027, 3, 24), date(2027, 3, 30))


def test_the_spread_of_the_jobs_before_counts_too() -> None:
    # Each: width ln(4/3)/0.8416 = 0.342, mean 3.18 h, variance 1.253. Their sum: width √ln(1 + 2.506/40.45) = 0.245,
    # median 6.17 h, 80 % point 6.17·e^(0.8416·0.245) = 7.59 h. Together with 24 minutes that is today, with 30 not.
    before = [job(3, 4, "J-0"), job(3, 4, "J-00")]
    assert promise(job(0.4), before, ALONE, WEDNESDAY).p80 == date(2027, 3, 24)
    assert promise(job(0.5), before, ALONE, WEDNESDAY).p80 == date(2027, 3, 30)
    assert promise(job(0.5), before, ALONE, WEDNESDAY).earliest == date(2027, 3, 24)


def test_one_job_takes_no_more_of_a_day_than_one_person_has() -> None:
    two = Bench(CALENDAR, Capacity(2, Fraction(1)))
    assert promise(job(9), [], two, WEDNESDAY).earliest == date(2027, 3, 30)
    assert promise(job(8), [job(8, name="J-0")], two, WEDNESDAY).earliest == date(2027, 3, 24)


def test_only_the_rest_of_today_is_filled_and_a_share_of_it_goes_into_the_work() -> None:
    # At 14:00 two hours are left; three quarters of them are bench time.
    at_two = datetime(2027, 3, 24, 13, 0, tzinfo=UTC)
    bench = Bench(CALENDAR, Capacity(1))
    assert promise(job(1.5), [], bench, at_two).earliest == date(2027, 3, 24)
    assert promise(job(1.6), [], bench, at_two).earliest == date(2027, 3, 30)


def test_a_cure_runs_over_night_and_over_easter() -> None:
    # Done at 15:00 and an hour to cure: at 16:00 the shift ends and it is just ready.
    assert promise(job(7), [], ALONE, WEDNESDAY, wait_s=HOUR).earliest == date(2027, 3, 24)
    assert promise(job(7), [], ALONE, WEDNESDAY, wait_s=HOUR + 1).earliest == date(2027, 3, 30)
    # Five and a half days of curing by the clock end on Tuesday at four in the morning, and the clocks took an hour.
    assert promise(job(7), [], ALONE, WEDNESDAY, wait_s=132 * HOUR).earliest == date(2027, 3, 30)
    # Until 15:00 on Tuesday are 143 hours by the clock on the wall and the change makes them 144 at 16:00.
    assert promise(job(7), [], ALONE, WEDNESDAY, wait_s=144 * HOUR).earliest == date(2027, 3, 30)
    assert promise(job(7), [], ALONE, WEDNESDAY, wait_s=144 * HOUR + 1).earliest == date(2027, 3, 31)


def test_a_short_part_moves_the_day_to_its_arrival() -> None:
    part = ShortPart("H2-110", "Display", date(2027, 4, 6), late=date(2027, 4, 9))
    found = promise(job(2), [], ALONE, WEDNESDAY, short=[part])
    assert (found.earliest, found.p80) == (date(2027, 4, 6), date(2027, 4, 9))
    assert found.because[2] == (
        "Display (H2-110) is short and expected on Tuesday 6 April 2027, four times in five by Friday 9 April 2027."
    )


def test_a_part_that_comes_on_a_holiday_is_used_on_the_next_working_day() -> None:
    part = ShortPart("H2-110", "Display", date(2027, 3, 29))
    assert promise(job(2), [], ALONE, WEDNESDAY, short=[part]).earliest == date(2027, 3, 30)


def test_a_part_nobody_ordered_gives_no_day_and_says_what_to_do() -> None:
    found = promise(job(2), [], ALONE, WEDNESDAY, short=[ShortPart("H2-110", "Display", None)])
    assert (found.earliest, found.p80) == (None, None)
    assert "Order it" in found.because[-1]


def test_a_job_that_waits_for_parts_is_passed_over() -> None:
    waiting = job(8, name="J-0", ready=date(2027, 4, 1))
    assert promise(job(8), [waiting], ALONE, WEDNESDAY).earliest == date(2027, 3, 24)


def test_a_night_shift_of_nine_hours_holds_nine_hours_of_work() -> None:
    nights = WorkingCalendar(ZONE, week([Shift(time(22), time(6))], range(7)), {})
    bench = Bench(nights, Capacity(1, Fraction(1)))
    evening = datetime(2027, 10, 30, 20, 0, tzinfo=UTC)  # 22:00 on the night the clocks go back.
    assert promise(job(9), [], bench, evening).earliest == date(2027, 10, 31)  # At 06:00 in the morning.
    assert promise(job(9), [], bench, datetime(2027, 10, 29, 20, 0, tzinfo=UTC)).earliest == date(2027, 10, 30)


def test_the_shift_that_began_yesterday_is_used_to_its_end() -> None:
    nights = WorkingCalendar(ZONE, week([Shift(time(22), time(6))], range(7)), {})
    bench = Bench(nights, Capacity(1, Fraction(1)))
    late = datetime(2027, 10, 20, 0, 30, tzinfo=UTC)  # 02:30: three and a half hours are left of the night.
    assert promise(job(3), [], bench, late).earliest == date(2027, 10, 20)
    # Three and a half, the next whole night, and half an hour of the evening of the 21st.
    assert promise(job(12), [], bench, late).earliest == date(2027, 10, 21)


def test_the_workshops_margin_is_added_to_the_promise_only() -> None:
    found = promise(job(1), [], replace(ALONE, margin_days=2), WEDNESDAY)
    assert (found.earliest, found.p80) == (date(2027, 3, 24), date(2027, 3, 31))
    assert "2 working days are added by the workshop's setting." in found.because


def test_a_promise_given_is_kept_while_it_holds() -> None:
    found = slippage(date(2027, 3, 30), promise(job(4), [job(6)], ALONE, WEDNESDAY), CALENDAR)
    assert (found.days, found.late, found.because) == (0, False, ())
    assert found.words == "Promised for Tuesday 30 March 2027, and that still holds."


def test_a_promise_that_slips_names_what_changed() -> None:
    given = promise(job(2), [job(6)], ALONE, WEDNESDAY)
    now = promise(job(2), [job(6), job(9, name="J-2")], ALONE, WEDNESDAY)
    assert given.p80 is not None
    found = slippage(given.p80, now, CALENDAR, given.causes)
    assert (found.given, found.now, found.days) == (date(2027, 3, 24), date(2027, 3, 31), 2)
    assert found.words.endswith("it will be Wednesday 31 March 2027, 2 working days later.")
    assert found.because[0] == "More work goes first. 2 jobs go first and need 15 h."


def test_a_promise_slips_when_a_part_becomes_short() -> None:
    given = promise(job(2), [], ALONE, WEDNESDAY)
    part = ShortPart("H2-110", "Display", date(2027, 4, 6))
    found = slippage(date(2027, 3, 24), promise(job(2), [], ALONE, WEDNESDAY, short=[part]), CALENDAR, given.causes)
    assert found.days == 6  # 30 and 31 March; 1, 2, 5 and 6 April.
    assert found.because[0].startswith("Display (H2-110) is short")
    lost = slippage(
        date(2027, 3, 24), promise(job(2), [], ALONE, WEDNESDAY, short=[replace(part, arrives=None)]), CALENDAR
    )
    assert (lost.now, lost.late) == (None, True)


def test_impossible_settings_are_refused() -> None:
    with pytest.raises(Refused, match="at least one person"):
        Capacity(0)
    with pytest.raises(ValueError, match="zone"):
        promise(job(1), [], ALONE, datetime(2027, 3, 24, 7))  # noqa: DTZ001
    with pytest.raises(Refused, match="no working day"):
        promise(job(1), [], Bench(WorkingCalendar(ZONE, {}, {}), Capacity(1)), WEDNESDAY)


@given(st.floats(0, 40), st.floats(1, 2), st.lists(st.floats(0, 20), max_size=6), st.integers(0, 90))
def test_more_work_never_makes_a_day_earlier(hours: float, wide: float, queue: list[float], cure: int) -> None:
    before = [job(one, one * wide, f"J-{n}") for n, one in enumerate(queue)]
    mine = job(hours, hours * wide)
    found = promise(mine, before, ALONE, WEDNESDAY, wait_s=cure * HOUR)
    more = promise(mine, [*before, job(5, name="J-9")], ALONE, WEDNESDAY, wait_s=cure * HOUR)
    assert found.earliest is not None
    assert found.p80 is not None
    assert more.earliest is not None
    assert found.earliest <= found.p80
    assert found.earliest <= more.earliest
    assert CALENDAR.is_working(found.p80)
