"""Which closed jobs a page of the review is about: read from its address, in the same way for each."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from fastapi import Request

from app.platform import clock
from app.platform.forms import Form, check
from app.platform.settings import Settings
from app.review.forms import ClosedJobsForm
from app.review.routes.history import asked
from app.review.summary import midnight


@dataclass(frozen=True)
class AskedJobs:
    """What was asked for. ``days`` are the first and the last; jobs closed from ``start`` until before ``end``.

    Where the form is not valid, ``wanted`` is what is shown without one, and ``status`` is 422.
    """

    form: Form[ClosedJobsForm]
    wanted: ClosedJobsForm
    days: tuple[date, date]
    start: datetime
    end: datetime

    @property
    def valid(self) -> bool:
        """Whether the address can be answered."""
        return self.form.data is not None

    @property
    def status(self) -> int:
        """The status of the answer."""
        return 200 if self.valid else 422


def asked_jobs(request: Request, settings: Settings) -> AskedJobs:
    """Read the device model and the days of closing from an address."""
    today = clock.now().astimezone(settings.zone).date()
    form = check(ClosedJobsForm, asked(request))
    wanted = form.data or ClosedJobsForm()
    first, last = wanted.days(today)
    start, end = midnight(first, settings.zone), midnight(last + timedelta(days=1), settings.zone)
    return AskedJobs(form, wanted, (first, last), start, end)
