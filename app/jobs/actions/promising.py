"""Give a promise: the day, what it was worked out from, and what took its place. It stays with the job."""

from datetime import date, datetime
from typing import Any

from sqlmodel import Session

from app.jobs.actions.hold import following_id
from app.jobs.actions.record import known_event, load_job, record
from app.jobs.models import Job
from app.jobs.queries.outlook import Outlook, to_json
from app.platform.errors import Refused
from app.platform.settings import Settings
from app.platform.submissions import content_hash
from app.rules.job_flow import ENDED
from app.rules.promise import Promise
from app.rules.working_calendar import day_words


def promise_day(
    session: Session,
    number: str,
    version: int,
    day: date,
    reason: str,
    settings: Settings,
    *,
    at: datetime,
    who: int,
    event_id: str,
) -> None:
    """Promise a job for another day, by a person's decision and with a reason; the day before stays in the record."""
    digest = content_hash(["promise", number, day.isoformat(), reason])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return
    job = load_job(session, number, version)
    if job.stage.value in ENDED:
        raise Refused(f"This job is {job.stage.value}; there is nothing to promise.")
    if len(reason.split()) < 3:
        raise Refused("Say in a few words why, and what the owner was told.", "reason")
    if job.promised_on == day:
        raise Refused(f"{day_words(day)} is promised already.", "promised_on")
    found = Outlook(session, settings, at).of(job.id or 0)
    _give(session, job, day, found, reason, settings, at=at, who=who, event_id=event_id, digest=digest)


def promise_with(
    session: Session,
    job: Job,
    day: date | None,
    settings: Settings,
    *,
    at: datetime,
    who: int,
    event_id: str,
    why: str,
) -> None:
    """Promise a locked job for a day in the course of another action, such as an approval; nothing without a day.

    A promise that was given already and is the same stays as it is.
    """
    if day is None or (job.promise is not None and job.promised_on == day):
        return
    session.flush()
    found = Outlook(session, settings, at).of(job.id or 0)
    _give(session, job, day, found, why, settings, at=at, who=who, event_id=following_id(event_id, "promised"))


def _give(
    session: Session,
    job: Job,
    day: date,
    found: Promise | None,
    reason: str,
    settings: Settings,
    *,
    at: datetime,
    who: int,
    event_id: str,
    digest: str | None = None,
) -> None:
    if day < at.astimezone(settings.zone).date():
        raise Refused("A day that has passed cannot be promised. Choose today or a later day.", "promised_on")
    data: dict[str, Any] = {
        "on": day.isoformat(),
        "instead_of": job.promised_on.isoformat() if job.promised_on else None,
        "reason": reason,
        **(to_json(found) if found else {"earliest": None, "p80": None, "causes": []}),
    }
    record(session, job, kind="promised", at=at, who=who, event_id=event_id, data=data, digest=digest)
    job.promised_on = day
    job.promise = {**data, "at": at.isoformat()}
    session.add(job)
