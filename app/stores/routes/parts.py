"""HTTP: the parts list, a part, its card, and the catalogue import."""

from dataclasses import replace
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Everybody, Posted, Stores
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, blank, check
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other
from app.stores import actions
from app.stores.actions import PartData
from app.stores.forms import (
    CatalogueLocation,
    CataloguePart,
    CatalogueSupplier,
    ImportForm,
    ImportReport,
    PartForm,
    read_csv,
)
from app.stores.pages.common import workshop_day
from app.stores.pages.parts import (
    ImportPage,
    load_part,
    part_form_page,
    part_page,
    parts_page,
)

router = APIRouter(include_in_schema=False)

COLUMNS = {
    "parts": tuple(CataloguePart.model_fields),
    "suppliers": tuple(CatalogueSupplier.model_fields),
    "locations": tuple(CatalogueLocation.model_fields),
}


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


@router.get("/parts/import")
def show_import(request: Request, _caller: Stores, done: str = "", kind: str = "parts") -> Response:
    """Show the import form."""
    return page(request, "stores/import.html", ImportPage(blank(kind=kind), None, COLUMNS, done))


@router.post("/parts/import")
def run_import(request: Request, db: Db, caller: Stores, raw: Posted) -> Response:
    """Show what an import would do; or do it, when that is what the button said and nothing is wrong."""
    uploads = raw.files.get("file", ())
    try:
        text = uploads[-1].body.decode("utf-8-sig") if uploads else raw.get("text")
    except UnicodeDecodeError:
        form = check(ImportForm, raw).wrong("file", "The file is not UTF-8 text. Save it as CSV in UTF-8.")
        return _import_page(request, form, None, 422)
    form = check(ImportForm, RawForm({**raw.fields, "text": (text,)}))
    if form.data is None:
        return _import_page(request, form, None, 422)
    store = raw.get("do") == "import"
    at = clock.now()
    try:
        rows = {form.data.kind: read_csv(form.data.text)}
        args = [rows.get(kind, []) for kind in ("suppliers", "locations", "parts")]
        if not store:
            with db.read() as session:
                report = actions.import_catalogue(session, *args, at=at, who=caller.person_id, dry_run=True)
            return _import_page(request, form, report, 422 if report.errors else 200)
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            report = actions.import_catalogue(session, *args, entry_id=key, at=at, who=caller.person_id)
            if report.errors:
                raise Refused("Something changed since the check: there are errors now. Nothing was stored.")
            done = f"{len(report.added)}-{len(report.changed)}-{report.same}"
            settle(session, key, f"/parts/import?kind={form.data.kind}&done={done}")
    except Refused as refusal:
        return _import_page(request, form.refused(refusal), None, 422)
    return see_other(f"/parts/import?kind={form.values['kind']}&done={done}")


def _import_page(request: Request, form: Form[Any], report: ImportReport | None, status: int) -> Response:
    return page(request, "stores/import.html", ImportPage(form, report, COLUMNS, ""), status=status)


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
