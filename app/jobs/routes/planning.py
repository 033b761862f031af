"""HTTP: targets, and the plan before anything is opened."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from app.jobs.actions.choose_targets import use_plan
from app.jobs.actions.close import today
from app.jobs.actions.promising import promise_with
from app.jobs.actions.record import load_job
from app.jobs.forms import PlanForm
from app.jobs.pages import planning
from app.jobs.queries import jobs as queries
from app.people.access import Bench, Everybody, Posted
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, blank, check
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other

router = APIRouter(include_in_schema=False)
Targets = Annotated[list[str] | None, Query()]


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
            found = planning.plan_page(session, number, targets, form, settings, clock.now())
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
            job = load_job(session, number)
            promise_with(
                session, job, data.promised_on, settings, at=at, who=caller.person_id, event_id=key, why="With the plan"
            )  # fmt: skip
            settle(session, key, f"/jobs/{number}")
    except Refused as refusal:
        return _plan_page(request, db, settings, number, data.targets, form.refused(refusal), status=409)
    return see_other(f"/jobs/{number}")
