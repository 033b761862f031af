"""HTTP and JSON API: correct the serial or the owner of a booked job."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import BaseModel, Field

from app.jobs.actions.correct_booking import Corrected, correct_booking
from app.jobs.forms import CorrectionForm
from app.jobs.pages.correcting import correction_page
from app.jobs.routes.api import JobBody, get_job
from app.people.access import ApiEverybody, Caller, Everybody, Posted
from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import AlreadyDone, Refused
from app.platform.forms import Form, blank, check
from app.platform.submissions import SubmissionId, claim, settle
from app.platform.web import Db, SiteSettings, page, see_other

router = APIRouter(include_in_schema=False)
api_router = APIRouter(prefix="/api/v1", tags=["jobs"])


@router.get("/jobs/{number}/correct")
def show_correction(request: Request, db: Db, caller: Everybody, number: str) -> Response:
    """Show the form with what is written down now."""
    return _page(request, db, caller, number, blank())


def _page(request: Request, db: Database, caller: Caller, number: str, form: Form[Any], status: int = 200) -> Response:
    with db.read() as session:
        found = correction_page(session, number, form, caller.person_id, caller.role.value)
    return page(request, "jobs/correct.html", found, status=status)


@router.post("/jobs/{number}/correct")
def correct(request: Request, db: Db, caller: Everybody, raw: Posted, number: str) -> Response:
    """Correct the serial, the owner, or both."""
    form = check(CorrectionForm, raw)
    if form.data is None:
        return _page(request, db, caller, number, form, status=422)
    at, data = clock.now(), form.data
    said = Corrected(data.serial, data.owner_ref, data.reason, data.another_device)
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            correct_booking(
                session, number, data.version, said,
                at=at, who=caller.person_id, supervisor=caller.role is Role.SUPERVISOR, event_id=key,
            )  # fmt: skip
            settle(session, key, f"/jobs/{number}")
    except Refused as refusal:
        return _page(request, db, caller, number, form.refused(refusal), status=409)
    return see_other(f"/jobs/{number}")


class NewCorrection(BaseModel):
    """What should have been written down, and why; a field that is left out stays as it is."""

    id: SubmissionId
    version: int
    serial: Annotated[str | None, Field(min_length=1, max_length=80)] = None
    owner_ref: Annotated[str | None, Field(min_length=1, max_length=120)] = None
    reason: Annotated[str, Field(min_length=1, max_length=300)]
    another_device: Literal["mistyped", "shared label"] | None = None


@api_router.post("/jobs/{number}/correct")
def correct_by_api(db: Db, settings: SiteSettings, caller: ApiEverybody, number: str, body: NewCorrection) -> JobBody:
    """Correct a job's serial or owner; the old value stays in its record."""
    at = clock.now()
    now = get_job(db, settings, caller, number)
    said = Corrected(body.serial or now.serial, body.owner_ref or now.owner_ref, body.reason, body.another_device or "")
    content = {"correct": number, **body.model_dump(exclude={"id"})}
    try:
        with db.write() as session:
            key = claim(session, body.id, content, caller.person_id, at)
            correct_booking(
                session, number, body.version, said,
                at=at, who=caller.person_id, supervisor=caller.role is Role.SUPERVISOR, event_id=key,
            )  # fmt: skip
            settle(session, key, f"/api/v1/jobs/{number}")
    except AlreadyDone:
        pass
    return get_job(db, settings, caller, number)
