"""Move a job to a newer revision of its procedure and plan it anew. Only by decision; a job never moves by itself."""

from datetime import date, datetime

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.jobs.actions.choose_targets import use_plan
from app.jobs.actions.hold import following_id
from app.jobs.actions.record import known_event, load_job, record
from app.jobs.models import Job, KitLine
from app.jobs.queries.bench import state_of
from app.jobs.queries.kit import outstanding, standing_of
from app.platform.errors import Refused
from app.platform.submissions import content_hash
from app.procedures import queries as procedures
from app.rules.planning import make_plan
from app.rules.revision_move import check_move


def move_revision(
    session: Session,
    number: str,
    version: int,
    to: int,
    *,
    at: datetime,
    who: int,
    event_id: str,
    today: date | None = None,
) -> None:
    """Move a job to revision ``to`` of its procedure; a plan it has is made anew for the same units.

    Raises Refused when its kit is handed out, anything was ticked, or the revision reaches a unit of the plan no
    more; Stale when the job changed since; NotFound for a revision that is not published.
    """
    digest = content_hash(["revision", number, to])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return
    job = load_job(session, number, version)
    old = procedures.revision_info(session, job.revision_id)
    new = procedures.find_revision(session, old.code, to)
    standing = standing_of(job, state_of(job), outstanding(session, job.id or 0))
    check_move(standing, _issued(session, job), old.number, new.number)
    if job.targets:
        try:
            make_plan(procedures.sheet(session, new.id), job.targets)
        except Refused as refusal:
            raise Refused(
                f"Revision {to} does not reach what this job exchanges: {refusal.reason} Change the targets first."
            ) from refusal
    job.revision_id = new.id
    data = {"from": old.number, "to": new.number}
    record(session, job, kind="revised", at=at, who=who, event_id=event_id, data=data, digest=digest)
    if job.targets:
        plan_id = following_id(event_id, "planned")
        use_plan(session, number, job.version, job.targets, at=at, who=who, event_id=plan_id, today=today)


def _issued(session: Session, job: Job) -> int:
    found = session.exec(
        select(func.coalesce(func.sum(col(KitLine.issued) - col(KitLine.returned)), 0)).where(
            col(KitLine.job_id) == job.id
        )
    ).one()
    return int(found)
