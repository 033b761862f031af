"""HTTP: the fault table of a device model, and its ease of repair."""

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from app.people.access import Everybody, Posted, Supervisor
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, blank
from app.platform.submissions import claim, settle
from app.platform.web import Db, page, see_other
from app.procedures import queries
from app.procedures.actions.facts import keep_facts
from app.procedures.actions.faults import keep_fault, remove_fault
from app.procedures.pages import ease, faults

router = APIRouter(include_in_schema=False)
Code = Annotated[str, Path(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=48)]


@router.get("/procedures/{code}/faults")
def show_faults(request: Request, db: Db, _caller: Supervisor, code: Code, edit: str = "") -> Response:
    """Show the fault table; ``edit`` opens one of its faults."""
    return _faults_page(request, db, code, blank(), edit)


def _faults_page(
    request: Request, db: Database, code: str, form: Form[Any], editing: str = "", status: int = 200
) -> Response:
    with db.read() as session:
        shown = faults.faults_page(session, code, form, editing)
    return page(request, "procedures/faults.html", shown, status=status)


@router.post("/procedures/{code}/faults")
def change_faults(request: Request, db: Db, caller: Supervisor, raw: Posted, code: Code) -> Response:
    """Add a fault to the table, or change one."""
    form: Form[Any] = Form(values={k: v[-1] for k, v in raw.fields.items() if v}, lists=dict(raw.fields))
    words, editing = " ".join(raw.get("words").split()), raw.get("fault")
    if not words or len(words) > 120:
        message = "Fill this in." if not words else "At most 120 characters; shorten this."
        return _faults_page(request, db, code, form.wrong("words", message), editing, status=422)
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, clock.now())
            info = faults.newest(session, code)
            known = [unit for unit, _name in faults.reachable(queries.sheet(session, info.id))]
            keep_fault(session, info.device_model_id, editing, words, _units(raw), known)
            settle(session, key, f"/procedures/{code}/faults")
    except Refused as refusal:
        return _faults_page(request, db, code, form.refused(refusal), editing, status=409)
    return see_other(f"/procedures/{code}/faults")


def _units(raw: RawForm) -> list[str]:
    """Return the chosen units, the one named as the first one first."""
    chosen, first = [unit for unit in raw.all("units") if unit], raw.get("first")
    return [first, *(unit for unit in chosen if unit != first)] if first else chosen


@router.post("/procedures/{code}/faults/{fault}/remove")
def take_fault_out(db: Db, caller: Supervisor, raw: Posted, code: Code, fault: Code) -> Response:
    """Take a fault out of the table."""
    with db.write() as session:
        key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, clock.now())
        remove_fault(session, faults.newest(session, code).device_model_id, fault)
        settle(session, key, f"/procedures/{code}/faults")
    return see_other(f"/procedures/{code}/faults")


@router.get("/procedures/{code}/ease")
def show_ease(request: Request, db: Db, _caller: Everybody, code: Code) -> Response:
    """Show how easy the device is to repair."""
    with db.read() as session:
        shown = ease.ease_page(session, code)
    return page(request, "procedures/ease.html", shown)


@router.post("/procedures/{code}/ease")
def enter_facts(request: Request, db: Db, caller: Supervisor, raw: Posted, code: Code) -> Response:
    """Enter the facts that the procedure cannot know."""
    values = {name: raw.get(name) for name in raw.fields}
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            info = faults.newest(session, code)
            found = ease.read_facts(queries.sheet(session, info.id), values)
            version = int(raw.get("version")) if raw.get("version").isdigit() else 0
            address = f"/procedures/{code}/ease"
            keep_facts(session, info.procedure_id, version, found, address, at=at, who=caller.person_id)
            settle(session, key, address)
    except Refused as refusal:
        form: Form[Any] = Form(values=values).refused(refusal)
        with db.read() as session:
            shown = ease.ease_page(session, code, form)
        return page(request, "procedures/ease.html", shown, status=409)
    return see_other(f"/procedures/{code}/ease")
