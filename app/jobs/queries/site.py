"""When the site works: shifts and public holidays by setting, the site's own days from its table."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, time
from fractions import Fraction
from functools import lru_cache

from sqlmodel import Session, col, select

from app.jobs.models import SiteDay
from app.platform.settings import Settings
from app.rules.promise import Bench, Capacity
from app.rules.working_calendar import Shift, WorkingCalendar, closed_days, public_holidays

_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
YEARS_AHEAD = 3


@dataclass(frozen=True)
class SiteDayRow:
    """A day of the site's own: closed, or open though it is a public holiday."""

    id: int
    day: date
    name: str
    is_open: bool


def site_days(session: Session, first: date | None = None) -> tuple[SiteDayRow, ...]:
    """Return the site's own days in order, from ``first`` on when it is given."""
    query = select(SiteDay).order_by(col(SiteDay.day))
    if first is not None:
        query = query.where(col(SiteDay.day) >= first)
    return tuple(SiteDayRow(r.id or 0, r.day, r.name, r.is_open) for r in session.exec(query).all())


@lru_cache(maxsize=32)
def _holidays(country: str, part: str, first: int, last: int) -> Mapping[date, str]:
    return public_holidays(country, part or None, range(first, last + 1))


def holidays_of(settings: Settings, today: date) -> Mapping[date, str]:
    """Return the public holidays that the site keeps, of last year and the years to come."""
    return _holidays(settings.holiday_country, settings.holiday_part, today.year - 1, today.year + YEARS_AHEAD)


def calendar(session: Session, settings: Settings, today: date) -> WorkingCalendar:
    """Return the site's working calendar."""
    days = site_days(session)
    closed = closed_days(
        holidays_of(settings, today),
        {one.day: one.name for one in days if not one.is_open},
        [one.day for one in days if one.is_open],
    )
    shifts = tuple(_shift(text) for text in settings.shifts.split(","))
    weekdays = [_DAYS.index(name.strip()) for name in settings.working_days.split(",")]
    return WorkingCalendar(settings.zone, dict.fromkeys(weekdays, shifts), closed)


def _shift(text: str) -> Shift:
    start, _, end = text.strip().partition("-")
    return Shift(time.fromisoformat(start), time.fromisoformat(end))


def bench_of(session: Session, settings: Settings, today: date) -> Bench:
    """Return what the promise is worked out from: the calendar, the people, the margin."""
    capacity = Capacity(settings.bench_people, Fraction(settings.bench_share))
    return Bench(calendar(session, settings, today), capacity, settings.margin_days)
