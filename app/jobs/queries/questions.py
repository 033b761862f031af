"""Reads about what tablets sent: where a tablet's count stands, and the questions that nobody has settled yet."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, select
from sqlmodel import Session, col

from app.jobs.models import BenchEvent, Job, Stage


@dataclass(frozen=True)
class DeviceStanding:
    """Where a tablet's count of its entries stands before one of them: the highest stored, and the one below it.

    ``below`` is 0 and ``below_at`` None where there is none.
    """

    highest: int
    below: int
    below_at: datetime | None

    def expects(self, number: int) -> int:
        """Return the number that is expected next once ``number`` is stored."""
        return max(self.highest, number) + 1

    def gap(self, number: int) -> tuple[int, int] | None:
        """Return the first and last number that are missing just before ``number``, or None."""
        return (self.below + 1, number - 1) if self.below + 1 < number else None


# Built once, as every tick runs it: making a statement anew costs as much as running it.
_NUMBER: Any = col(BenchEvent.device_sequence)
_MINE: Any = col(BenchEvent.device_id) == bindparam("device")
_BELOW = select(_NUMBER, col(BenchEvent.at)).where(_MINE).order_by(_NUMBER.desc()).limit(1)
_LOWER: Any = _NUMBER < bindparam("number")  # noqa: SIM300  A column stands first.
_NEXT_BELOW = _BELOW.where(_LOWER)


def device_standing(session: Session, device: str, number: int) -> DeviceStanding:
    """Return where a tablet's count stands; one look into an index, two for an entry that comes late or again."""
    newest = session.connection().execute(_BELOW, {"device": device}).first()
    if newest is None:
        return DeviceStanding(0, 0, None)
    if newest[0] < number:
        return DeviceStanding(newest[0], newest[0], newest[1])
    below = session.connection().execute(_NEXT_BELOW, {"device": device, "number": number}).first()
    return DeviceStanding(newest[0], below[0] if below else 0, below[1] if below else None)


@dataclass(frozen=True)
class Question:
    """An entry from a tablet that could not be booked. ``data`` is what was sent, ``reason`` why not, in words.

    ``changes`` is what others had entered since the tablet last knew, newest last; ``late`` that it arrived after
    the job had ended. ``kind`` is what it would have been: tick, undo and so on.
    """

    event_id: str
    kind: str
    side: str
    step: str
    data: Mapping[str, Any]
    reason: str
    changes: tuple[str, ...]
    person_id: int | None
    at: datetime
    late: bool


def open_questions(session: Session, ids: Sequence[str]) -> tuple[Question, ...]:
    """Return the questions with these ids (a job's ``state.questions``), in the order they came."""
    if not ids:
        return ()
    rows = session.scalars(
        select(BenchEvent).where(col(BenchEvent.event_id).in_(ids)).order_by(col(BenchEvent.sequence))
    ).all()
    return tuple(question_of(row) for row in rows)


def question_of(row: BenchEvent) -> Question:
    """Return a stored question as plain data."""
    said = row.data
    return Question(
        event_id=row.event_id,
        kind=str(said.get("of", "")),
        side=str(said.get("side", "")),
        step=row.step or "",
        data=said.get("sent", {}),
        reason=str(said.get("reason", "")),
        changes=tuple(said.get("changes", ())),
        person_id=row.person_id,
        at=row.at,
        late=bool(said.get("late")),
    )


@dataclass(frozen=True)
class JobWithQuestions:
    """A job on the supervisor's board that has questions to settle."""

    number: str
    device_model_id: int
    serial: str
    stage: Stage
    technician_id: int | None
    questions: int


_WITH: tuple[Any, ...] = (Job.number, Job.device_model_id, Job.serial, Job.stage, Job.technician_id, Job.questions)


def jobs_with_questions(session: Session, limit: int = 100) -> tuple[JobWithQuestions, ...]:
    """Return jobs with questions to settle, ended ones too, the oldest job first."""
    found: Any = select(*_WITH).where(col(Job.questions) > 0).order_by(col(Job.id)).limit(limit)
    return tuple(JobWithQuestions(*row) for row in session.connection().execute(found))


def since(session: Session, job: Job, base: int, but_device: str, most: int = 8) -> tuple[tuple[str, str, int], ...]:
    """Return (kind, step, person) of what others entered since version ``base`` of a job, oldest first."""
    behind = job.version - base
    if base < 1 or behind < 1:
        return ()
    columns: tuple[Any, ...] = (BenchEvent.kind, BenchEvent.step, BenchEvent.person_id, BenchEvent.device_id)
    rows = session.connection().execute(
        select(*columns)
        .where(col(BenchEvent.job_id) == job.id)
        .order_by(col(BenchEvent.sequence).desc())
        .limit(min(behind, 60))
    )
    others = [(kind, step or "", person or 0) for kind, step, person, device in rows if device != but_device]
    return tuple(reversed(others[:most]))


def pass_began(session: Session, job_id: int | None, pass_no: int) -> datetime | None:
    """Return when the present pass of a job was planned."""
    found: datetime | None = session.scalar(
        select(col(BenchEvent.at))
        .where(
            col(BenchEvent.job_id) == job_id, col(BenchEvent.kind) == "planned", col(BenchEvent.pass_no) == pass_no
        )
        .order_by(col(BenchEvent.sequence).desc())
        .limit(1)
    )  # fmt: skip
    return found


def is_taken_back(session: Session, job_id: int | None, event_id: str) -> bool:
    """Whether an entry of a job was taken back by another."""
    found = session.scalar(
        select(col(BenchEvent.id)).where(col(BenchEvent.job_id) == job_id, col(BenchEvent.undoes) == event_id).limit(1)
    )
    return found is not None
