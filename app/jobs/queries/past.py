"""What finished jobs say of those to come: step times, and the units that a fault really came to."""

from collections.abc import Iterable, Sequence
from typing import Any
from weakref import WeakKeyDictionary

from sqlalchemy import bindparam, func, or_
from sqlmodel import Session, col, select

from app.jobs.models import Job, PartUse, Stage, StepTimeRow
from app.procedures import queries as procedures
from app.rules.expected_time import ExpectedTime, plan_expected_time
from app.rules.planning import Plan
from app.rules.step_history import Observation, StepHistory, fit_steps
from app.rules.step_times import REST, StepKey, rest_s, standard_times

TIMES_READ = 12_000
"""The newest step times that are looked at: some three hundred jobs of forty step sides."""
JOBS_READ = 500
"""The newest finished jobs of a fault that are looked at."""

# Kept by engine and revision, as long as no job of the procedure has closed since.
_kept: "WeakKeyDictionary[Any, dict[int, tuple[int, StepHistory]]]" = WeakKeyDictionary()
# The times read so far, by engine and procedure: by id, the oldest first. A fit reads only those that are new.
_read: "WeakKeyDictionary[Any, dict[str, dict[int, Observation]]]" = WeakKeyDictionary()
READ_AGAIN = 600
"""So many of the newest ids are read once more: on PostgreSQL a job that closed at the same time may commit later."""

_columns: tuple[Any, ...] = (
    StepTimeRow.id, StepTimeRow.job_id, StepTimeRow.side, StepTimeRow.step, StepTimeRow.seconds,
)  # fmt: skip
_TIMES = (
    select(*_columns)
    .where(col(StepTimeRow.procedure_code) == bindparam("code"), col(StepTimeRow.id) > bindparam("after"))
    .order_by(col(StepTimeRow.id).desc())
    .limit(TIMES_READ)
)
_NEWEST = select(func.max(col(StepTimeRow.id))).where(col(StepTimeRow.procedure_code) == bindparam("code"))


def step_history(session: Session, revision_id: int) -> StepHistory:
    """Return the fitted history of a procedure's steps, against the standard times of this revision."""
    code = procedures.revision_info(session, revision_id).code
    newest: int | None = session.connection().execute(_NEWEST, {"code": code}).scalar()
    mine = _kept.setdefault(session.get_bind(), {})
    found = mine.get(revision_id)
    if found is not None and found[0] == (newest or 0):
        return found[1]
    times = _times(session, code, newest or 0)
    sheet = procedures.sheet(session, revision_id)
    history = fit_steps({**standard_times(sheet), REST: rest_s(sheet)}, times)
    mine[revision_id] = (newest or 0, history)
    return history


def _times(session: Session, code: str, newest: int) -> Iterable[Observation]:
    """Return the newest step times of a procedure; those that were read before are not read again."""
    mine = _read.setdefault(session.get_bind(), {})
    known = mine.get(code, {})
    last = next(reversed(known), 0)
    if newest < last:
        known, last = {}, 0  # They were worked out anew.
    after = max(last - READ_AGAIN, 0)
    fresh: Any = session.connection().execute(_TIMES, {"code": code, "after": after}).all()
    kept = {n: one for n, one in known.items() if n <= after}
    kept |= {n: Observation(str(job), _key(side, step), seconds) for n, job, side, step, seconds in reversed(fresh)}
    for oldest in list(kept)[: max(len(kept) - TIMES_READ, 0)]:
        del kept[oldest]
    mine[code] = kept
    return kept.values()


def expected_time(session: Session, revision_id: int, plan: Plan) -> ExpectedTime:
    """Return the expected bench time of a plan of a revision, with what a job takes beside its steps."""
    sheet = procedures.sheet(session, revision_id)
    return plan_expected_time(sheet, plan, step_history(session, revision_id), rest_s(sheet))


def _key(side: str, step: str) -> StepKey:
    return ("up" if side == "up" else "down"), step


def exchanged_for(session: Session, device_model_id: int, words: Sequence[str]) -> tuple[dict[str, int], int]:
    """Return in how many finished jobs of a model with any of these fault words each unit was exchanged, and how many.

    What counts is what was really fitted new, not what was planned. Of many jobs the newest ``JOBS_READ`` are read.
    """
    if not words:
        return {}, 0
    jobs = (
        select(col(Job.id))
        .where(
            col(Job.stage) == Stage.CLOSED,
            col(Job.device_model_id) == device_model_id,
            or_(*(col(Job.fault).icontains(word, autoescape=True) for word in words)),
        )
        .order_by(col(Job.id).desc())
        .limit(JOBS_READ)
    )
    ids = list(session.exec(jobs).all())
    if not ids:
        return {}, 0
    rows = session.exec(
        select(PartUse.item, PartUse.job_id)
        .where(
            col(PartUse.job_id).in_(ids), col(PartUse.struck).is_(False), col(PartUse.item).contains("/unit:")
        )
        .distinct()
    ).all()  # fmt: skip
    by_unit: dict[str, set[int]] = {}
    for item, job_id in rows:
        by_unit.setdefault(item.partition("/unit:")[2], set()).add(job_id)
    return {unit: len(found) for unit, found in by_unit.items()}, len(ids)
