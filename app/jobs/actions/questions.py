"""Questions settled: what a tablet sent and could not be booked is booked now, or set aside with a reason."""

from datetime import datetime

from sqlmodel import Session

from app.jobs.actions import deeds
from app.jobs.actions.deeds import Deed
from app.jobs.actions.record import Stamp, known_event, load_job, record, stamp
from app.jobs.forms import TapData
from app.jobs.models import Job, Stage
from app.jobs.queries.bench import state_of
from app.jobs.queries.questions import Question, open_questions
from app.platform.errors import Refused
from app.platform.submissions import content_hash

SETTLED = "This question is settled already."


def book_question(
    session: Session, number: str, question_id: str, *, at: datetime, who: int, event_id: str
) -> tuple[str, ...]:
    """Try what was sent again, now, as a new entry of ``who`` that points at the question.

    Raises Refused in words when it still cannot be booked. Returns what the booking has to tell.
    """
    digest = content_hash(["book question", number, question_id])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return ()
    question = _open(session, job, question_id)
    if job.stage in (Stage.CLOSED, Stage.RETURNED):
        raise Refused(
            f"Job {number} is {job.stage.value}: nothing is booked any more. Set it aside with what was done."
        )
    more = {"answers": question_id, "tapped_by": question.person_id, "tapped_at": question.at.isoformat()}
    booked = stamp(session, Stamp(event_id, digest, more=more))
    said: tuple[str, ...] = ()
    if question.kind == "photo":
        # Its picture was kept with the question and stays with it.
        record(
            session, job, kind="photo", at=at, who=who, event_id=event_id, step=question.step or None,
            data={"of": question_id},
        )  # fmt: skip
    else:
        deed = Deed(number, question.kind, question.side, question.step, TapData.model_validate(question.data))
        said = deeds.do(session, deed, at=at, who=who, event_id=event_id)
    if not booked.kind:
        data = {"reason": "It was so already; there was nothing to book."}
        record(session, job, kind="set aside", at=at, who=who, event_id=event_id, data=data)
    return said


def set_aside(
    session: Session, number: str, question_id: str, reason: str, *, at: datetime, who: int, event_id: str
) -> None:
    """Settle a question without booking it: what was sent stays in the record, with the reason beside it."""
    digest = content_hash(["set aside", number, question_id, reason])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return
    _open(session, job, question_id)
    data = {"answers": question_id, "reason": reason}
    record(session, job, kind="set aside", at=at, who=who, event_id=event_id, data=data, digest=digest)


def _open(session: Session, job: Job, question_id: str) -> Question:
    if question_id not in state_of(job).questions:
        raise Refused(SETTLED)
    return open_questions(session, (question_id,))[0]
