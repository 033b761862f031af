"""HTTP: the questions of a job, booked or set aside."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.jobs.actions import questions as actions
from app.jobs.forms import AsideForm
from app.jobs.pages.questions import questions_page
from app.people.access import Bench, Posted
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, blank, check
from app.platform.submissions import valid_id
from app.platform.web import Db, page, see_other

router = APIRouter(include_in_schema=False)
SAID = {"booked": "Booked now. It stands in the record with your name.", "aside": "Set aside, with your reason."}


@router.get("/jobs/{number}/questions")
def show_questions(request: Request, db: Db, _caller: Bench, number: str, said: str = "") -> Response:
    """Show what tablets sent and could not be booked."""
    return _questions(request, db, number, "", None, settled=SAID.get(said, ""))


def _questions(
    request: Request,
    db: Database,
    number: str,
    about: str,
    form: Form[AsideForm] | None,
    *,
    status: int = 200,
    settled: str = "",
) -> Response:
    with db.read() as session:
        shown = questions_page(session, number, about, form, settled)
    return page(request, "jobs/questions.html", shown, status=status)


@router.post("/jobs/{number}/questions/{question_id}/book")
def book(request: Request, db: Db, caller: Bench, raw: Posted, number: str, question_id: str) -> Response:
    """Try it again, now, as a new entry that points at the question."""
    event_id = valid_id(raw.get("submission_id"))
    try:
        with db.write() as session:
            actions.book_question(session, number, question_id, at=clock.now(), who=caller.person_id, event_id=event_id)
    except Refused as refusal:
        form: Form[AsideForm] = blank().refused(Refused(refusal.reason))
        return _questions(request, db, number, question_id, form, status=409)
    return see_other(f"/jobs/{number}/questions?said=booked")


@router.post("/jobs/{number}/questions/{question_id}/aside")
def put_aside(request: Request, db: Db, caller: Bench, raw: Posted, number: str, question_id: str) -> Response:
    """Set it aside with a reason."""
    form = check(AsideForm, raw)
    if form.data is None:
        return _questions(request, db, number, question_id, form, status=422)
    event_id = valid_id(raw.get("submission_id"))
    try:
        with db.write() as session:
            actions.set_aside(
                session,
                number,
                question_id,
                form.data.reason,
                at=clock.now(),
                who=caller.person_id,
                event_id=event_id,
            )
    except Refused as refusal:
        return _questions(request, db, number, question_id, form.refused(refusal), status=409)
    return see_other(f"/jobs/{number}/questions?said=aside")
