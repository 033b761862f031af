"""HTTP: a supervisor moves a job to a newer revision of its procedure."""

from typing import Annotated

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import BaseModel, Field

from app.jobs.actions.close import today
from app.jobs.actions.move_revision import move_revision
from app.people.access import Posted, Supervisor
from app.platform import clock
from app.platform.errors import Refused
from app.platform.forms import check
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, see_other

router = APIRouter(include_in_schema=False)


class MoveForm(BaseModel):
    """The revision a job moves to, as of the version shown."""

    version: Annotated[int, Field(ge=1)]
    revision: Annotated[int, Field(ge=1, le=9999)]


@router.post("/jobs/{number}/revision")
def move_to_revision(
    _request: Request, db: Db, settings: SiteSettings, caller: Supervisor, raw: Posted, number: str
) -> Response:
    """Move a job to a newer revision and plan it anew."""
    form = check(MoveForm, raw)
    if form.data is None:
        raise Refused("This form is not complete. Reload the job's page and send it again.")
    at, data = clock.now(), form.data
    with db.write() as session:
        key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
        move_revision(
            session,
            number,
            data.version,
            data.revision,
            at=at,
            who=caller.person_id,
            event_id=key,
            today=today(at, settings),
        )
        settle(session, key, f"/jobs/{number}")
    return see_other(f"/jobs/{number}")
