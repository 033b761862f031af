"""HTTP: the closing count and its override, the release tests, closing, the job card."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.jobs.actions import close as actions
from app.jobs.actions.sign import second_signs, supervisor_signs
from app.jobs.forms import OverrideForm, ReleaseTestForm, SignForm
from app.jobs.pages.account import close_page
from app.jobs.pages.card import card_page
from app.jobs.pages.closing import count_page, release_page
from app.jobs.routes.waiting import serve_waiting_jobs
from app.people.access import Bench, Caller, Everybody, Posted
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused, TooMany
from app.platform.forms import Form, blank, check
from app.platform.labels import draw_qr
from app.platform.settings import Settings
from app.platform.submissions import valid_id
from app.platform.web import Db, SiteSettings, client_address, page, see_other

router = APIRouter(include_in_schema=False)


@router.get("/jobs/{number}/count")
def show_count(request: Request, db: Db, caller: Bench, number: str, scope: str = "final") -> Response:
    """Show the count as it stands: at the end, or with ``scope=cover`` before the cover in focus."""
    return _count(request, db, caller, number, blank(), scope)


def _count(
    request: Request, db: Database, caller: Caller, number: str, form: Form[Any], scope: str, status: int = 200
) -> Response:
    scope = "cover" if scope == "cover" else "final"
    with db.read() as session:
        shown = count_page(session, number, form, who=caller.person_id, at=clock.now(), scope=scope)
    return page(request, "jobs/count.html", shown, status=status, fragment="count")


@router.post("/jobs/{number}/count")
def sign_count(request: Request, db: Db, caller: Bench, raw: Posted, number: str) -> Response:
    """Sign the closing count; a stale version is answered with what changed."""
    form = check(SignForm, raw)
    if form.data is None:
        return _count(request, db, caller, number, form, "final", 422)
    event_id = valid_id(raw.get("submission_id"))
    try:
        with db.write() as session:
            actions.sign_count(
                session, number, form.data.version, at=clock.now(), who=caller.person_id, event_id=event_id
            )
    except Refused as refusal:
        return _count(request, db, caller, number, form.refused(refusal), "final", 409)
    return see_other(f"/jobs/{number}/tests")


@router.post("/jobs/{number}/count/override")
def override_count(request: Request, db: Db, caller: Bench, raw: Posted, number: str) -> Response:
    """Let a supervisor override the count by name, passphrase and reason; what was typed is kept but the secret."""
    form = check(OverrideForm, raw)
    scope = raw.get("scope")
    if form.data is None:
        return _count(request, db, caller, number, form, scope, 422)
    event_id, data, at = valid_id(raw.get("submission_id")), form.data, clock.now()
    try:
        with db.write() as session:
            signed = supervisor_signs(session, data.name, data.secret, at=at, address=client_address(request))
            actions.override(
                session, number, data.scope, data.reason, signed.id, at=at, who=caller.person_id, event_id=event_id
            )
    except Refused as refusal:
        return _count(request, db, caller, number, form.refused(refusal), scope, 409)
    except TooMany as wait:
        return _count(request, db, caller, number, form.wrong("secret", wait.reason), scope, 429)
    return see_other(f"/jobs/{number}/tests" if data.scope == "final" else f"/jobs/{number}/bench")


@router.get("/jobs/{number}/tests")
def show_tests(request: Request, db: Db, caller: Bench, number: str) -> Response:
    """Show the release tests that are due, with what passed so far."""
    return _tests(request, db, caller, number)


def _tests(
    request: Request,
    db: Database,
    caller: Caller,
    number: str,
    form: Form[ReleaseTestForm] | None = None,
    status: int = 200,
) -> Response:
    with db.read() as session:
        wanted = form.value("test") if form else ""
        shown = release_page(session, number, who=caller.name, test=wanted, form=form)
    return page(request, "jobs/tests.html", shown, status=status)


@router.post("/jobs/{number}/tests")
def record_test(request: Request, db: Db, caller: Bench, raw: Posted, number: str) -> Response:
    """Record one release test; a failed one opens the job again."""
    form = check(ReleaseTestForm, raw)
    if form.data is None:
        return _tests(request, db, caller, number, form, 422)
    event_id = valid_id(raw.get("submission_id"))
    try:
        with db.write() as session:
            _record_test(session, request, number, form.data, caller.person_id, event_id)
    except Refused as refusal:
        return _tests(request, db, caller, number, form.refused(refusal), 409)
    except TooMany as wait:
        return _tests(request, db, caller, number, form.wrong("second_secret", wait.reason), 429)
    return see_other(f"/jobs/{number}/tests")


def _record_test(
    session: Session, request: Request, number: str, data: ReleaseTestForm, who: int, event_id: str
) -> None:
    at = clock.now()
    second = None
    if data.second_name or data.second_secret:
        signed = second_signs(
            session, data.second_name, data.second_secret, tester=who, at=at, address=client_address(request)
        )
        second = signed.id
    actions.record_test(
        session,
        number,
        data.test,
        accepted=data.accepted,
        reading=data.reading,
        second=second,
        note=data.note,
        at=at,
        who=who,
        event_id=event_id,
    )


@router.get("/jobs/{number}/close")
def show_close(request: Request, db: Db, settings: SiteSettings, _caller: Bench, number: str) -> Response:
    """Show plan against actual before the job closes, or as it closed."""
    return _close(request, db, settings, number, blank())


def _close(
    request: Request, db: Database, settings: Settings, number: str, form: Form[Any], status: int = 200
) -> Response:
    at = clock.now()
    with db.read() as session:
        shown = close_page(session, number, form, settings, at=at, today=actions.today(at, settings))
    return page(request, "jobs/close.html", shown, status=status)


@router.post("/jobs/{number}/close")
def close_job(request: Request, db: Db, settings: SiteSettings, caller: Bench, raw: Posted, number: str) -> Response:
    """Close a job: unused kit back to its shelf, cost and bench time fixed, the record sealed."""
    form = check(SignForm, raw)
    if form.data is None:
        return _close(request, db, settings, number, form, 422)
    event_id = valid_id(raw.get("submission_id"))
    try:
        with db.write() as session:
            actions.close_job(
                session, number, form.data.version, settings, at=clock.now(), who=caller.person_id, event_id=event_id
            )
    except Refused as refusal:
        return _close(request, db, settings, number, form.refused(refusal), 409)
    serve_waiting_jobs(db, settings, caller.person_id)  # What was left of its kit may end another job's wait.
    return see_other(f"/jobs/{number}")


@router.get("/jobs/{number}/card")
def show_card(request: Request, db: Db, settings: SiteSettings, _caller: Everybody, number: str) -> Response:
    """Show the job card to print, on A4 or Letter."""
    with db.read() as session:
        shown = card_page(session, number, settings, clock.now())
    return page(request, "jobs/card.html", {"card": shown, "qr": draw_qr(shown.label)})
