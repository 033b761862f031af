"""What the newest procedures would take of each part in the jobs that came, by device model."""

from datetime import datetime

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.jobs.models import Job, PartUse
from app.procedures import queries as procedures
from app.rules.planning import make_plan
from app.rules.sheet import Sheet
from app.rules.stores.supposed import ModelUse
from app.rules.verdict import Refused


def model_uses(session: Session, since: datetime, until: datetime) -> dict[str, list[ModelUse]]:
    """Return by part number how the newest sheets use it, for the jobs booked from ``since`` until ``until``.

    Known devices are the serials ever booked. A job without units yet, or with units that the newest sheet does not
    reach, counts as a job and not as a planned one.
    """
    devices = dict(
        session.exec(
            select(Job.device_model_id, func.count(func.distinct(Job.serial))).group_by(col(Job.device_model_id))
        ).all()
    )
    first = dict(
        session.exec(select(Job.device_model_id, func.min(Job.booked_at)).group_by(col(Job.device_model_id))).all()
    )
    rows = session.exec(
        select(Job.device_model_id, Job.targets).where(col(Job.booked_at) >= since, col(Job.booked_at) < until)
    ).all()
    came: dict[int, dict[tuple[str, ...], int]] = {}
    for model_id, targets in rows:
        sets = came.setdefault(model_id, {})
        sets[tuple(sorted(targets))] = sets.get(tuple(sorted(targets)), 0) + 1
    found: dict[str, list[ModelUse]] = {}
    for model_id, sets in came.items():
        revision = procedures.current_revision(session, model_id)
        if revision is None:
            continue
        model = procedures.device_model(session, model_id)
        days = (until - max(since, first[model_id])).total_seconds() / 86400
        pieces, planned = _pieces(procedures.sheet(session, revision.id), sets)
        for part, count in pieces.items():
            use = ModelUse(model.name, revision.title, devices[model_id], sum(sets.values()), days, count, planned)
            found.setdefault(part, []).append(use)
    return found


def _pieces(sheet: Sheet, sets: dict[tuple[str, ...], int]) -> tuple[dict[str, int], int]:
    """Return pieces by part over all jobs that the sheet can plan, and how many those are."""
    pieces: dict[str, int] = {}
    planned = 0
    for targets, count in sets.items():
        try:
            plan = make_plan(sheet, targets)
        except Refused:
            continue
        planned += count
        for line in plan.kit:
            pieces[line.part] = pieces.get(line.part, 0) + count * line.count
    return pieces, planned


def jobs_that_took(session: Session) -> dict[str, int]:
    """Return how many jobs ever fitted each part."""
    rows = session.exec(
        select(PartUse.part_number, func.count(func.distinct(PartUse.job_id)))
        .where(col(PartUse.struck).is_(False))
        .group_by(col(PartUse.part_number))
    ).all()
    return {part: int(count) for part, count in rows}
