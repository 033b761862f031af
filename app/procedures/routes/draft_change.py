"""What all changes of a draft share: done once, told in words when refused or when somebody else was quicker."""

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Any, TypeVar

from fastapi import Path, Request
from fastapi.responses import Response
from pydantic import BaseModel
from sqlmodel import Session

from app.people.access import Caller
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused, Stale
from app.platform.forms import Form, RawForm, blank, check
from app.platform.submissions import claim, settle
from app.platform.web import page, see_other
from app.procedures.pages import drafts as pages

DraftId = Annotated[int, Path(ge=1, le=2_000_000_000)]
StepId = Annotated[str, Path(max_length=60)]
Model = TypeVar("Model", bound=BaseModel)
Act = Callable[[Session, datetime], str]
"""Does the change and returns the address that shows it."""


def address(draft_id: int, step_id: str = "") -> str:
    """Return the address of a draft, or of one of its steps."""
    return f"/procedures/drafts/{draft_id}" + (f"/steps/{step_id}" if step_id else "")


def changed(request: Request, db: Database, caller: Caller, raw: RawForm, draft_id: int, act: Act) -> Response:
    """Do a change of a draft once; a refusal gives the draft's page with the reason, 409."""
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            location = act(session, at)
            settle(session, key, location)
    except Refused as refusal:
        # Only the remarks have a field on the draft's own page; anything else is told on top of it.
        shown = refusal if refusal.field == "remarks" else Refused(refusal.reason)
        return draft_page(request, db, caller, draft_id, typed(raw).refused(shown), 409)
    except Stale as stale:
        return draft_page(request, db, caller, draft_id, typed(raw).refused(told(stale)), 409)
    return see_other(location)


def change(
    request: Request,
    db: Database,
    caller: Caller,
    raw: RawForm,
    draft_id: int,
    model: type[Model],
    act: Callable[[Session, Model, datetime], str],
) -> Response:
    """Check a posted form and do its change; what is wrong, refused or stale gives the draft's page with the reason."""
    form = check(model, raw)
    if form.data is None:
        return wrong(request, db, caller, draft_id, form)
    data = form.data
    return changed(request, db, caller, raw, draft_id, lambda session, at: act(session, data, at))


def typed(raw: RawForm) -> Form[Any]:
    """Return a small form as it was typed."""
    return blank(**{name: values[-1] for name, values in raw.fields.items() if values})


def told(stale: Stale) -> Refused:
    """Return in words what is new since the page was shown."""
    new = "; ".join(stale.changes) or "It was written to"
    return Refused(f"Somebody wrote to this draft since the page was shown, so nothing was stored. New is: {new}.")


def draft_page(
    request: Request, db: Database, caller: Caller, draft_id: int, form: Form[Any], status: int = 200
) -> Response:
    """Answer with a draft's own page."""
    with db.read() as session:
        shown = pages.draft_page(session, draft_id, caller.person_id, form)
    return page(request, "procedures/edit/draft.html", shown, status=status)


def wrong(request: Request, db: Database, caller: Caller, draft_id: int, form: Form[Any]) -> Response:
    """Answer with a draft's page when what was posted is not in its form."""
    reason = form.refusal or next(iter(form.errors.values()), "Send the form again.")
    return draft_page(request, db, caller, draft_id, form.refused(Refused(reason)), 422)
