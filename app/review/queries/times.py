"""The bench times of closed jobs beside what was expected of them."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlmodel import Session

from app.review.queries.history import CLOSED
from app.review.queries.tables import device_model, job


@dataclass(frozen=True)
class TimedJob:
    """A closed job: seconds at the bench, and the median that its plan gave; both above zero."""

    number: str
    model: str
    closed_at: datetime
    bench_s: int
    median_s: int


def timed_jobs(
    session: Session, start: datetime, end: datetime, model_id: int | None, limit: int
) -> tuple[TimedJob, ...]:
    """Return the ``limit`` newest jobs that closed from ``start`` until before ``end``, in the order of closing."""
    query = (
        select(job.c.number, device_model.c.name, job.c.closed_at, job.c.bench_s, job.c.median_s)
        .join_from(job, device_model, device_model.c.id == job.c.device_model_id)
        .where(
            job.c.closed_at >= start, job.c.closed_at < end, job.c.stage == CLOSED, job.c.bench_s > 0,
            job.c.median_s > 0,
        )
        .order_by(job.c.closed_at.desc(), job.c.id.desc())
        .limit(limit)
    )  # fmt: skip
    if model_id is not None:
        query = query.where(job.c.device_model_id == model_id)
    rows: list[Any] = list(session.connection().execute(query))
    return tuple(TimedJob(*row) for row in reversed(rows))
