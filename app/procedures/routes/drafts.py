"""HTTP: drafts listed, begun, looked at, downloaded, taken back to an earlier save."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.people.access import Bench, Caller, Posted, Supervisor
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, blank, check
from app.platform.submissions import claim, settle
from app.platform.web import Db, page, see_other
from app.procedures import queries
from app.procedures.actions import beginning
from app.procedures.actions import drafts as actions
from app.procedures.document import ImportRefused, write_document
from app.procedures.files import read_uploads
from app.procedures.forms import BlankDraft, Change, NextDraft, Settle, TakeBack
from app.procedures.pages import drafts as pages
from app.procedures.queries import drafts
from app.procedures.routes.draft_change import DraftId, address, change, draft_page

router = APIRouter(include_in_schema=False)


@router.get("/procedures/drafts")
def list_drafts(request: Request, db: Db, _caller: Bench) -> Response:
    """Show all drafts and how to begin one."""
    return _list(request, db)


def _list(request: Request, db: Database, status: int = 200, **forms: Any) -> Response:
    given = {name: forms.get(name) or blank() for name in ("blank_form", "next_form", "file_form")}
    with db.read() as session:
        shown = pages.drafts_page(session, **given, problems=forms.get("problems", ()))
    return page(request, "procedures/edit/list.html", shown, status=status)


def _begin(
    request: Request,
    db: Database,
    caller: Caller,
    raw: RawForm,
    name: str,
    form: Form[Any],
    act: Callable[[Session, datetime], int],
) -> Response:
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            draft_id = act(session, at)
            settle(session, key, address(draft_id))
    except ImportRefused as refusal:
        problems = refusal.problems
        return _list(request, db, 422, problems=problems, **{name: form.refused(Refused("No draft was begun."))})
    except Refused as refusal:
        return _list(request, db, 409, **{name: form.refused(refusal)})
    return see_other(address(draft_id))


@router.post("/procedures/drafts/blank")
def begin_blank(request: Request, db: Db, caller: Supervisor, raw: Posted) -> Response:
    """Begin a draft with nothing but its title and device model."""
    form = check(BlankDraft, raw)
    if form.data is None:
        return _list(request, db, 422, blank_form=form)
    data = form.data
    return _begin(
        request, db, caller, raw, "blank_form", form,
        lambda session, at: beginning.begin_blank(
            session, data.title, data.device_model, caller.name, who=caller.person_id, at=at
        ),
    )  # fmt: skip


@router.post("/procedures/drafts/next")
def begin_next(request: Request, db: Db, caller: Supervisor, raw: Posted) -> Response:
    """Begin the next revision of a published one."""
    form = check(NextDraft, raw)
    if form.data is None:
        return _list(request, db, 422, next_form=form)
    revision = form.data.revision
    return _begin(
        request, db, caller, raw, "next_form", form,
        lambda session, at: actions.next_revision(session, revision, who=caller.person_id, at=at),
    )  # fmt: skip


@router.post("/procedures/drafts/file")
def begin_from_file(request: Request, db: Db, caller: Supervisor, raw: Posted) -> Response:
    """Begin a draft from a procedure file; it may have gaps, but must have the shape of one."""
    try:
        files = read_uploads([*raw.files.get("files", ()), *raw.files.get("drawings", ())])
        if len(files) > 1:
            raise Refused("Choose one procedure file; each draft is begun by itself.")
    except ImportRefused as refusal:
        form: Form[Any] = blank().refused(Refused("No draft was begun."))
        return _list(request, db, 422, file_form=form, problems=refusal.problems)
    except Refused as refusal:
        return _list(request, db, 422, file_form=blank().refused(refusal))
    return _begin(
        request, db, caller, raw, "file_form", blank(),
        lambda session, at: beginning.begin_from_file(session, files[0], who=caller.person_id, at=at),
    )  # fmt: skip


@router.get("/procedures/drafts/{draft_id}.yaml")
def download_draft(db: Db, _caller: Bench, draft_id: DraftId) -> Response:
    """Answer with a draft as a procedure file, gaps and all."""
    with db.read() as session:
        found = drafts.draft(session, draft_id)
        newest = queries.newest_revision(session, str(found.document.get("code") or ""))
    number = newest.number + 1 if newest else 1
    headers = {"content-disposition": f'attachment; filename="draft-{draft_id}.yaml"'}
    return Response(write_document(found.document, number), media_type="application/yaml", headers=headers)


@router.get("/procedures/drafts/{draft_id}")
def show_draft(request: Request, db: Db, caller: Bench, draft_id: DraftId) -> Response:
    """Show a draft: what is to be mended, its steps, what may be done next."""
    return draft_page(request, db, caller, draft_id, blank())


@router.get("/procedures/drafts/{draft_id}/read")
def read_draft(request: Request, db: Db, caller: Bench, draft_id: DraftId) -> Response:
    """Show a sound draft as it will be read when it is published."""
    try:
        with db.read() as session:
            shown = pages.reading_page(session, draft_id)
    except Refused as refusal:
        return draft_page(request, db, caller, draft_id, blank().refused(refusal), 409)
    return page(request, "procedures/edit/read.html", shown)


def _simply(
    request: Request, db: Database, caller: Caller, raw: RawForm, draft_id: int,
    act: Callable[[Session, int, datetime], None],
) -> Response:  # fmt: skip
    """Do a change that needs only the version shown."""

    def done(session: Session, data: Change, at: datetime) -> str:
        act(session, data.version, at)
        return address(draft_id)

    return change(request, db, caller, raw, draft_id, Change, done)


@router.post("/procedures/drafts/{draft_id}/take-back")
def take_back_to(request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId) -> Response:
    """Make a draft again what it was at an earlier save."""

    def done(session: Session, data: TakeBack, at: datetime) -> str:
        actions.take_back_to(session, draft_id, data.version, data.to, who=caller.person_id, at=at)
        return address(draft_id)

    return change(request, db, caller, raw, draft_id, TakeBack, done)


@router.post("/procedures/drafts/{draft_id}/asked/{number}")
def settle_question(
    request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId, number: int
) -> Response:
    """Mark an open question as settled, or open it again."""

    def done(session: Session, data: Settle, _at: datetime) -> str:
        actions.settle_question(session, draft_id, data.version, number, data.done)
        return f"{address(draft_id, data.step)}#asked"

    return change(request, db, caller, raw, draft_id, Settle, done)


@router.post("/procedures/drafts/{draft_id}/newest")
def build_on_newest(request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId) -> Response:
    """Say that a draft builds on the newest revision now."""
    return _simply(
        request, db, caller, raw, draft_id,
        lambda s, version, at: actions.build_on_newest(s, draft_id, version, who=caller.person_id, at=at),
    )  # fmt: skip


@router.post("/procedures/drafts/{draft_id}/drop")
def drop_draft(request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId) -> Response:
    """Put a draft away."""
    return _simply(request, db, caller, raw, draft_id, lambda s, version, _at: actions.drop_draft(s, draft_id, version))


@router.post("/procedures/drafts/{draft_id}/take-up")
def take_up(request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId) -> Response:
    """Take up a dropped draft again."""
    return _simply(request, db, caller, raw, draft_id, lambda s, version, _at: actions.take_up(s, draft_id, version))
