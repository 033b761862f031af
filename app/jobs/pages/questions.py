"""The questions of a job: what tablets sent and could not be booked, why, and what can be done about it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.jobs.models import Stage
from app.jobs.queries import jobs as queries
from app.jobs.queries.jobs import JobDetail
from app.jobs.queries.questions import Question, open_questions
from app.people import queries as people
from app.platform.forms import Form, blank
from app.procedures import queries as procedures
from app.procedures.queries import ModelInfo
from app.rules.counting import BenchState
from app.rules.entry_words import plain_change
from app.rules.outbox import tapped_words
from app.rules.sheet import Sheet


@dataclass(frozen=True)
class QuestionLine:
    """One question: what was tapped, by whom and when, and why it could not be booked.

    ``changes`` is what others had entered in the meantime; ``late`` that it arrived after the job had ended.
    """

    id: str
    what: str
    person: str
    at: datetime
    reason: str
    changes: tuple[str, ...]
    late: bool
    form: Form[Any]


@dataclass(frozen=True)
class QuestionsPage:
    """All questions of a job that wait to be settled. ``may_book`` is false once the job has ended."""

    job: JobDetail
    model: ModelInfo
    lines: tuple[QuestionLine, ...]
    may_book: bool
    settled: str = ""


def questions_page(
    session: Session, number: str, about: str = "", form: Form[Any] | None = None, settled: str = ""
) -> QuestionsPage:
    """Build the page; ``form`` is the one that was sent for the question ``about``."""
    job = queries.find_job(session, number)
    sheet = procedures.sheet(session, job.revision_id)
    forms = {about: form} if form else {}
    return QuestionsPage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        lines=question_lines(session, sheet, job.state, forms),
        may_book=job.stage not in (Stage.CLOSED, Stage.RETURNED),
        settled=settled,
    )


def question_lines(
    session: Session, sheet: Sheet, state: BenchState, forms: Mapping[str, Form[Any]] | None = None
) -> tuple[QuestionLine, ...]:
    """Return the open questions of a job in words; looks nothing up where there are none."""
    if not state.questions:
        return ()
    names = people.names(session)
    return tuple(
        _line(one, sheet, names.get(one.person_id or 0, ""), (forms or {}).get(one.event_id, blank()))
        for one in open_questions(session, state.questions)
    )


def _line(one: Question, sheet: Sheet, person: str, form: Form[Any]) -> QuestionLine:
    changes = tuple(plain_change(told) for told in one.changes)
    what = tapped_words(one.kind, one.side, one.step, one.data, sheet)
    return QuestionLine(one.event_id, what, person, one.at, one.reason, changes, one.late, form)
