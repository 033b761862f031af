"""HTTP: what is done to the stock of one part: receive without an order, scrap, transfer."""

from collections.abc import Callable
from datetime import datetime
from typing import Any, TypeVar

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import BaseModel
from sqlmodel import Session

from app.people.access import Caller, Posted, Stores
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, blank, check
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, get_settings, page, see_other
from app.rules.money import short_price
from app.stores import actions
from app.stores.forms import LooseForm, ScrapForm, TransferForm
from app.stores.pages.common import workshop_day
from app.stores.pages.parts import load_part, lot_form_page

router = APIRouter(include_in_schema=False)
M = TypeVar("M", bound=BaseModel)


def _show(request: Request, db: Database, template: str, form: Form[Any], number: str, status: int = 200) -> Response:
    with db.read() as session:
        context = lot_form_page(session, form, number, workshop_day(get_settings(request)))
    return page(request, f"stores/{template}.html", context, status=status)


def _post(
    request: Request,
    db: Database,
    caller: Caller,
    raw: RawForm,
    number: str,
    template: str,
    model: type[M],
    act: Callable[[Session, M, str, datetime], object],
) -> Response:
    """Check a form, do what it says in one transaction, and show the part; or the form with what is wrong."""
    form = check(model, raw)
    if form.data is None:
        return _show(request, db, template, form, number, 422)
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            act(session, form.data, key, at)
            settle(session, key, f"/parts/{number}")
    except Refused as refusal:
        return _show(request, db, template, form.refused(refusal), number, 409)
    return see_other(f"/parts/{number}")


@router.get("/parts/{number}/receive")
def show_receive(request: Request, db: Db, _caller: Stores, number: str) -> Response:
    """Show the form for goods without an order."""
    with db.read() as session:
        part = load_part(session, number)
    return _show(request, db, "receive_loose", blank(unit_cost=short_price(part.price), location=part.location), number)


@router.post("/parts/{number}/receive")
def receive(request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, number: str) -> Response:
    """Receive goods without an order."""

    def act(session: Session, data: LooseForm, key: str, at: datetime) -> None:
        actions.receive_loose(
            session, number, data.lot_code, data.expires_on, data.quantity, data.unit_cost, data.location,
            data.reason, entry_id=key, at=at, who=caller.person_id, today=workshop_day(settings, at),
        )  # fmt: skip

    return _post(request, db, caller, raw, number, "receive_loose", LooseForm, act)


@router.get("/parts/{number}/scrap")
def show_scrap(request: Request, db: Db, _caller: Stores, number: str, place: str = "") -> Response:
    """Show the form that scraps stock on the shelf."""
    return _show(request, db, "scrap", blank(place=place), number)


@router.post("/parts/{number}/scrap")
def scrap(request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, number: str) -> Response:
    """Scrap stock on the shelf; promises that it carried fall, the newest first."""

    def act(session: Session, data: ScrapForm, key: str, at: datetime) -> None:
        actions.scrap_stock(
            session, data.lot_id, data.location_id, data.quantity, data.reason,
            entry_id=key, at=at, who=caller.person_id, today=workshop_day(settings, at),
        )  # fmt: skip

    return _post(request, db, caller, raw, number, "scrap", ScrapForm, act)


@router.get("/parts/{number}/transfer")
def show_transfer(request: Request, db: Db, _caller: Stores, number: str) -> Response:
    """Show the form that moves stock to another place."""
    return _show(request, db, "transfer", blank(), number)


@router.post("/parts/{number}/transfer")
def transfer(request: Request, db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Move stock to another place."""

    def act(session: Session, data: TransferForm, key: str, at: datetime) -> None:
        actions.transfer(
            session, data.lot_id, data.location_id, data.to_location, data.quantity,
            entry_id=key, at=at, who=caller.person_id,
        )  # fmt: skip

    return _post(request, db, caller, raw, number, "transfer", TransferForm, act)
