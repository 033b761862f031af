"""HTTP: recall of a batch, and stopping its use everywhere at once."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.jobs.actions.close import today
from app.jobs.pages.recall import recall_page
from app.people.access import Caller, Everybody, Posted, Stores
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, blank
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other
from app.stores import actions as stores

router = APIRouter(include_in_schema=False)


@router.get("/stores/recall")
def show_recall(
    request: Request, db: Db, settings: SiteSettings, caller: Everybody, q: str = "", lot: int | None = None
) -> Response:
    """Show what a search finds, or where one lot went; it prints as a sheet."""
    return _show(request, db, settings, caller, q.strip(), lot, blank())


def _show(
    request: Request,
    db: Database,
    settings: Settings,
    caller: Caller,
    asked: str,
    lot: int | None,
    act: Form[Any],
    status: int = 200,
) -> Response:
    with db.read() as session:
        found = recall_page(session, asked, lot, caller.role.value, today(clock.now(), settings), act)
    return page(request, "jobs/recall.html", found, status=status)


@router.post("/stores/recall/{lot_id}/stop")
def stop_use(request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, lot_id: int) -> Response:
    """Stop the use of a lot with a reason: it is set aside at all places in one go."""
    return _act(request, db, settings, caller, raw, lot_id, stop=True)


@router.post("/stores/recall/{lot_id}/release")
def release(request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, lot_id: int) -> Response:
    """Let a lot that was set aside be used again, with the reason."""
    return _act(request, db, settings, caller, raw, lot_id, stop=False)


def _act(
    request: Request, db: Database, settings: Settings, caller: Caller, raw: RawForm, lot_id: int, *, stop: bool
) -> Response:
    at = clock.now()
    form: Form[Any] = Form(values={"reason": raw.get("reason")})
    there = f"/stores/recall?lot={lot_id}"
    act = stores.quarantine_lot if stop else stores.release_lot
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            act(session, lot_id, raw.get("reason"), at=at, who=caller.person_id)
            settle(session, key, there)
    except Refused as refusal:
        return _show(request, db, settings, caller, "", lot_id, form.refused(refusal), 409)
    return see_other(there)
