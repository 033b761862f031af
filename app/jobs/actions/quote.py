"""The quote and the owner's answer; returning a device unrepaired."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlmodel import Session, col, select

from app.jobs.actions.choose_targets import put_plan
from app.jobs.actions.close import Account, account, return_unused, sealed_account
from app.jobs.actions.hold import following_id, put_down, reserve_missing, show_shortage
from app.jobs.actions.promising import promise_with
from app.jobs.actions.record import known_event, load_job, record
from app.jobs.models import BenchEvent, Hold, Job, Stage
from app.jobs.queries.bench import state_of
from app.jobs.queries.kit import outstanding, source_ref, standing_of
from app.platform.errors import Refused
from app.platform.settings import Settings
from app.platform.submissions import content_hash
from app.procedures import queries as procedures
from app.rules import job_flow
from app.rules.money import round_money
from app.rules.planning import make_plan
from app.stores import actions as stores


@dataclass(frozen=True)
class Answer:
    """Who answered a quote, by which means (such as by telephone), when, and what else was said."""

    approved: bool
    by: str
    means: str
    answered_on: date
    note: str = ""
    option: int = 1
    promised_on: date | None = None


@dataclass(frozen=True)
class QuotedOption:
    """One option of a quote as the owner is shown it; ``lines`` are its texts, quantities and amounts."""

    targets: tuple[str, ...]
    names: tuple[str, ...]
    amount: Decimal
    lines: tuple[tuple[str, str, str], ...] = ()
    total: Decimal | None = None
    median_s: int = 0
    p80_s: int = 0


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
    options: Sequence[QuotedOption] = (),
    ready: Mapping[str, Any] | None = None,
    worth: str = "",
) -> None:
    """Record a quote; the job waits for the owner's answer. A new quote takes the place of an unanswered one.

    ``options`` are what the owner may choose from, the plan in force first, with ``amount`` as its price. ``ready``
    is the day that could be promised if the owner agreed at once, ``worth`` what was said of the device's value.
    """
    asked = [[sorted(one.targets), str(one.amount)] for one in options]
    digest = content_hash(["quote", number, str(amount), note, *([asked] if len(asked) > 1 else [])])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return
    job = load_job(session, number, version)
    job_flow.check_quote(standing_of(job, state_of(job), {}))
    for n, asked_for in enumerate((amount, *(one.amount for one in options[1:])), start=1):
        _check_amount(asked_for, settings.currency, "amount" if n == 1 else f"amount_{n}")
    data: dict[str, Any] = {"amount": str(amount), "currency": settings.currency, "note": note}
    if options:
        data["options"] = [_option(one, settings.currency) for one in options]
    if ready:
        data["ready"] = dict(ready)
    if worth:
        data["worth"] = worth
    record(session, job, kind="quoted", at=at, who=who, event_id=event_id, data=data, digest=digest)
    job.quoted = amount
    job.stage = Stage.QUOTED
    job.hold = Hold.OWNER
    job.hold_reason = f"The quote of {amount} {settings.currency} is with the owner."
    session.add(job)


def _check_amount(amount: Decimal, currency: str, name: str) -> None:
    if amount <= 0:
        raise Refused("Enter the amount the owner is asked for.", name)
    if round_money(amount, currency) != amount:
        raise Refused(f"{currency} has no smaller coins than that. Round the amount.", name)


def _option(one: QuotedOption, currency: str) -> dict[str, Any]:
    return {
        "targets": list(one.targets),
        "names": list(one.names),
        "amount": f"{round_money(one.amount, currency)}",
        "total": None if one.total is None else str(one.total),
        "lines": [list(line) for line in one.lines],
        "median_s": one.median_s,
        "p80_s": one.p80_s,
    }


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
    if answer.option > 1 or answer.promised_on is not None:
        said += [answer.option, answer.promised_on.isoformat() if answer.promised_on else None]
    digest = content_hash(["answer", number, *said])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return
    job = load_job(session, number, version)
    job_flow.check_answer(standing_of(job, state_of(job), {}))
    if answer.answered_on > at.astimezone(settings.zone).date():
        raise Refused("The owner cannot have answered on a day that is still to come.", "answered_on")
    chosen = _chosen(session, job, answer) if answer.approved else None
    if chosen is not None:
        job.quoted = Decimal(chosen["amount"])
    data: dict[str, Any] = {
        "by": answer.by,
        "means": answer.means,
        "answered_on": answer.answered_on.isoformat(),
        "reason": answer.note,
        "amount": None if job.quoted is None else str(round_money(job.quoted, settings.currency)),
    }
    if chosen is not None:
        data |= {"option": str(answer.option), "names": ", ".join(chosen["names"])}
    kind = "approved" if answer.approved else "declined"
    found = account(session, job, settings, at)
    if not answer.approved:
        data["account"] = sealed_account(found)
    record(session, job, kind=kind, at=at, who=who, event_id=event_id, data=data, digest=digest)
    job.hold, job.hold_reason = Hold.NONE, ""
    if not answer.approved:
        _give_back(session, job, found, at=at, who=who, event_id=event_id)
        return
    if chosen is not None and set(chosen["targets"]) != set(job.targets):
        plan = make_plan(procedures.sheet(session, job.revision_id), chosen["targets"])
        job.stage = Stage.APPROVED
        put_plan(
            session, job, plan, True, at=at, who=who, event_id=following_id(event_id, "option"), today=today
        )  # fmt: skip
    short = reserve_missing(session, job, at=at, who=who, entry_id=event_id, today=today)
    waits = outstanding(session, job.id or 0)
    job.stage = Stage.APPROVED if waits else Stage.KITTED
    show_shortage(session, job, short, at=at, who=who, event_id=event_id)
    session.add(job)
    promise_with(
        session, job, answer.promised_on, settings, at=at, who=who, event_id=event_id, why="With the owner's approval"
    )  # fmt: skip


def _chosen(session: Session, job: Job, answer: Answer) -> dict[str, Any] | None:
    """Return the option that the owner agreed to; None for a quote that was made without options."""
    found: Any = session.exec(
        select(BenchEvent.data)
        .where(col(BenchEvent.job_id) == job.id, col(BenchEvent.kind) == "quoted")
        .order_by(col(BenchEvent.sequence).desc())
        .limit(1)
    ).first()
    listed: list[dict[str, Any]] = (found or {}).get("options", [])
    if not listed and answer.option == 1:
        return None
    if not 1 <= answer.option <= len(listed):
        raise Refused("Choose one of the options that were quoted.", "option")
    return listed[answer.option - 1]


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
    # A job in its second pass has used parts and time already; otherwise both are nothing.
    found = account(session, job, settings, at)
    data = {"reason": reason, "account": sealed_account(found)}
    record(session, job, kind="returned", at=at, who=who, event_id=event_id, data=data, digest=digest)
    job.hold, job.hold_reason = Hold.NONE, ""
    _give_back(session, job, found, at=at, who=who, event_id=event_id)


def _give_back(session: Session, job: Job, found: Account, *, at: datetime, who: int, event_id: str) -> None:
    return_unused(session, job, at=at, who=who, entry_id=event_id)
    stores.release(session, source_ref(job.number), None, entry_id=event_id, at=at, who=who)
    job.parts_cost, job.labour_cost = found.parts.total, found.labour
    job.bench_s = found.bench.total_s
    job.stage = Stage.RETURNED
    job.closed_at, job.closed_by, job.seal = at, who, job.chain
    session.add(job)
    session.flush()
