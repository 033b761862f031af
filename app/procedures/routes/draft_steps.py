"""HTTP: a draft's steps added, moved, split, merged, taken out; their order loosened; their pictures."""

from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.people.access import Caller, Posted, Supervisor
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import RawForm, Upload, blank, check
from app.platform.settings import Settings
from app.platform.web import Db, SiteSettings, page, see_other
from app.procedures.actions import draft_steps as actions
from app.procedures.actions.media import store_picture
from app.procedures.forms import AddStep, Change, MoveStep, OtherStep, Picture, SplitStep
from app.procedures.pages import draft_step as pages
from app.procedures.routes.draft_change import DraftId, StepId, address, change, changed, draft_page, wrong
from app.rules.draft_steps import Split

router = APIRouter(include_in_schema=False)


@router.post("/procedures/drafts/{draft_id}/steps")
def add_step(request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId) -> Response:
    """Add a step and go to it."""

    def done(session: Session, data: AddStep, at: datetime) -> str:
        step = actions.add_step(session, draft_id, data.version, data.after or None, who=caller.person_id, at=at)
        return address(draft_id, step)

    return change(request, db, caller, raw, draft_id, AddStep, done)


@router.post("/procedures/drafts/{draft_id}/chain")
def chain_steps(request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId) -> Response:
    """Let every step wait for the one before it."""

    def done(session: Session, data: Change, at: datetime) -> str:
        actions.chain_steps(session, draft_id, data.version, who=caller.person_id, at=at)
        return f"{address(draft_id)}#precedence"

    return change(request, db, caller, raw, draft_id, Change, done)


@router.post("/procedures/drafts/{draft_id}/steps/{step_id}/move")
def move_step(
    request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId, step_id: StepId
) -> Response:
    """Move a step up or down in the list."""

    def done(session: Session, data: MoveStep, at: datetime) -> str:
        actions.move_step(session, draft_id, data.version, step_id, data.by, who=caller.person_id, at=at)
        return f"{address(draft_id)}#step-{step_id}"

    return change(request, db, caller, raw, draft_id, MoveStep, done)


@router.post("/procedures/drafts/{draft_id}/steps/{step_id}/remove")
def remove_step(
    request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId, step_id: StepId
) -> Response:
    """Take a step out; the list says how to take that back."""

    def done(session: Session, data: Change, at: datetime) -> str:
        actions.remove_step(session, draft_id, data.version, step_id, who=caller.person_id, at=at)
        return address(draft_id)

    return change(request, db, caller, raw, draft_id, Change, done)


@router.post("/procedures/drafts/{draft_id}/steps/{step_id}/merge")
def merge_steps(
    request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId, step_id: StepId
) -> Response:
    """Make one step of two and go to it."""

    def done(session: Session, data: OtherStep, at: datetime) -> str:
        step = actions.merge_steps(session, draft_id, data.version, step_id, data.other, who=caller.person_id, at=at)
        return address(draft_id, step)

    return change(request, db, caller, raw, draft_id, OtherStep, done)


@router.post("/procedures/drafts/{draft_id}/steps/{step_id}/loosen")
def loosen(request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId, step_id: StepId) -> Response:
    """Let a step wait for what another waits for instead of for that one."""

    def done(session: Session, data: OtherStep, at: datetime) -> str:
        actions.loosen(session, draft_id, data.version, step_id, data.other, who=caller.person_id, at=at)
        return address(draft_id, step_id)

    return change(request, db, caller, raw, draft_id, OtherStep, done)


@router.get("/procedures/drafts/{draft_id}/steps/{step_id}/split")
def show_split(request: Request, db: Db, _caller: Supervisor, draft_id: DraftId, step_id: StepId) -> Response:
    """Show the form that makes two steps of one."""
    try:
        with db.read() as session:
            shown = pages.split_page(session, draft_id, step_id)
    except Refused:
        return see_other(address(draft_id))
    return page(request, "procedures/edit/split.html", shown)


@router.post("/procedures/drafts/{draft_id}/steps/{step_id}/split")
def split_step(
    request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId, step_id: StepId
) -> Response:
    """Make two steps of one and go to the second."""
    form = check(SplitStep, raw)
    for name, message in (("title", "Give the first step a title."), ("second_title", "Give the second one a title.")):
        if not raw.get(name):
            form = form.wrong(name, message)
    if form.data is None:
        with db.read() as session:
            shown = pages.split_page(session, draft_id, step_id, form)
        return page(request, "procedures/edit/split.html", shown, status=422)
    data = form.data
    split = Split(data.title, data.do, data.second_title, data.second_do, data.fixings, data.inspections)

    def done(session: Session, at: datetime) -> str:
        second = actions.split_step(session, draft_id, data.version, step_id, split, who=caller.person_id, at=at)
        return address(draft_id, second)

    return changed(request, db, caller, raw, draft_id, done)


@router.post("/procedures/drafts/{draft_id}/picture")
def set_overview(
    request: Request, db: Db, settings: SiteSettings, caller: Supervisor, raw: Posted, draft_id: DraftId
) -> Response:
    """Give the procedure an overview picture, or take it out."""
    return _picture(request, db, settings, caller, raw, draft_id, "", f"{address(draft_id)}/head#picture")


@router.post("/procedures/drafts/{draft_id}/steps/{step_id}/picture")
def set_picture(
    request: Request,
    db: Db,
    settings: SiteSettings,
    caller: Supervisor,
    raw: Posted,
    draft_id: DraftId,
    step_id: StepId,
) -> Response:
    """Give a step a picture, or take it out."""
    to = f"{address(draft_id, step_id)}#picture"
    return _picture(request, db, settings, caller, raw, draft_id, step_id, to)


def _picture(
    request: Request,
    db: Database,
    settings: Settings,
    caller: Caller,
    raw: RawForm,
    draft_id: int,
    step_id: str,
    to: str,
) -> Response:
    form = check(Picture, raw)
    if form.data is None:
        return wrong(request, db, caller, draft_id, form)
    data, upload = form.data, next(iter(raw.files.get("picture", ())), None)
    photo = None
    try:
        if not data.remove and upload is None:
            raise Refused("Choose a picture first.")
        if upload is not None and not is_drawing(upload):
            # Slow work on a stranger's bytes, and a file to write: done before the transaction.
            photo = store_picture(settings, upload)
    except Refused as refusal:
        return draft_page(request, db, caller, draft_id, blank().refused(Refused(refusal.reason)), 409)

    def done(session: Session, at: datetime) -> str:
        kept = None
        if photo is not None and upload is not None:
            kept = actions.keep_photo(session, *photo, upload.filename, who=caller.person_id, at=at)
        elif upload is not None and not data.remove:
            kept = actions.keep_drawing(session, upload)
        actions.set_picture(session, draft_id, data.version, step_id, kept, who=caller.person_id, at=at)
        return to

    return changed(request, db, caller, raw, draft_id, done)


def is_drawing(upload: Upload) -> bool:
    """Whether an upload is meant as a line drawing: by its name, or because it begins like one."""
    return upload.filename.lower().endswith(".svg") or upload.body.lstrip()[:5] in (b"<?xml", b"<svg ", b"<!DOC")
