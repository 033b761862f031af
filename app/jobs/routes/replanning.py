"""HTTP: a new plan in mid-work, and another day promised."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from app.jobs.actions.close import today
from app.jobs.actions.extend_plan import Agreement, extend_plan
from app.jobs.actions.promising import promise_day
from app.jobs.forms import PromiseForm, ReplanForm
from app.jobs.pages import promising, replanning
from app.jobs.routes.waiting import serve_waiting_jobs
from app.people.access import Bench, Caller, Everybody, Posted, Supervisor
from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, blank, check
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other

router = APIRouter(include_in_schema=False)
Targets = Annotated[list[str] | None, Query(max_length=100)]


@router.get("/jobs/{number}/replan")
def show_replan(
    request: Request, db: Db, settings: SiteSettings, caller: Bench, number: str, targets: Targets = None
) -> Response:
    """Show what a new plan would add from where the device stands."""
    chosen = None if targets is None and "choose" not in request.query_params else list(targets or ())
    return _replan_page(request, db, settings, caller, number, chosen, blank())


def _replan_page(
    request: Request,
    db: Database,
    settings: Settings,
    caller: Caller,
    number: str,
    targets: list[str] | None,
    form: Form[Any],
    status: int = 200,
) -> Response:
    with db.read() as session:
        found = replanning.replan_page(session, number, targets, form, settings, clock.now(), caller.role.value)
    if status == 200 and found.blocked and targets is not None:
        status = 409
    return page(request, "jobs/replan.html", found, status=status)


@router.post("/jobs/{number}/replan")
def use_replan(request: Request, db: Db, settings: SiteSettings, caller: Bench, raw: Posted, number: str) -> Response:
    """Go on with the new plan: what it adds is reserved, and what is done stays done."""
    form = check(ReplanForm, raw)
    if form.data is None:
        return _replan_page(request, db, settings, caller, number, list(raw.all("targets")), form, status=422)
    at, data = clock.now(), form.data
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            extend_plan(
                session,
                number,
                data.version,
                data.targets,
                settings,
                at=at,
                who=caller.person_id,
                event_id=key,
                supervisor=caller.role is Role.SUPERVISOR,
                agreement=Agreement(data.by, data.means, data.amount),
                today=today(at, settings),
            )
            settle(session, key, f"/jobs/{number}")
    except Refused as refusal:
        shown = form.refused(refusal)
        return _replan_page(request, db, settings, caller, number, list(data.targets), shown, status=409)
    serve_waiting_jobs(db, settings, caller.person_id)
    return see_other(f"/jobs/{number}")


@router.get("/jobs/{number}/promise")
def show_promise(request: Request, db: Db, settings: SiteSettings, caller: Everybody, number: str) -> Response:
    """Show the promise, what has become of it, and how the day is worked out."""
    return _promise_page(request, db, settings, caller, number, blank())


def _promise_page(
    request: Request, db: Database, settings: Settings, caller: Caller, number: str, form: Form[Any], status: int = 200
) -> Response:
    with db.read() as session:
        found = promising.promise_page(session, number, form, settings, clock.now(), caller.role.value)
    return page(request, "jobs/promise.html", found, status=status)


@router.post("/jobs/{number}/promise")
def give_promise(
    request: Request, db: Db, settings: SiteSettings, caller: Supervisor, raw: Posted, number: str
) -> Response:
    """Promise another day, with the reason; the one before stays in the record."""
    form = check(PromiseForm, raw)
    if form.data is None:
        return _promise_page(request, db, settings, caller, number, form, status=422)
    at, data = clock.now(), form.data
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            promise_day(
                session, number, data.version, data.promised_on, data.reason, settings,
                at=at, who=caller.person_id, event_id=key,
            )  # fmt: skip
            settle(session, key, f"/jobs/{number}/promise")
    except Refused as refusal:
        return _promise_page(request, db, settings, caller, number, form.refused(refusal), status=409)
    return see_other(f"/jobs/{number}/promise")
