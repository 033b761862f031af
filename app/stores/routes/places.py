"""HTTP: suppliers and locations."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Posted, Stores
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import NotFound, Refused
from app.platform.forms import Form, RawForm, blank, check
from app.platform.submissions import claim, settle
from app.platform.web import Db, page, see_other
from app.stores import actions, queries
from app.stores.forms import CatalogueLocation, CatalogueSupplier
from app.stores.pages.stocktakes import PlaceFormPage, PlacesPage

router = APIRouter(include_in_schema=False)


@router.get("/suppliers")
def list_suppliers(request: Request, db: Db, _caller: Stores) -> Response:
    """Show all suppliers."""
    with db.read() as session:
        context = PlacesPage(queries.suppliers(session))
    return page(request, "stores/suppliers.html", context)


@router.get("/suppliers/new")
def new_supplier(request: Request, _caller: Stores) -> Response:
    """Show the form of a new supplier."""
    return _supplier_form(request, blank(), None)


def _supplier_form(request: Request, form: Form[Any], row_id: int | None, status: int = 200) -> Response:
    title = "Add a supplier" if row_id is None else "Change supplier"
    return page(request, "stores/supplier_form.html", PlaceFormPage(form, row_id, title), status=status)


@router.post("/suppliers/new")
def add_supplier(request: Request, db: Db, caller: Stores, raw: Posted) -> Response:
    """Add a supplier."""
    return _save_supplier(request, db, caller.person_id, raw, None)


@router.get("/suppliers/{supplier_id}")
def edit_supplier(request: Request, db: Db, _caller: Stores, supplier_id: int) -> Response:
    """Show the form that changes a supplier."""
    with db.read() as session:
        row = queries.supplier(session, supplier_id)
    if row is None:
        raise NotFound(f"supplier {supplier_id}")
    return _supplier_form(request, blank(code=row.code, name=row.name, email=row.email, address=row.address), row.id)


@router.post("/suppliers/{supplier_id}")
def change_supplier(request: Request, db: Db, caller: Stores, raw: Posted, supplier_id: int) -> Response:
    """Change a supplier."""
    return _save_supplier(request, db, caller.person_id, raw, supplier_id)


def _save_supplier(request: Request, db: Database, who: int, raw: RawForm, supplier_id: int | None) -> Response:
    form = check(CatalogueSupplier, raw)
    if form.data is None:
        return _supplier_form(request, form, supplier_id, 422)
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), who, at)
            values = form.data.model_dump()
            actions.save_supplier(session, supplier_id, **values, entry_id=key, at=at, who=who)
            settle(session, key, "/suppliers")
    except Refused as refusal:
        return _supplier_form(request, form.refused(refusal), supplier_id, 409)
    return see_other("/suppliers")


@router.get("/locations")
def list_locations(request: Request, db: Db, _caller: Stores) -> Response:
    """Show all locations in the order a picker walks."""
    with db.read() as session:
        context = PlacesPage(queries.locations(session))
    return page(request, "stores/locations.html", context)


@router.get("/locations/new")
def new_location(request: Request, _caller: Stores) -> Response:
    """Show the form of a new location."""
    return _location_form(request, blank(walk_order=0), None)


def _location_form(request: Request, form: Form[Any], row_id: int | None, status: int = 200) -> Response:
    title = "Add a place" if row_id is None else "Change place"
    return page(request, "stores/location_form.html", PlaceFormPage(form, row_id, title), status=status)


@router.post("/locations/new")
def add_location(request: Request, db: Db, caller: Stores, raw: Posted) -> Response:
    """Add a location."""
    return _save_location(request, db, caller.person_id, raw, None)


@router.get("/locations/{location_id}")
def edit_location(request: Request, db: Db, _caller: Stores, location_id: int) -> Response:
    """Show the form that changes a location."""
    with db.read() as session:
        row = queries.location(session, location_id)
    if row is None:
        raise NotFound(f"location {location_id}")
    return _location_form(request, blank(code=row.code, name=row.name, walk_order=row.walk_order), row.id)


@router.post("/locations/{location_id}")
def change_location(request: Request, db: Db, caller: Stores, raw: Posted, location_id: int) -> Response:
    """Change a location."""
    return _save_location(request, db, caller.person_id, raw, location_id)


def _save_location(request: Request, db: Database, who: int, raw: RawForm, location_id: int | None) -> Response:
    form = check(CatalogueLocation, raw)
    if form.data is None:
        return _location_form(request, form, location_id, 422)
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), who, at)
            values = form.data.model_dump()
            actions.save_location(session, location_id, **values, entry_id=key, at=at, who=who)
            settle(session, key, "/locations")
    except Refused as refusal:
        return _location_form(request, form.refused(refusal), location_id, 409)
    return see_other("/locations")
