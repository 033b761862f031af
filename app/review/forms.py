"""What the addresses of the review may carry: the history's filters and the totals' stretch of time."""

import re
from datetime import date, datetime, time, timedelta, tzinfo
from typing import Literal

from pydantic import BaseModel, Field, model_validator

from app.review.queries.history import HistoryFilter

_JOB_NUMBER = re.compile(r"[Jj]\d{1,12}")
_SEPARATORS = re.compile(r"[\s\-./]+")
LONGEST = timedelta(days=2 * 366)


class HistoryForm(BaseModel):
    """The filters of the history. Dates are days of the workshop, both ends included."""

    serial: str = Field(default="", max_length=48, description="A whole serial or IMEI, or a job number.")
    model: int | None = Field(default=None, description="Id of a device model.")
    technician: int | None = Field(default=None, description="Id of the person who had the job last.")
    booked_from: date | None = None
    booked_to: date | None = None
    closed_from: date | None = None
    closed_to: date | None = None
    outcome: Literal["", "repaired", "returned unrepaired", "in work"] = ""
    overridden: Literal["", "yes"] = ""
    part: str = Field(default="", max_length=32, description="Number of a part that was fitted.")

    @model_validator(mode="after")
    def _dates_run_forward(self) -> "HistoryForm":
        for first, last, what in (
            (self.booked_from, self.booked_to, "Booked"),
            (self.closed_from, self.closed_to, "Closed"),
        ):
            if first and last and first > last:
                raise ValueError(f"{what}: the first day is after the last one. Swap them")
        return self

    def narrowed(self, zone: tzinfo) -> HistoryFilter:
        """Return the filter these fields mean, days turned into instants of the workshop's zone."""
        text = self.serial.strip()
        number = text.upper() if _JOB_NUMBER.fullmatch(text) else ""
        spellings = dict.fromkeys((text, text.upper(), _SEPARATORS.sub("", text).upper()))
        return HistoryFilter(
            number=number,
            serials=() if number or not text else tuple(spellings),
            model_id=self.model,
            technician_id=self.technician,
            booked_from=_begin(self.booked_from, zone),
            booked_before=_after(self.booked_to, zone),
            closed_from=_begin(self.closed_from, zone),
            closed_before=_after(self.closed_to, zone),
            outcome=self.outcome,
            overridden=self.overridden == "yes",
            part=self.part.strip().upper(),
        )


class TotalsForm(BaseModel):
    """The stretch of time the totals are for; days of the workshop, both ends included."""

    period: Literal["week", "month"] = "week"
    first: date | None = None
    last: date | None = None

    @model_validator(mode="after")
    def _not_too_long(self) -> "TotalsForm":
        if self.first and self.last:
            if self.first > self.last:
                raise ValueError("The first day is after the last one. Swap them")
            if self.last - self.first > LONGEST:
                raise ValueError("At most two years at a time. Choose a later first day or an earlier last one")
        return self

    def days(self, today: date) -> tuple[date, date]:
        """Return the first and last day: as given, or half a year of weeks, or a year of months, up to today."""
        last = min(self.last or today, today)
        last = max(last, self.first or last)
        if self.first:
            return self.first, min(last, self.first + LONGEST)
        if self.period == "week":
            return last - timedelta(days=last.weekday() + 7 * 25), last
        return (last.replace(day=1) - timedelta(days=334)).replace(day=1), last


class ClosedJobsForm(BaseModel):
    """The closed jobs that are held against their plans: a device model, and days of closing, both included."""

    model: int | None = Field(default=None, description="Id of a device model.")
    first: date | None = None
    last: date | None = None

    @model_validator(mode="after")
    def _runs_forward(self) -> "ClosedJobsForm":
        if self.first and self.last and self.first > self.last:
            raise ValueError("The first day is after the last one. Swap them")
        return self

    def days(self, today: date) -> tuple[date, date]:
        """Return the first and last day: as given, or the year up to today."""
        last = min(self.last or today, today)
        first = self.first or last - timedelta(days=365)
        return min(first, last), last


class ClocksForm(BaseModel):
    """The stretch of time that set-aside times are listed for; the last thirty days where none is given."""

    first: date | None = None
    last: date | None = None
    small: Literal["", "yes"] = ""

    @model_validator(mode="after")
    def _runs_forward(self) -> "ClocksForm":
        if self.first and self.last and self.first > self.last:
            raise ValueError("The first day is after the last one. Swap them")
        return self

    def days(self, today: date) -> tuple[date, date]:
        """Return the first and last day."""
        last = self.last or today
        first = self.first or last - timedelta(days=30)
        return max(first, last - LONGEST), last


def _begin(day: date | None, zone: tzinfo) -> datetime | None:
    return None if day is None else datetime.combine(day, time(0, 0), tzinfo=zone)


def _after(day: date | None, zone: tzinfo) -> datetime | None:
    return None if day is None or day == date.max else _begin(day + timedelta(days=1), zone)
