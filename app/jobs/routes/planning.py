"""HTTP: targets, the plan before anything is opened, the quote and the owner's answer."""

from typing import Annotated, Any

import segno
from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from markupsafe import Markup

from app.jobs.actions.choose_targets import use_plan
from app.jobs.actions.close import today
from app.jobs.actions.quote import Answer, answer_quote, send_quote
from app.jobs.forms import AnswerForm, PlanForm, QuoteForm
from app.jobs.pages import planning
from app.jobs.queries import jobs as queries
from app.jobs.routes.waiting import serve_waiting_jobs
from app.people.access import Bench, Caller, Everybody, Posted, Supervisor
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, blank, check
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other

router = APIRouter(include_in_schema=False)
Targets = Annotated[list[str] | None, Query()]


def job_qr(request: Request, number: str) -> Markup:
    """Return the address of a job as a QR code to put into a sheet."""
    code = segno.make(f"{request.base_url}jobs/{number}", error="m", micro=False)
    return Markup(code.svg_inline(border=0, omitsize=True))  # noqa: S704  Drawn by segno from our own text.


@router.get("/jobs/{number}/targets")
def show_targets(
    request: Request, db: Db, settings: SiteSettings, _caller: Everybody, number: str, targets: Targets = None
) -> Response:
    """Show what can be replaced; the units the fault words point at are chosen."""
    return _targets_page(request, db, settings, number, blank(), targets)


def _targets_page(
    request: Request,
    db: Database,
    settings: Settings,
    number: str,
    form: Form[Any],
    chosen: list[str] | None,
    status: int = 200,
) -> Response:
    with db.read() as session:
        found = planning.targets_page(session, number, form, chosen, today(clock.now(), settings))
    return page(request, "jobs/targets.html", found, status=status)


@router.get("/jobs/{number}/plan")
def show_plan(
    request: Request, db: Db, settings: SiteSettings, _caller: Everybody, number: str, targets: Targets = None
) -> Response:
    """Show the plan for these units, or the one in force."""
    with db.read() as session:
        job = queries.find_job(session, number)
    # The choice form sends this, so that nothing ticked is told from the plan in force.
    if not targets and (not job.targets or "choose" in request.query_params):
        form = blank().refused(Refused("Choose at least one unit to exchange.", "targets"))
        return _targets_page(request, db, settings, number, form, [], status=422)
    return _plan_page(request, db, settings, number, tuple(targets or ()), blank(version=job.version))


def _plan_page(
    request: Request,
    db: Database,
    settings: Settings,
    number: str,
    targets: tuple[str, ...],
    form: Form[Any],
    status: int = 200,
) -> Response:
    try:
        with db.read() as session:
            found = planning.plan_page(session, number, targets, form, settings, today(clock.now(), settings))
    except Refused as refusal:
        return _targets_page(request, db, settings, number, blank().refused(refusal), list(targets), status=409)
    return page(request, "jobs/plan.html", found, status=status)


@router.post("/jobs/{number}/plan")
def use_this_plan(
    request: Request, db: Db, settings: SiteSettings, caller: Bench, raw: Posted, number: str
) -> Response:
    """Use a plan: its kit is reserved, and the job waits for what is short."""
    form = check(PlanForm, raw)
    if form.data is None:
        return _plan_page(request, db, settings, number, raw.all("targets"), form, status=422)
    at, data = clock.now(), form.data
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            use_plan(
                session,
                number,
                data.version,
                data.targets,
                at=at,
                who=caller.person_id,
                event_id=key,
                today=today(at, settings),
            )
            settle(session, key, f"/jobs/{number}")
    except Refused as refusal:
        return _plan_page(request, db, settings, number, data.targets, form.refused(refusal), status=409)
    return see_other(f"/jobs/{number}")


@router.get("/jobs/{number}/quote")
def show_quote(request: Request, db: Db, settings: SiteSettings, caller: Everybody, number: str) -> Response:
    """Show the quote of a job."""
    return _quote_page(request, db, settings, caller, number, blank(), blank())


@router.get("/jobs/{number}/quote/sheet")
def show_quote_sheet(request: Request, db: Db, settings: SiteSettings, caller: Everybody, number: str) -> Response:
    """Show the quote as a sheet to print for the owner."""
    return _quote_page(request, db, settings, caller, number, blank(), blank(), template="jobs/quote_sheet.html")


def _quote_page(
    request: Request,
    db: Database,
    settings: Settings,
    caller: Caller,
    number: str,
    form: Form[Any],
    answer_form: Form[Any],
    status: int = 200,
    template: str = "jobs/quote.html",
) -> Response:
    day = today(clock.now(), settings)
    with db.read() as session:
        found = planning.quote_page(
            session, number, form, answer_form, settings, day, caller.role.value, qr=job_qr(request, number)
        )  # fmt: skip
    if found is None or (template == "jobs/quote_sheet.html" and found.quoted is None):
        return see_other(f"/jobs/{number}")
    return page(request, template, found, status=status)


@router.post("/jobs/{number}/quote")
def make_quote(
    request: Request, db: Db, settings: SiteSettings, caller: Supervisor, raw: Posted, number: str
) -> Response:
    """Record the quote; the job waits for the owner's answer."""
    form = check(QuoteForm, raw)
    if form.data is None:
        return _quote_page(request, db, settings, caller, number, form, blank(), status=422)
    at, data = clock.now(), form.data
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            send_quote(
                session,
                number,
                data.version,
                data.amount,
                settings,
                at=at,
                who=caller.person_id,
                event_id=key,
                note=data.note,
            )
            settle(session, key, f"/jobs/{number}/quote")
    except Refused as refusal:
        return _quote_page(request, db, settings, caller, number, form.refused(refusal), blank(), status=409)
    return see_other(f"/jobs/{number}/quote")


@router.post("/jobs/{number}/quote/answer")
def record_answer(
    request: Request, db: Db, settings: SiteSettings, caller: Supervisor, raw: Posted, number: str
) -> Response:
    """Record the owner's answer."""
    form = check(AnswerForm, raw)
    if form.data is None:
        if "approved" in form.errors:
            form = form.wrong("approved", "Choose what the owner said.")
        return _quote_page(request, db, settings, caller, number, blank(), form, status=422)
    at, data = clock.now(), form.data
    answer = Answer(data.approved, data.by, data.means, data.answered_on, data.note)
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            answer_quote(
                session,
                number,
                data.version,
                answer,
                settings,
                at=at,
                who=caller.person_id,
                event_id=key,
                today=today(at, settings),
            )
            settle(session, key, f"/jobs/{number}")
    except Refused as refusal:
        return _quote_page(request, db, settings, caller, number, blank(), form.refused(refusal), status=409)
    if not answer.approved:
        serve_waiting_jobs(db, settings, caller.person_id)
    return see_other(f"/jobs/{number}")
