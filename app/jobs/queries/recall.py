"""Where the pieces of a lot went, job by job, and which lots went into a job or a device."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, or_
from sqlmodel import Session, col, select

from app.jobs.models import Job, KitLot, PartUse


@dataclass(frozen=True)
class LotInJob:
    """What of a lot one job had: handed out, and of that fitted, spoiled, returned; the rest is still in the kit.

    ``device`` is the device's serial, ``serials`` are those of the fitted pieces where they are tracked.
    """

    job: str
    device: str
    device_model_id: int
    owner: str
    stage: str
    closed_at: datetime | None
    lot_id: int
    lot_code: str
    part_number: str
    handed: int
    fitted: int
    spoiled: int
    returned: int
    serials: tuple[str, ...]

    @property
    def in_kit(self) -> int:
        """Handed out and neither used nor returned."""
        return self.handed - self.fitted - self.spoiled - self.returned


def jobs_of_lot(session: Session, lot_id: int) -> tuple[LotInJob, ...]:
    """Return every job that was handed pieces of a lot, the newest first."""
    return _rows(session, col(KitLot.lot_id) == lot_id)


def lots_of_jobs(session: Session, numbers: Sequence[str]) -> tuple[LotInJob, ...]:
    """Return every lot that was handed to some jobs."""
    return _rows(session, col(Job.number).in_(list(numbers)))


def jobs_called(session: Session, text: str, limit: int = 60) -> tuple[str, ...]:
    """Return the numbers of jobs by job number, by the device's serial or by that of a piece fitted; newest first."""
    exact = text.strip()
    by_piece = select(PartUse.job_id).where(func.lower(PartUse.serial) == exact.lower(), col(PartUse.struck).is_(False))
    rows = session.exec(
        select(Job.number)
        .where(
            or_(
                func.lower(Job.number) == exact.lower(),
                func.lower(Job.serial) == exact.lower(),
                col(Job.id).in_(by_piece),
            )
        )
        .order_by(col(Job.id).desc())
        .limit(limit)
    ).all()
    return tuple(rows)


def _rows(session: Session, condition: object) -> tuple[LotInJob, ...]:
    rows = session.exec(
        select(KitLot, Job)
        .join(Job, col(Job.id) == col(KitLot.job_id))
        .where(condition)  # type: ignore[arg-type]
        .order_by(col(Job.id).desc(), col(KitLot.part_number), col(KitLot.id))
    ).all()
    used = session.exec(
        select(PartUse.job_id, PartUse.lot_id, PartUse.serial).where(
            col(PartUse.job_id).in_({job.id for _lot, job in rows}),
            col(PartUse.struck).is_(False),
            col(PartUse.serial) != "",
        )
    ).all()
    return tuple(
        LotInJob(
            job=job.number,
            device=job.serial,
            device_model_id=job.device_model_id,
            owner=job.owner_ref,
            stage=job.stage.value,
            closed_at=job.closed_at,
            lot_id=lot.lot_id,
            lot_code=lot.lot_code,
            part_number=lot.part_number,
            handed=lot.issued,
            fitted=lot.fitted,
            spoiled=lot.spoiled,
            returned=lot.returned,
            serials=tuple(serial for job_id, lot_id, serial in used if (job_id, lot_id) == (job.id, lot.lot_id)),
        )
        for lot, job in rows
    )
