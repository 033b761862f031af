"""HTTP: how a part is kept, and the opening of its lots."""

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import BaseModel, Field
from sqlmodel import Session

from app.people.access import Caller, Posted, Stores
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, check
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other
from app.stores import actions
from app.stores.forms import Text
from app.stores.pages.common import workshop_day
from app.stores.pages.keeping import keeping_page

router = APIRouter(include_in_schema=False)


class KeepingForm(BaseModel):
    """How a part is kept."""

    open_life_days: Annotated[int | None, Field(ge=1, le=3660)] = None
    storage: Annotated[Text, Field(max_length=120)] = ""


@router.get("/parts/{number}/keeping")
def show_keeping(request: Request, db: Db, settings: SiteSettings, _caller: Stores, number: str) -> Response:
    """Show how a part is kept and which of its lots are open."""
    return _show(request, db, settings, number, None)


def _show(
    request: Request, db: Database, settings: Settings, number: str, form: Form[Any] | None, status: int = 200
) -> Response:
    with db.read() as session:
        context = keeping_page(session, number, workshop_day(settings), form)
    return page(request, "stores/keeping.html", context, status=status)


def _act(
    request: Request,
    db: Database,
    settings: Settings,
    caller: Caller,
    raw: RawForm,
    number: str,
    form: Form[Any] | None,
    act: Callable[[Session, datetime], None],
) -> Response:
    at = clock.now()
    there = f"/parts/{number}/keeping"
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            act(session, at)
            settle(session, key, there)
    except Refused as refusal:
        shown = form.refused(refusal) if form else Form(refusal=refusal.reason)
        return _show(request, db, settings, number, shown, 409)
    return see_other(there)


@router.post("/parts/{number}/keeping")
def save_keeping(
    request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, number: str
) -> Response:
    """Set the open life and the storage note."""
    form = check(KeepingForm, raw)
    data = form.data
    if data is None:
        return _show(request, db, settings, number, form, 422)

    def act(session: Session, _at: datetime) -> None:
        actions.save_keeping(session, number, data.open_life_days, data.storage)

    return _act(request, db, settings, caller, raw, number, form, act)


@router.post("/parts/{number}/lots/{lot_id}/open")
def open_lot(
    request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, number: str, lot_id: int
) -> Response:
    """Note that a lot was opened."""

    def act(session: Session, at: datetime) -> None:
        actions.open_lot(session, lot_id, at=at, who=caller.person_id, today=workshop_day(settings, at))

    return _act(request, db, settings, caller, raw, number, None, act)
