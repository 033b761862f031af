"""HTTP: the heading, the release tests and the steps of a draft, each a form that saves itself while it is written."""

from collections.abc import Callable
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.people.access import Bench, Caller, Posted, Supervisor
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused, Stale
from app.platform.forms import RawForm, check
from app.platform.submissions import claim, settle
from app.platform.web import Db, is_partial, page, see_other
from app.procedures.actions import draft_steps as actions
from app.procedures.forms import Change
from app.procedures.pages import draft_step as pages
from app.procedures.pages.draft_step import HEAD_FIELDS, STEP_FIELDS, TEST_FIELDS, PartPage, typed
from app.procedures.routes.draft_change import DraftId, StepId, address
from app.stores import queries as stores

router = APIRouter(include_in_schema=False)
More = Annotated[str, Query(max_length=30)]
TEMPLATES = {"head": "procedures/edit/head.html", "tests": "procedures/edit/tests.html"}
STEP = "procedures/edit/step.html"
# Where the block stands that an autosave is answered with; the pages above build on it.
FRAME = "procedures/edit/_form.html"


@router.get("/procedures/drafts/parts")
def find_parts(request: Request, db: Db, _caller: Bench) -> Response:
    """Answer with parts as choices of a list, found by whatever part field is being typed in."""
    text = next((v for k, v in request.query_params.items() if k == "q" or k.endswith("part")), "")
    with db.read() as session:
        found = stores.search_parts(session, text, 12) if text.strip() else ()
    return page(request, "procedures/edit/parts.html", found)


@router.get("/procedures/drafts/{draft_id}/head")
def show_head(request: Request, db: Db, _caller: Bench, draft_id: DraftId, more: More = "") -> Response:
    """Show the heading of a draft."""
    return _part(request, db, draft_id, "head", more)


@router.get("/procedures/drafts/{draft_id}/tests")
def show_tests(request: Request, db: Db, _caller: Bench, draft_id: DraftId, more: More = "") -> Response:
    """Show the release tests of a draft."""
    return _part(request, db, draft_id, "tests", more)


def _part(request: Request, db: Database, draft_id: int, part: str, more: str) -> Response:
    with db.read() as session:
        shown = pages.head_page(session, draft_id, part, more)
    return page(request, FRAME if is_partial(request) else TEMPLATES[part], shown, fragment="saved")


@router.get("/procedures/drafts/{draft_id}/steps/{step_id}")
def show_step(
    request: Request,
    db: Db,
    _caller: Bench,
    draft_id: DraftId,
    step_id: StepId,
    more: More = "",
    search: Annotated[str, Query(max_length=80)] = "",
) -> Response:
    """Show one step of a draft."""
    try:
        with db.read() as session:
            shown = pages.step_page(session, draft_id, step_id, more=more, search=search)
    except Refused:
        # It was taken out or got its lasting id meanwhile; the list has it under its own.
        return see_other(address(draft_id))
    return page(request, FRAME if is_partial(request) else STEP, shown, fragment="saved")


@router.post("/procedures/drafts/{draft_id}/head")
def save_head(request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId) -> Response:
    """Keep the heading of a draft."""
    return _save_part(request, db, caller, raw, draft_id, "head")


@router.post("/procedures/drafts/{draft_id}/tests")
def save_tests(request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId) -> Response:
    """Keep the release tests of a draft."""
    return _save_part(request, db, caller, raw, draft_id, "tests")


def _save_part(request: Request, db: Database, caller: Caller, raw: RawForm, draft_id: int, part: str) -> Response:
    fields = HEAD_FIELDS if part == "head" else TEST_FIELDS

    def save(session: Session, version: int, at: datetime) -> str:
        actions.save_part(
            session, draft_id, version, part, raw, fields, settle=not is_partial(request), who=caller.person_id, at=at
        )
        return f"{address(draft_id)}/{part}"

    def show(session: Session, changes: tuple[str, ...] | None) -> PartPage:
        if changes is None:
            return pages.head_page(session, draft_id, part)
        return pages.head_page(session, draft_id, part, form=typed(raw), changes=changes)

    return _save(request, db, caller, raw, TEMPLATES[part], save, show)


@router.post("/procedures/drafts/{draft_id}/steps/{step_id}")
def save_step(
    request: Request, db: Db, caller: Supervisor, raw: Posted, draft_id: DraftId, step_id: StepId
) -> Response:
    """Keep one step of a draft."""

    def save(session: Session, version: int, at: datetime) -> str:
        _version, now = actions.save_step(
            session, draft_id, version, step_id, raw, STEP_FIELDS,
            settle=not is_partial(request), who=caller.person_id, at=at,
        )  # fmt: skip
        return address(draft_id, now)

    def show(session: Session, changes: tuple[str, ...] | None) -> PartPage:
        if changes is None:
            return pages.step_page(session, draft_id, step_id)
        return pages.step_page(session, draft_id, step_id, form=typed(raw), changes=changes)

    return _save(request, db, caller, raw, STEP, save, show)


def _save(
    request: Request, db: Database, caller: Caller, raw: RawForm, template: str,
    save: Callable[[Session, int, datetime], str],
    show: Callable[[Session, tuple[str, ...] | None], PartPage],
) -> Response:  # fmt: skip
    """Save a form: while it is being written the answer is the state to show, else the page again or the next one.

    A stale or refused one is answered with the page, what was typed in it, and what is new since.
    """
    at, version = clock.now(), check(Change, raw).data
    if version is None:
        raise Refused("This form has lost its version. Reload the page and write it again.")
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            location = save(session, version.version, at)
            settle(session, key, location)
    except (Refused, Stale) as refusal:
        changes = refusal.changes if isinstance(refusal, Stale) else (refusal.reason,)
        with db.read() as session:
            shown = show(session, changes or ("It was written to",))
        return page(request, template, shown, status=409)
    if is_partial(request):
        with db.read() as session:
            shown = show(session, None)
        return page(request, FRAME, shown, fragment="saved")
    wanted = raw.get("then")
    if wanted == "list":
        return see_other(location.partition("/steps/")[0].removesuffix("/head").removesuffix("/tests"))
    if wanted in ("units", "cautions", "tools", "release_tests", "hazards", "releases", "inspect", "refit-hazards",
                  "refit-fits", "refit-inspect"):  # fmt: skip
        return see_other(f"{location}?more={wanted}#more-{wanted}")
    return see_other(location)
