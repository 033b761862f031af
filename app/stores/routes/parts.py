"""HTTP: the parts list, a part, and its card."""

from dataclasses import replace
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Everybody, Posted, Stores
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, blank, check
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other
from app.rules.money import short_price
from app.stores import actions
from app.stores.actions import PartData
from app.stores.forms import PartForm
from app.stores.pages.common import workshop_day
from app.stores.pages.parts import load_part, part_form_page, part_page, parts_page

router = APIRouter(include_in_schema=False)


@router.get("/parts")
def list_parts(
    request: Request,
    db: Db,
    settings: SiteSettings,
    _caller: Everybody,
    q: str = "",
    supplier: str = "",
    location: str = "",
    show: str = "",
    after: str | None = None,
) -> Response:
    """Show parts by number, searched and filtered."""
    form = blank(q=q, supplier=supplier, location=location, show=show)
    with db.read() as session:
        context = parts_page(session, form, workshop_day(settings), after)
    return page(request, "stores/parts.html", context)


@router.get("/parts/new")
def new_part(request: Request, db: Db, _caller: Stores) -> Response:
    """Show the form of a new part."""
    form = blank(unit="each", pack=1, minimum_order=1, lead_time_days=14, reorder_point=0, order_up_to=0)
    return _part_form(request, db, form, None)


def _part_form(request: Request, db: Database, form: Form[Any], number: str | None, status: int = 200) -> Response:
    with db.read() as session:
        context = part_form_page(session, form, number)
    return page(request, "stores/part_form.html", context, status=status)


def _data(form: PartForm) -> PartData:
    return PartData(**form.model_dump(exclude={"number", "version"}))


@router.post("/parts/new")
def create_part(request: Request, db: Db, caller: Stores, raw: Posted) -> Response:
    """Add a part."""
    form = check(PartForm, raw)
    if not raw.get("number"):
        form = form.wrong("number", "Fill this in.")
    if form.data is None:
        return _part_form(request, db, form, None, 422)
    at = clock.now()
    number = form.data.number
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            data = replace(_data(form.data), active=True)
            actions.add_part(session, number, data, entry_id=key, at=at, who=caller.person_id)
            settle(session, key, f"/parts/{number}")
    except Refused as refusal:
        return _part_form(request, db, form.refused(refusal), None, 409)
    return see_other(f"/parts/{number}")


@router.get("/parts/{number}")
def show_part(
    request: Request,
    db: Db,
    settings: SiteSettings,
    _caller: Everybody,
    number: str,
    after: int | None = None,
) -> Response:
    """Show one part."""
    with db.read() as session:
        context = part_page(session, number, workshop_day(settings), after)
    return page(request, "stores/part.html", context)


@router.get("/parts/{number}/edit")
def edit_part(request: Request, db: Db, _caller: Stores, number: str) -> Response:
    """Show the form that changes a part."""
    with db.read() as session:
        part = load_part(session, number)
    values = {n: getattr(part, n) for n in PartForm.model_fields if n not in ("serial_tracked", "active")}
    values["price"] = short_price(part.price)
    ticks = {n: "yes" if getattr(part, n) else "" for n in ("serial_tracked", "active")}
    return _part_form(request, db, blank(**values, **ticks), number)


@router.post("/parts/{number}/edit")
def change_part(request: Request, db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Change a part."""
    form = check(PartForm, raw)
    if form.data is None:
        return _part_form(request, db, form, number, 422)
    at = clock.now()
    data = form.data
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            actions.edit_part(
                session, number, _data(data), data.version or 0, entry_id=key, at=at, who=caller.person_id
            )
            settle(session, key, f"/parts/{number}")
    except Refused as refusal:
        return _part_form(request, db, form.refused(refusal), number, 409)
    return see_other(f"/parts/{number}")
