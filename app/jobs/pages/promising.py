"""The promise of a job: what was given and why, what has become of it, the days that were promised before."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from sqlmodel import Session

from app.jobs.pages.planning import PromiseView, promise_view
from app.jobs.queries import jobs as queries
from app.jobs.queries.jobs import JobDetail
from app.jobs.queries.outlook import Outlook
from app.people import queries as people
from app.platform.forms import Form
from app.platform.settings import Settings
from app.procedures import queries as procedures
from app.procedures.queries import ModelInfo
from app.rules.promise import Slippage


@dataclass(frozen=True)
class GivenPromise:
    """A promise as it was given: the day, when and by whom, why, and the reasons of that time."""

    on: date
    at: datetime
    person: str
    reason: str
    because: tuple[str, ...]


@dataclass(frozen=True)
class PromisePage:
    """A job's promise. ``now`` is the day that could be promised now, ``slipped`` what has become of the one given."""

    job: JobDetail
    model: ModelInfo
    form: Form[Any]
    given: tuple[GivenPromise, ...]
    now: PromiseView | None
    slipped: Slippage | None
    supervisor: bool


def promise_page(
    session: Session, number: str, form: Form[Any], settings: Settings, now: datetime, role: str
) -> PromisePage:
    """Build the page of a job's promise."""
    job = queries.find_job(session, number)
    outlook = Outlook(session, settings, now)
    found = promise_view(outlook, job)
    if "promised_on" not in form.values and found and found.day:
        form = replace(form, values={**form.values, "promised_on": found.day.isoformat()})
    names = people.names(session)
    events = queries.events(session, job.id, kinds=("promised",))
    return PromisePage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        form=form,
        given=tuple(_given(event.data, event.at, names.get(event.person_id or 0, "")) for event in events),
        now=found,
        slipped=outlook.slippage(job.id),
        supervisor=role == "supervisor",
    )


def _given(data: Mapping[str, Any], at: datetime, person: str) -> GivenPromise:
    because = tuple(words for _kind, _amount, words in data.get("causes", ()))
    return GivenPromise(date.fromisoformat(data["on"]), at, person, data.get("reason", ""), because)
