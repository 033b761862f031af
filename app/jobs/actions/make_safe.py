"""Make safe: cautions, bench checks, the state of the cell."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from app.jobs.actions.hold import begin_hold, put_down
from app.jobs.actions.record import known_event, load_job, record
from app.jobs.models import Hold, Stage
from app.jobs.queries.bench import state_of
from app.jobs.queries.kit import standing_of
from app.platform.submissions import content_hash
from app.rules import job_flow


@dataclass(frozen=True)
class SafetyAnswers:
    """The answers to the make-safe questions; ``cell`` is one of ``job_flow.CELL_STATES``."""

    cell: str
    cautions: bool = False
    strap: bool = False
    mat: bool = False
    note: str = ""


def make_safe(
    session: Session, number: str, version: int, answers: SafetyAnswers, *, at: datetime, who: int, event_id: str
) -> bool:
    """Record the answers; returns whether the job may go on. A cell that is not sound puts it on a safety hold.

    The bench checks are asked for only when work goes on: nobody tests a wrist strap with a hot cell in hand.
    """
    digest = content_hash(["safe", number, answers.cell, answers.cautions, answers.strap, answers.mat, answers.note])
    job = load_job(session, number)
    known = known_event(session, event_id, digest)
    if known:
        return known.kind == "safe"
    if not job_flow.cell_is_sound(answers.cell):
        # A danger is kept whatever else happened to the job since the page was shown.
        if job.hold is not Hold.SAFETY:
            job_flow.check_hold(standing_of(job, state_of(job), {}), Hold.SAFETY.value)
        put_down(session, job, "on hold: safety", at=at, who=who, event_id=event_id)
        reason = f"Cell {answers.cell}. {job_flow.QUARANTINE}"
        more = {"cell": answers.cell, "note": answers.note}
        begin_hold(
            session, job, Hold.SAFETY, reason, at=at, who=who, event_id=event_id, digest=digest, more=more
        )  # fmt: skip
        return False
    job = load_job(session, number, version)
    job_flow.check_safety(standing_of(job, state_of(job), {}))
    job_flow.check_bench_ready(answers.cautions, answers.strap, answers.mat)
    data = {"cell": answers.cell, "cautions": True, "strap": True, "mat": True, "note": answers.note}
    record(session, job, kind="safe", at=at, who=who, event_id=event_id, data=data, digest=digest)
    job.stage = Stage.SAFE
    session.add(job)
    return True
