"""The workshop's working calendar: shifts by weekday, public holidays, the site's own closed days.

A *working day* is a date with a shift that is not closed. Shifts have local start and end; their length is taken in
UTC, so a night shift over a change of clocks is as long as it really is. A shift that ends at or before its start ends
on the next day and belongs to the day it starts on.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Final

import holidays

from app.rules.verdict import Refused

WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
FAR: Final = 800
"""Days that are looked ahead for a working one, before the calendar is said to have none."""


@dataclass(frozen=True, slots=True)
class Shift:
    """Local times of day. Raises ValueError when one carries a zone of its own."""

    start: time
    end: time

    def __post_init__(self) -> None:
        if self.start.tzinfo or self.end.tzinfo:
            raise ValueError("a shift's times are local; the calendar has the zone")


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time, in UTC."""

    start: datetime
    end: datetime

    @property
    def seconds(self) -> int:
        """Its real length in whole seconds."""
        return max(0, (self.end - self.start) // timedelta(seconds=1))


@dataclass(frozen=True, slots=True)
class WorkingCalendar:
    """When the workshop works. ``shifts`` is by weekday, Monday 0; ``closed`` gives each closed day its name."""

    zone: tzinfo
    shifts: Mapping[int, tuple[Shift, ...]]
    closed: Mapping[date, str]

    def is_working(self, day: date) -> bool:
        """Whether somebody works on this day."""
        return day not in self.closed and bool(self.shifts.get(day.weekday()))

    def spans(self, day: date) -> tuple[Span, ...]:
        """Return the day's shifts in UTC, in order, what overlaps merged; empty on a day that is not worked.

        A local time that a change of clocks skips or repeats is read as PEP 495 has it with fold 0.
        """
        if not self.is_working(day):
            return ()
        found: list[Span] = []
        for shift in sorted(self.shifts[day.weekday()], key=lambda one: one.start):
            ends_on = day if shift.end > shift.start else day + timedelta(days=1)
            start = datetime.combine(day, shift.start, tzinfo=self.zone).astimezone(UTC)
            end = datetime.combine(ends_on, shift.end, tzinfo=self.zone).astimezone(UTC)
            if found and start <= found[-1].end:
                found[-1] = Span(found[-1].start, max(found[-1].end, end))
            else:
                found.append(Span(start, end))
        return tuple(found)

    def working_s(self, day: date, since: datetime | None = None) -> int:
        """Return the day's real seconds of work, those after ``since`` when it is given."""
        spans = self.spans(day)
        if since is not None:
            spans = tuple(Span(max(one.start, since), one.end) for one in spans if one.end > since)
        return sum(one.seconds for one in spans)

    def moment(self, day: date, worked_s: float, since: datetime | None = None) -> datetime:
        """Return when so many seconds of the day's work are done, counted from ``since``; its end when they are not."""
        left = timedelta(seconds=worked_s)
        last = since
        for one in self.spans(day):
            start = max(one.start, since) if since else one.start
            if one.end <= start:
                continue
            if left <= one.end - start:
                return start + left
            left -= one.end - start
            last = one.end
        if last is None:
            raise ValueError(f"nobody works on {day}")
        return last

    def days(self, first: date) -> Iterator[date]:
        """Yield the working days from ``first`` on; stops when none comes for ``FAR`` days."""
        day, idle = first, 0
        while idle < FAR:
            idle = 0 if self.is_working(day) else idle + 1
            if not idle:
                yield day
            day += timedelta(days=1)

    def working_day(self, day: date, later: int = 0) -> date:
        """Return the first working day at or after ``day``, or the one ``later`` working days after that.

        Raises Refused when the calendar has no such day.
        """
        for n, found in enumerate(self.days(day)):
            if n == later:
                return found
        raise Refused("The working calendar has no working day. Enter the shifts, or take closed days back.")

    def working_days_between(self, first: date, last: date) -> int:
        """Return how many working days ``last`` is after ``first``: those after ``first`` up to and with ``last``.

        Negative when ``last`` lies before ``first``.
        """
        if last < first:
            return -self.working_days_between(last, first)
        span = (first + timedelta(days=n) for n in range(1, (last - first).days + 1))
        return sum(1 for day in span if self.is_working(day))

    def closed_between(self, first: date, last: date) -> tuple[tuple[date, str], ...]:
        """Return the closed days from first to last (with both) that would otherwise be worked, and their names."""
        return tuple(
            (day, name)
            for day, name in sorted(self.closed.items())
            if first <= day <= last and self.shifts.get(day.weekday())
        )


def week(shifts: Iterable[Shift], weekdays: Iterable[int] = range(5)) -> dict[int, tuple[Shift, ...]]:
    """Return the same shifts for each of these weekdays, Monday 0; Monday to Friday unless told otherwise."""
    return dict.fromkeys(weekdays, tuple(shifts))


def public_holidays(country: str, subdivision: str | None, years: Iterable[int]) -> dict[date, str]:
    """Return the public holidays of a country, or of a part of it, with their names in English where known.

    ``country`` is an ISO 3166-1 alpha-2 code and ``subdivision`` one of ISO 3166-2 without the country, as the
    library *holidays* has them. An empty country has none. Raises Refused for a code that the library does not know.
    """
    if not country:
        return {}
    known = holidays.list_supported_countries(include_aliases=True)
    if country not in known:
        raise Refused(f"No public holidays are known for the country code “{country}”.", "holiday_country")
    if subdivision and subdivision not in known[country]:
        some = ", ".join(known[country][:12]) or "none"
        raise Refused(f"{country} has no part “{subdivision}” with holidays of its own. Known: {some}.", "holiday_part")
    languages = holidays.list_localized_countries().get(country, [])
    language = next((one for one in ("en_GB", "en_US") if one in languages), None)
    found = holidays.country_holidays(country, subdiv=subdivision or None, years=sorted(set(years)), language=language)
    return dict(sorted(found.items()))


def closed_days(public: Mapping[date, str], own: Mapping[date, str], open_days: Iterable[date] = ()) -> dict[date, str]:
    """Return all closed days: public holidays and the site's own, without the days the site works all the same."""
    worked = set(open_days)
    return {day: name for day, name in sorted({**public, **own}.items()) if day not in worked}


def day_words(day: date) -> str:
    """Return a date in words, such as 'Tuesday 30 March 2027'."""
    return f"{WEEKDAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]} {day.year}"


def hours_words(seconds: float) -> str:
    """Return a length of time in words, such as '5 h 30 min'; whole minutes, rounded up."""
    minutes = -(-int(seconds) // 60)
    if minutes < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60} min" if minutes % 60 else f"{minutes // 60} h"
