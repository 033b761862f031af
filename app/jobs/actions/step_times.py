"""The step times of closed jobs: worked out from their entries once, for the expected times of later plans."""

from datetime import time

from sqlalchemy import delete, insert
from sqlmodel import Session, col, select

from app.jobs.models import Job, Stage, StepTimeRow
from app.jobs.queries.bench import as_event, entries_of
from app.platform.settings import Settings
from app.procedures import queries as procedures
from app.rules.step_times import REST, standard_times, step_times


def keep_step_times(session: Session, job: Job, settings: Settings) -> int:
    """Write down how long each step of a closed job took, and what it took beside them; returns the steps timed."""
    rows = entries_of(session, job.id)
    standard = standard_times(procedures.sheet(session, job.revision_id))
    code = procedures.revision_info(session, job.revision_id).code
    found = step_times([as_event(row) for row in rows], standard, time.fromisoformat(settings.shift_end), settings.zone)
    values = [
        {"job_id": job.id, "procedure_code": code, "side": one.side, "step": one.step, "seconds": one.seconds}
        for one in found
    ]
    if values:
        rest = max(1, (job.bench_s or 0) - sum(one.seconds for one in found))
        side, step = REST
        values.append({"job_id": job.id, "procedure_code": code, "side": side, "step": step, "seconds": rest})
        session.connection().execute(insert(StepTimeRow), values)
    return len(found)


def rebuild_step_times(session: Session, settings: Settings) -> tuple[int, int]:
    """Work the step times of all closed jobs out anew; returns (jobs, steps timed).

    For jobs that closed before step times were kept, and after the end of the shift was set to another time.
    """
    session.connection().execute(delete(StepTimeRow))
    jobs = session.exec(select(Job).where(col(Job.stage) == Stage.CLOSED).order_by(col(Job.closed_at))).all()
    return len(jobs), sum(keep_step_times(session, job, settings) for job in jobs)
