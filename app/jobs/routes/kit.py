"""HTTP: the pick list, handing the kit out, trying again to reserve."""

from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import ValidationError

from app.jobs.actions.close import today
from app.jobs.actions.hold import retry_reservations
from app.jobs.actions.issue_kit import hand_out_kit
from app.jobs.forms import PickRow
from app.jobs.pages import kit as pages
from app.jobs.routes.quoting import job_qr
from app.people.access import Caller, Everybody, Posted, Stores
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, blank
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other
from app.stores.actions import Pick

router = APIRouter(include_in_schema=False)
MAX_LINES = 400
_SAY = {
    "quantity": "Enter how many you took, as a whole number.",
    "place": "Choose a lot.",
    "serials": "At most 2000 characters.",
    "part": "This is not a part of the kit.",
}


@router.get("/jobs/{number}/kit")
def show_kit(request: Request, db: Db, settings: SiteSettings, caller: Everybody, number: str) -> Response:
    """Show the pick list of a job and what was handed out."""
    return show_kit_page(request, db, settings, caller, number, blank())


@router.get("/jobs/{number}/kit/list")
def show_pick_list(request: Request, db: Db, settings: SiteSettings, caller: Everybody, number: str) -> Response:
    """Show the pick list as a sheet to print."""
    return show_kit_page(request, db, settings, caller, number, blank(), template="jobs/pick_list.html")


def show_kit_page(
    request: Request,
    db: Database,
    settings: Settings,
    caller: Caller,
    number: str,
    form: Form[Any],
    typed: Sequence[dict[str, str]] = (),
    status: int = 200,
    template: str = "jobs/kit.html",
    more: Mapping[str, Form[Any]] = pages.NO_FORMS,
) -> Response:
    """Show a job's kit, with a form's refusal where there is one; ``more`` are its smaller forms by name."""
    day = today(clock.now(), settings)
    qr = job_qr(request, number) if template == "jobs/pick_list.html" else ""
    with db.read() as session:
        found = pages.kit_page(session, number, form, day, caller.role.value, typed, qr, more)
    return page(request, template, found, status=status)


@router.post("/jobs/{number}/kit")
def hand_out(request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, number: str) -> Response:
    """Hand out what was picked, all of it or a part."""
    typed, picks, form = _read(raw)
    if form.errors:
        return show_kit_page(request, db, settings, caller, number, form, typed, status=422)
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            hand_out_kit(
                session, number, picks, at=at, who=caller.person_id, event_id=key, today=today(at, settings)
            )  # fmt: skip
            settle(session, key, f"/jobs/{number}/kit")
    except Refused as refusal:
        return show_kit_page(request, db, settings, caller, number, form.refused(refusal), typed, status=409)
    return see_other(f"/jobs/{number}/kit")


def _read(raw: RawForm) -> tuple[list[dict[str, str]], list[Pick], Form[Any]]:
    """Read the numbered lines of the pick list; errors are named by the part."""
    typed: list[dict[str, str]] = []
    picks: list[Pick] = []
    form: Form[Any] = blank()
    for n in range(MAX_LINES):
        if f"part-{n}" not in raw.fields:
            break
        given = {name: raw.get(f"{name}-{n}") for name in ("part", "place", "quantity", "serials")}
        typed.append(given)
        try:
            row = PickRow.model_validate({**given, "quantity": given["quantity"] or "0"})
        except ValidationError as error:
            name = str(error.errors()[0]["loc"][0])
            form = form.wrong(f"{name}-{given['part']}", _SAY[name])
            continue
        picks.append(Pick(row.part, row.lot_id, row.location_id, row.quantity, row.serial_list))
    return typed, picks, form


@router.post("/jobs/{number}/kit/reserve")
def reserve_again(db: Db, settings: SiteSettings, caller: Everybody, raw: Posted, number: str) -> Response:
    """Try again to reserve what is short: for all waiting jobs, the oldest first, so that nobody jumps the queue."""
    at = clock.now()
    location = f"/jobs/{number}"
    with db.write() as session:
        key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
        retry_reservations(session, at, caller.person_id, entry_id=key, today=today(at, settings))
        settle(session, key, location)
    return see_other(location)
