"""The site's working calendar: shifts, public holidays and its own days, as promises are worked out from them."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlmodel import Session

from app.jobs.queries.site import SiteDayRow, bench_of, holidays_of, site_days
from app.platform.forms import Form
from app.platform.settings import Settings
from app.rules.working_calendar import WEEKDAYS, day_words, hours_words

SHOWN_HOLIDAYS = 15


@dataclass(frozen=True)
class CalendarDay:
    """A closed day in words; ``worked`` when the site works on it all the same."""

    words: str
    name: str
    worked: bool


@dataclass(frozen=True)
class CalendarPage:
    """The calendar. ``hours`` is the bench time of a working day in words, by weekday; ``country`` in code."""

    form: Form[Any]
    own: tuple[SiteDayRow, ...]
    own_words: dict[int, str]
    holidays: tuple[CalendarDay, ...]
    country: str
    shifts: str
    hours: tuple[tuple[str, str], ...]
    people: int
    share: str
    margin_days: int


def calendar_page(session: Session, form: Form[Any], settings: Settings, today: date) -> CalendarPage:
    """Build the page of the calendar, from today on."""
    bench = bench_of(session, settings, today)
    own = site_days(session, today)
    worked = {one.day for one in own if one.is_open}
    coming = [(day, name) for day, name in holidays_of(settings, today).items() if day >= today]
    hours = []
    for weekday, name in enumerate(WEEKDAYS):
        day = next(
            (d for d in bench.calendar.days(today) if d.weekday() == weekday), None
        ) if bench.calendar.shifts.get(weekday) else None  # fmt: skip
        bench_s = bench.capacity.hours(bench.calendar, day) * 3600 if day else 0
        hours.append((name, hours_words(bench_s) if bench_s else "closed"))
    return CalendarPage(
        form=form,
        own=own,
        own_words={one.id: day_words(one.day) for one in own},
        holidays=tuple(CalendarDay(day_words(day), name, day in worked) for day, name in coming[:SHOWN_HOLIDAYS]),
        country="-".join(part for part in (settings.holiday_country, settings.holiday_part) if part),
        shifts=settings.shifts,
        hours=tuple(hours),
        people=settings.bench_people,
        share=f"{(settings.bench_share * 100).normalize():f} %",
        margin_days=settings.margin_days,
    )
