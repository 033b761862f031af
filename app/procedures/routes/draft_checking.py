"""HTTP: a draft sent to a second person, taken back, sent back with remarks, or published."""

from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.people.access import Posted, Supervisor
from app.platform.web import Db
from app.procedures.actions import drafts as actions
from app.procedures.forms import Change, Remarks
from app.procedures.routes.draft_change import DraftId, address, change
from app.stores import queries as stores

router = APIRouter(include_in_schema=False)


@router.post("/procedures/drafts/{draft_id}/send")
def send(request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId) -> Response:
    """Send a sound draft to be checked."""

    def done(session: Session, data: Change, at: datetime) -> str:
        parts = stores.known_numbers(session)
        actions.send_to_check(session, draft_id, data.version, parts, who=caller.person_id, at=at)
        return address(draft_id)

    return change(request, db, caller, raw, draft_id, Change, done)


@router.post("/procedures/drafts/{draft_id}/recall")
def recall(request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId) -> Response:
    """Take a draft back from its checker to write on."""

    def done(session: Session, data: Change, _at: datetime) -> str:
        actions.take_back(session, draft_id, data.version)
        return address(draft_id)

    return change(request, db, caller, raw, draft_id, Change, done)


@router.post("/procedures/drafts/{draft_id}/send-back")
def send_back(request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId) -> Response:
    """Send a draft back to its writer with remarks."""

    def done(session: Session, data: Remarks, at: datetime) -> str:
        actions.send_back(session, draft_id, data.version, data.remarks, who=caller.person_id, at=at)
        return address(draft_id)

    return change(request, db, caller, raw, draft_id, Remarks, done)


@router.post("/procedures/drafts/{draft_id}/publish")
def publish(request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId) -> Response:
    """Publish a checked draft: it becomes the next revision and never changes again."""

    def done(session: Session, data: Change, at: datetime) -> str:
        parts = stores.known_numbers(session)
        made = actions.publish_draft(session, draft_id, data.version, parts, who=caller.person_id, at=at)
        return f"/procedures/{made.code}/{made.revision}"

    return change(request, db, caller, raw, draft_id, Change, done)
