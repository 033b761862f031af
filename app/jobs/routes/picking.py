"""HTTP: picking a kit line by line, and bringing back what is not used."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import BaseModel
from sqlmodel import Session

from app.jobs.actions.close import today
from app.jobs.actions.pick_kit import give_back, pick_by_scan, pick_short, put_back
from app.jobs.actions.take_alternate import give_up_alternate, take_alternate
from app.jobs.forms import AlternateForm, BackForm, PairForm, ScanPickForm, ShortPickForm
from app.jobs.routes.kit import show_kit_page
from app.people.access import Caller, Posted, Stores
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import RawForm, blank, check
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, see_other
from app.stores.actions import Pick

router = APIRouter(include_in_schema=False)


def _act(
    request: Request,
    db: Database,
    settings: Settings,
    caller: Caller,
    raw: RawForm,
    number: str,
    name: str,
    model: type[BaseModel],
    act: Callable[[Session, Any, str, datetime, date], None],
) -> Response:
    """Check one of the page's smaller forms, do what it says in one transaction, and show the kit."""
    form = check(model, raw)
    if form.data is None:
        return show_kit_page(request, db, settings, caller, number, blank(), status=422, more={name: form})
    at = clock.now()
    there = f"/jobs/{number}/kit"
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            act(session, form.data, key, at, today(at, settings))
            settle(session, key, there)
    except Refused as refusal:
        shown = form.refused(refusal)
        return show_kit_page(request, db, settings, caller, number, blank(), status=409, more={name: shown})
    return see_other(there)


@router.post("/jobs/{number}/kit/scan")
def scan_line(request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, number: str) -> Response:
    """Confirm a line of the pick list by a label or by what was typed."""

    def act(session: Session, data: ScanPickForm, _key: str, at: datetime, day: date) -> None:
        pick_by_scan(
            session, number, data.code, data.take, any_lot=data.any_lot, at=at, who=caller.person_id, today=day
        )  # fmt: skip

    return _act(request, db, settings, caller, raw, number, "scan", ScanPickForm, act)


@router.post("/jobs/{number}/kit/short")
def short_line(request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, number: str) -> Response:
    """Say that a line was short on the shelf, and why."""

    def act(session: Session, data: ShortPickForm, _key: str, at: datetime, day: date) -> None:
        pick = Pick(data.part, data.lot_id, data.location_id, data.wanted)
        pick_short(session, number, pick, data.found, data.reason, at=at, who=caller.person_id, today=day)

    return _act(request, db, settings, caller, raw, number, "short_form", ShortPickForm, act)


@router.post("/jobs/{number}/kit/picks/{claim_id}/back")
def put_line_back(db: Db, caller: Stores, raw: Posted, number: str, claim_id: int) -> Response:
    """Put a picked line back on the shelf before it is handed out."""
    at = clock.now()
    with db.write() as session:
        key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
        put_back(session, number, claim_id, at=at, who=caller.person_id)
        settle(session, key, f"/jobs/{number}/kit")
    return see_other(f"/jobs/{number}/kit")


@router.post("/jobs/{number}/kit/alternate")
def use_alternate(
    request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, number: str
) -> Response:
    """Let an approved alternate stand in for a part that is short."""

    def act(session: Session, data: AlternateForm, key: str, at: datetime, day: date) -> None:
        wanted, other = data.parts
        take_alternate(
            session, number, wanted, other, data.alternate_quantity, data.alternate_reason,
            at=at, who=caller.person_id, event_id=key, today=day,
        )  # fmt: skip

    return _act(request, db, settings, caller, raw, number, "alternate", AlternateForm, act)


@router.post("/jobs/{number}/kit/alternate/give-up")
def give_up(request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, number: str) -> Response:
    """Go back to the part itself, as far as its alternate is not handed out."""

    def act(session: Session, data: PairForm, key: str, at: datetime, day: date) -> None:
        wanted, other = data.parts
        give_up_alternate(session, number, wanted, other, at=at, who=caller.person_id, event_id=key, today=day)

    return _act(request, db, settings, caller, raw, number, "alternate", PairForm, act)


@router.post("/jobs/{number}/kit/return")
def return_items(
    request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, number: str
) -> Response:
    """Bring pieces that were handed out and not used back to the shelf."""

    def act(session: Session, data: BackForm, key: str, at: datetime, day: date) -> None:
        give_back(
            session, number, data.back_lot, data.back_quantity, data.back_reason, data.serial_list,
            at=at, who=caller.person_id, event_id=key, today=day,
        )  # fmt: skip

    return _act(request, db, settings, caller, raw, number, "back", BackForm, act)
