"""The quote and the owner's answer; returning a device unrepaired."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from sqlmodel import Session

from app.jobs.actions.close import account, return_unused
from app.jobs.actions.hold import put_down, reserve_missing, show_shortage
from app.jobs.actions.record import known_event, load_job, record
from app.jobs.models import Hold, Job, Stage
from app.jobs.queries.bench import state_of
from app.jobs.queries.kit import outstanding, source_ref, standing_of
from app.platform.errors import Refused
from app.platform.settings import Settings
from app.platform.submissions import content_hash
from app.rules import job_flow
from app.rules.money import round_money
from app.stores import actions as stores


@dataclass(frozen=True)
class Answer:
    """Who answered a quote, by which means (such as by telephone), when, and what else was said."""

    approved: bool
    by: str
    means: str
    answered_on: date
    note: str = ""


def send_quote(
    session: Session,
    number: str,
    version: int,
    amount: Decimal,
    settings: Settings,
    *,
    at: datetime,
    who: int,
    event_id: str,
    note: str = "",
) -> None:
    """Record a quote; the job waits for the owner's answer. A new quote takes the place of an unanswered one."""
    digest = content_hash(["quote", number, str(amount), note])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return
    job = load_job(session, number, version)
    job_flow.check_quote(standing_of(job, state_of(job), {}))
    if amount <= 0:
        raise Refused("Enter the amount the owner is asked for.", "amount")
    if round_money(amount, settings.currency) != amount:
        raise Refused(f"{settings.currency} has no smaller coins than that. Round the amount.", "amount")
    data = {"amount": str(amount), "currency": settings.currency, "note": note}
    record(session, job, kind="quoted", at=at, who=who, event_id=event_id, data=data, digest=digest)
    job.quoted = amount
    job.stage = Stage.QUOTED
    job.hold = Hold.OWNER
    job.hold_reason = f"The quote of {amount} {settings.currency} is with the owner."
    session.add(job)


def answer_quote(
    session: Session,
    number: str,
    version: int,
    answer: Answer,
    settings: Settings,
    *,
    at: datetime,
    who: int,
    event_id: str,
    today: date | None = None,
) -> None:
    """Record the owner's answer: the job goes on to its kit, or ends as returned unrepaired."""
    said = [answer.approved, answer.by, answer.means, answer.answered_on.isoformat(), answer.note]
    digest = content_hash(["answer", number, *said])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return
    job = load_job(session, number, version)
    job_flow.check_answer(standing_of(job, state_of(job), {}))
    if answer.answered_on > at.astimezone(settings.zone).date():
        raise Refused("The owner cannot have answered on a day that is still to come.", "answered_on")
    data = {
        "by": answer.by,
        "means": answer.means,
        "answered_on": answer.answered_on.isoformat(),
        "reason": answer.note,
        "amount": None if job.quoted is None else str(round_money(job.quoted, settings.currency)),
    }
    kind = "approved" if answer.approved else "declined"
    record(session, job, kind=kind, at=at, who=who, event_id=event_id, data=data, digest=digest)
    job.hold, job.hold_reason = Hold.NONE, ""
    if not answer.approved:
        _give_back(session, job, settings, at=at, who=who, event_id=event_id)
        return
    short = reserve_missing(session, job, at=at, who=who, entry_id=event_id, today=today)
    waits = outstanding(session, job.id or 0)
    job.stage = Stage.APPROVED if waits else Stage.KITTED
    show_shortage(session, job, short, at=at, who=who, event_id=event_id)
    session.add(job)


def return_unrepaired(
    session: Session,
    number: str,
    version: int,
    reason: str,
    settings: Settings,
    *,
    at: datetime,
    who: int,
    event_id: str,
) -> None:
    """End a job without a repair: its reservations are released and what was handed out goes back to stock."""
    digest = content_hash(["return", number, reason])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return
    job = load_job(session, number, version)
    job_flow.check_return(standing_of(job, state_of(job), {}))
    if len(reason.split()) < 3:
        raise Refused("Say in a few words why it is not repaired and how it is handed back.", "reason")
    put_down(session, job, "returned unrepaired", at=at, who=who, event_id=event_id)
    record(session, job, kind="returned", at=at, who=who, event_id=event_id, data={"reason": reason}, digest=digest)
    job.hold, job.hold_reason = Hold.NONE, ""
    _give_back(session, job, settings, at=at, who=who, event_id=event_id)


def _give_back(session: Session, job: Job, settings: Settings, *, at: datetime, who: int, event_id: str) -> None:
    return_unused(session, job, at=at, who=who, entry_id=event_id)
    stores.release(session, source_ref(job.number), None, entry_id=event_id, at=at, who=who)
    # A job in its second pass has used parts and time already; otherwise both are nothing.
    found = account(session, job, settings, at)
    job.parts_cost, job.labour_cost = found.parts.total, found.labour
    job.bench_s = found.bench.total_s
    job.stage = Stage.RETURNED
    job.closed_at, job.closed_by, job.seal = at, who, job.chain
    session.add(job)
    session.flush()
