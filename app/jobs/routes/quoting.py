"""HTTP: the quote with its options, the sheet for the owner, and the owner's answer."""

from datetime import datetime
from typing import Annotated, Any

import segno
from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app.jobs.actions.close import today
from app.jobs.actions.quote import Answer, QuotedOption, answer_quote, send_quote
from app.jobs.forms import AnswerForm, QuoteForm
from app.jobs.pages import quoting
from app.jobs.pages.quoting import OptionView
from app.jobs.queries import jobs as queries
from app.jobs.queries.outlook import Outlook, to_json
from app.jobs.queries.pricing import amounts
from app.jobs.routes.waiting import serve_waiting_jobs
from app.people.access import Caller, Everybody, Posted, Supervisor
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import NotFound, Refused
from app.platform.forms import Form, blank, check
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other

router = APIRouter(include_in_schema=False)
Units = Annotated[list[str] | None, Query(max_length=100)]
SHEET = "jobs/quote_sheet.html"
LONGEST_NUMBER = 20


def job_qr(request: Request, number: str) -> Markup:
    """Return the address of a job as a QR code to put into a sheet; NotFound for what is too long to be a number."""
    if len(number) > LONGEST_NUMBER:
        raise NotFound(f"job {number}")
    code = segno.make(f"{request.base_url}jobs/{number}", error="m", micro=False)
    return Markup(code.svg_inline(border=0, omitsize=True))  # noqa: S704  Drawn by segno from our own text.


@router.get("/jobs/{number}/quote")
def show_quote(
    request: Request,
    db: Db,
    settings: SiteSettings,
    caller: Everybody,
    number: str,
    two: Units = None,
    three: Units = None,
) -> Response:
    """Show the quote of a job; ``two`` and ``three`` are the units of further options to compare."""
    return _quote_page(request, db, settings, caller, number, blank(), blank(), (two or (), three or ()))


@router.get("/jobs/{number}/quote/sheet")
def show_quote_sheet(request: Request, db: Db, settings: SiteSettings, caller: Everybody, number: str) -> Response:
    """Show the quote as a sheet to print for the owner."""
    return _quote_page(request, db, settings, caller, number, blank(), blank(), template=SHEET)


def _quote_page(
    request: Request,
    db: Database,
    settings: Settings,
    caller: Caller,
    number: str,
    form: Form[Any],
    answer_form: Form[Any],
    further: tuple[Any, Any] = ((), ()),
    status: int = 200,
    template: str = "jobs/quote.html",
) -> Response:
    with db.read() as session:
        found = quoting.quote_page(
            session, number, form, answer_form, settings, clock.now(), caller.role.value, further,
            qr=job_qr(request, number),
        )  # fmt: skip
    if found is None or (template == SHEET and found.quoted is None):
        return see_other(f"/jobs/{number}")
    return page(request, template, found, status=status)


@router.post("/jobs/{number}/quote")
def make_quote(
    request: Request, db: Db, settings: SiteSettings, caller: Supervisor, raw: Posted, number: str
) -> Response:
    """Record the quote with its options; the job waits for the owner's answer."""
    form = check(QuoteForm, raw)
    further = (raw.all("two"), raw.all("three"))
    if form.data is None:
        return _quote_page(request, db, settings, caller, number, form, blank(), further, status=422)
    at, data = clock.now(), form.data
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            quote_job(session, number, data, settings, at=at, caller=caller, event_id=key)
            settle(session, key, f"/jobs/{number}/quote")
    except Refused as refusal:
        return _quote_page(request, db, settings, caller, number, form.refused(refusal), blank(), further, status=409)
    return see_other(f"/jobs/{number}/quote")


def quote_job(
    session: Session, number: str, data: QuoteForm, settings: Settings, *, at: datetime, caller: Caller, event_id: str
) -> None:
    """Record a quote with the options that were asked for, priced as they are now."""
    shown = quoting.quote_page(
        session, number, blank(), blank(), settings, at, caller.role.value, (data.two, data.three)
    )  # fmt: skip
    send_quote(
        session,
        number,
        data.version,
        data.amount,
        settings,
        at=at,
        who=caller.person_id,
        event_id=event_id,
        note=data.note,
        options=_options(shown.options if shown else (), data),
        ready=_ready(session, number, settings, at),
        worth=shown.worth if shown and shown.job.device_value is not None else "",
    )


def _ready(session: Session, number: str, settings: Settings, at: datetime) -> dict[str, Any] | None:
    found = Outlook(session, settings, at).of(queries.find_job(session, number).id)
    return to_json(found) if found else None


def _options(views: tuple[OptionView, ...], data: QuoteForm) -> list[QuotedOption]:
    asked = {frozenset(data.two): data.amount_2, frozenset(data.three): data.amount_3}
    found = []
    for view in views:
        amount = data.amount if view.no == 1 else asked.get(frozenset(view.targets))
        lines = tuple((text, quantity, price) for text, quantity, price in amounts(view.quote))
        total = view.quote.total
        found.append(
            QuotedOption(
                view.targets, view.names, amount or total, lines, total, view.time.median_s, view.time.p80_s
            )
        )  # fmt: skip
    return found


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
    promised_on = data.promised_on if data.approved else None
    answer = Answer(data.approved, data.by, data.means, data.answered_on, data.note, data.option, promised_on)
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
    if not answer.approved or data.option > 1:
        serve_waiting_jobs(db, settings, caller.person_id)
    return see_other(f"/jobs/{number}")
