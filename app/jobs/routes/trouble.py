"""HTTP: trouble reported and taken back, and the recount after a take-over."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.jobs.actions import bench as actions
from app.jobs.actions.photos import keep_pictures, prepare_pictures
from app.jobs.actions.record import load_job
from app.jobs.actions.trouble import report, take_report_back
from app.jobs.forms import TroubleForm
from app.jobs.pages.trouble import pocket_counts, recount_page, trouble_page
from app.people.access import Bench, Posted
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, blank, check
from app.platform.submissions import valid_id
from app.platform.web import Db, page, see_other
from app.stores.queries import known_numbers

router = APIRouter(include_in_schema=False)


@router.get("/jobs/{number}/trouble")
def show_trouble(
    request: Request, db: Db, caller: Bench, number: str, step: str = "", item: str = "", kind: str = "", said: str = ""
) -> Response:
    """Show what can be reported, the items of the step in hand first, and what was reported so far."""
    form: Form[TroubleForm] = blank(item=item, kind=kind, count=1)
    return _trouble(request, db, number, step or item.split("/", maxsplit=1)[0], form, said=said)


def _trouble(
    request: Request, db: Database, number: str, step: str, form: Form[TroubleForm], status: int = 200, said: str = ""
) -> Response:
    with db.read() as session:
        shown = trouble_page(session, number, step, form, said)
    return page(request, "jobs/trouble.html", shown, status=status)


@router.post("/jobs/{number}/trouble")
def report_trouble(request: Request, db: Db, caller: Bench, raw: Posted, number: str) -> Response:
    """Record trouble; what it needs joins the kit, reserved or short at once."""
    form = check(TroubleForm, raw)
    step = raw.get("step")
    if form.data is None:
        return _trouble(request, db, number, step, form, 422)
    event_id, at, data = valid_id(raw.get("submission_id")), clock.now(), form.data
    try:
        pictures = prepare_pictures(raw.files.get("photos", ()), caption=data.note[:120])
        with db.write() as session:
            if data.part and data.part not in known_numbers(session):
                raise Refused(f"{data.part} is not in the catalogue. Look the number up under Parts.", "part")
            fresh = load_job(session, number).version
            report(
                session,
                number,
                data.kind,
                item=data.item,
                count=data.count,
                part=data.part or None,
                note=data.note,
                at=at,
                who=caller.person_id,
                event_id=event_id,
            )
            job = load_job(session, number)
            if pictures and job.version != fresh:
                keep_pictures(session, job.id or 0, pictures, at=at, who=caller.person_id, event_id=event_id)
    except Refused as refusal:
        return _trouble(request, db, number, step, form.refused(refusal), 409)
    return see_other(f"/jobs/{number}/trouble?step={step}&said={event_id}")


@router.post("/jobs/{number}/trouble/take-back")
def take_back(request: Request, db: Db, caller: Bench, raw: Posted, number: str) -> Response:
    """Take a report back with a new entry."""
    event_id = valid_id(raw.get("submission_id"))
    try:
        with db.write() as session:
            take_report_back(
                session, number, raw.get("undoes"), at=clock.now(), who=caller.person_id, event_id=event_id
            )
    except Refused as refusal:
        return _trouble(request, db, number, raw.get("step"), blank(count=1).refused(refusal), 409)
    return see_other(f"/jobs/{number}/trouble?step={raw.get('step')}&said={raw.get('undoes')}")


@router.get("/jobs/{number}/recount")
def show_recount(request: Request, db: Db, caller: Bench, number: str) -> Response:
    """Show the tray pockets to recount after a take-over."""
    with db.read() as session:
        shown = recount_page(session, number, blank())
    return page(request, "jobs/recount.html", shown)


@router.post("/jobs/{number}/recount")
def send_recount(request: Request, db: Db, caller: Bench, raw: Posted, number: str) -> Response:
    """Record the recount; pieces short are recorded as lost."""
    event_id = valid_id(raw.get("submission_id"))
    typed = raw.starting("pocket-")
    try:
        with db.write() as session:
            counted = pocket_counts(recount_page(session, number, blank()), typed)
            short = actions.recount(session, number, counted, at=clock.now(), who=caller.person_id, event_id=event_id)
    except Refused as refusal:
        form = Form[TroubleForm](values={f"pocket-{k}": v for k, v in typed.items()}).refused(refusal)
        with db.read() as session:
            shown = recount_page(session, number, form)
        return page(request, "jobs/recount.html", shown, status=409)
    return see_other(f"/jobs/{number}/trouble" if short else f"/jobs/{number}/bench")
