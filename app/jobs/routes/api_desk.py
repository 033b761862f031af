"""JSON API: what is answered at the desk. Make-safe questions, quote and answer, holds, a device handed back."""

from collections.abc import Callable
from datetime import date, datetime
from decimal import Decimal
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, Field
from sqlmodel import Session

from app.jobs.actions.close import today
from app.jobs.actions.hold import end_hold, put_on_hold
from app.jobs.actions.make_safe import SafetyAnswers, make_safe
from app.jobs.actions.quote import Answer, answer_quote, return_unrepaired
from app.jobs.forms import QuoteForm
from app.jobs.queries import jobs as queries
from app.jobs.routes.api import JobBody, get_job
from app.jobs.routes.api_quotes import QuoteBody, get_quote
from app.jobs.routes.quoting import quote_job
from app.jobs.routes.waiting import serve_waiting_jobs
from app.people.access import ApiBench, ApiEverybody, ApiSupervisor, Caller
from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import AlreadyDone
from app.platform.submissions import SubmissionId, claim, settle
from app.platform.web import Db, SiteSettings
from app.procedures import queries as procedures
from app.rules.closing import due_after

router = APIRouter(prefix="/api/v1/jobs/{number}", tags=["jobs"])
Words = Annotated[str, Field(min_length=1, max_length=300)]
Line = Annotated[str, Field(min_length=1, max_length=120)]
Amount = Annotated[Decimal, Field(gt=0, le=1_000_000, decimal_places=4)]


class _Write(BaseModel):
    id: SubmissionId
    version: int = Field(description="The job's version as last seen; 409 when it has moved on.")


class NewSafety(_Write):
    """The answers to the make-safe questions. A cell that is not sound puts the job on a safety hold."""

    cell: Literal["sound", "swollen", "dented", "hot", "leaking", "no cell"]
    cautions: bool = Field(False, description="The cautions were read.")
    strap: bool = Field(False, description="The wrist strap was tested and passes.")
    mat: bool = Field(False, description="The mat is connected and clean.")
    note: Annotated[str, Field(max_length=300)] = ""


class FurtherOption(BaseModel):
    """A further option of a quote: its units, and what it is offered at, by default what it comes to."""

    targets: Annotated[list[str], Field(min_length=1, max_length=100)]
    amount: Amount | None = None


class NewQuote(_Write):
    """The amount the owner is asked for with the plan in force, and up to two further options."""

    amount: Amount
    options: Annotated[list[FurtherOption], Field(max_length=2)] = []
    note: Annotated[str, Field(max_length=300)] = ""


class NewAnswer(_Write):
    """The owner's answer to a quote; ``option`` counts from 1, the plan that was in force. Declined ends the job."""

    approved: bool
    by: Line = Field(description="Who answered.")
    means: Line = Field(description="By which means, such as by telephone.")
    answered_on: date
    option: Annotated[int, Field(ge=1, le=3)] = 1
    promised_on: date | None = None
    note: Annotated[str, Field(max_length=300)] = ""


class NewHold(_Write):
    """Put a job on hold; its bench time stops. Parts holds come and go by themselves."""

    hold: Literal["safety", "owner's answer"]
    reason: Words


class WithReason(_Write):
    """A write with a reason that stays in the record."""

    reason: Words


class DueTest(BaseModel):
    """A release test that is due: a reading in ``unit`` within its limits, or accepted or not. ``passed`` so far."""

    test: str
    title: str
    do: str
    kind: Literal["accept", "reading"]
    unit: str | None
    low: Decimal | None
    high: Decimal | None
    second_person: bool
    passed: bool


def _do(
    db: Database, caller: Caller, number: str, what: str, body: _Write, act: Callable[[Session, str, datetime], Any]
) -> bool:
    """Do a write once; returns whether it was done now and not before."""
    at = clock.now()
    content = {what: number, **body.model_dump(mode="json", exclude={"id"})}
    try:
        with db.write() as session:
            key = claim(session, body.id, content, caller.person_id, at)
            act(session, key, at)
            settle(session, key, f"/api/v1/jobs/{number}")
    except AlreadyDone:
        return False
    return True


@router.post("/safe")
def answer_safety(db: Db, settings: SiteSettings, caller: ApiBench, number: str, body: NewSafety) -> JobBody:
    """Answer the make-safe questions; the job goes on to its plan, or on a safety hold."""
    answers = SafetyAnswers(body.cell, body.cautions, body.strap, body.mat, body.note)

    def act(session: Session, key: str, at: datetime) -> None:
        make_safe(session, number, body.version, answers, at=at, who=caller.person_id, event_id=key)

    _do(db, caller, number, "safe", body, act)
    return get_job(db, settings, caller, number)


@router.post("/quote")
def make_quote(db: Db, settings: SiteSettings, caller: ApiSupervisor, number: str, body: NewQuote) -> QuoteBody:
    """Record a quote for the plan in force; the job waits for the owner's answer."""
    further = [(tuple(one.targets), one.amount) for one in body.options] + [((), None)] * 2
    form = QuoteForm(
        version=body.version,
        amount=body.amount,
        two=further[0][0],
        amount_2=further[0][1],
        three=further[1][0],
        amount_3=further[1][1],
        note=body.note,
    )

    def act(session: Session, key: str, at: datetime) -> None:
        quote_job(session, number, form, settings, at=at, caller=caller, event_id=key)

    _do(db, caller, number, "quote", body, act)
    return get_quote(db, settings, caller, number)


@router.post("/quote/answer")
def answer(db: Db, settings: SiteSettings, caller: ApiSupervisor, number: str, body: NewAnswer) -> JobBody:
    """Record the owner's answer to the quote: the job goes on to its kit, or ends as returned unrepaired."""
    promised_on = body.promised_on if body.approved else None
    said = Answer(body.approved, body.by, body.means, body.answered_on, body.note, body.option, promised_on)

    def act(session: Session, key: str, at: datetime) -> None:
        answer_quote(
            session, number, body.version, said, settings,
            at=at, who=caller.person_id, event_id=key, today=today(at, settings),
        )  # fmt: skip

    if _do(db, caller, number, "answer", body, act) and (not body.approved or body.option > 1):
        serve_waiting_jobs(db, settings, caller.person_id)
    return get_job(db, settings, caller, number)


@router.post("/hold")
def hold(db: Db, settings: SiteSettings, caller: ApiBench, number: str, body: NewHold) -> JobBody:
    """Put a job on a safety hold or an owner's hold."""

    def act(session: Session, key: str, at: datetime) -> None:
        put_on_hold(session, number, body.version, body.hold, body.reason, at=at, who=caller.person_id, event_id=key)

    _do(db, caller, number, "hold", body, act)
    return get_job(db, settings, caller, number)


@router.post("/hold/end")
def release(db: Db, settings: SiteSettings, caller: ApiBench, number: str, body: WithReason) -> JobBody:
    """End a hold with a reason; a safety hold is a supervisor's to end."""

    def act(session: Session, key: str, at: datetime) -> None:
        end_hold(
            session, number, body.version, body.reason, at=at, who=caller.person_id, event_id=key,
            supervisor=caller.role is Role.SUPERVISOR, today=today(at, settings),
        )  # fmt: skip

    _do(db, caller, number, "hold end", body, act)
    return get_job(db, settings, caller, number)


@router.post("/return")
def hand_back(db: Db, settings: SiteSettings, caller: ApiSupervisor, number: str, body: WithReason) -> JobBody:
    """End a job without a repair: its kit goes back to stock."""

    def act(session: Session, key: str, at: datetime) -> None:
        return_unrepaired(
            session, number, body.version, body.reason, settings, at=at, who=caller.person_id, event_id=key
        )  # fmt: skip

    if _do(db, caller, number, "return", body, act):
        serve_waiting_jobs(db, settings, caller.person_id)
    return get_job(db, settings, caller, number)


@router.get("/tests")
def list_tests(db: Db, _caller: ApiEverybody, number: str) -> list[DueTest]:
    """List the release tests that are due after what was disturbed, in the procedure's order."""
    with db.read() as session:
        job = queries.find_job(session, number)
        due = due_after(procedures.sheet(session, job.revision_id), job.state)
    return [
        DueTest(
            test=one.id, title=one.title, do=one.do, kind=one.kind, unit=one.unit, low=one.low, high=one.high,
            second_person=one.second_person, passed=bool(job.state.tests.get(one.id)),
        )
        for one in due
    ]  # fmt: skip
