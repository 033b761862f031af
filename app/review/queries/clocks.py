"""Entries from tablets whose clocks did not agree: what the review of set-aside times lists."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlmodel import Session

from app.review.queries.tables import bench_event, job


@dataclass(frozen=True)
class ClockRow:
    """One entry whose time was flagged: ``skew_ms`` is what disagreed, ``aside`` that its time counts nothing."""

    number: str
    revision_id: int
    sequence: int
    kind: str
    step: str
    person_id: int | None
    at: datetime
    data: dict[str, Any]

    @property
    def skew_ms(self) -> int:
        """The disagreement in milliseconds."""
        return int(self.data["clock"]["skew_ms"])


def flagged_times(session: Session, start: datetime, end: datetime, over_ms: int, limit: int = 300) -> list[ClockRow]:
    """Return the entries of a stretch of time whose clocks disagreed by more than ``over_ms``, newest first."""
    shown, data = bench_event.c, bench_event.c.data
    query = (
        select(job.c.number, job.c.revision_id, shown.sequence, shown.kind, shown.step, shown.person_id, shown.at, data)
        .join_from(bench_event, job, job.c.id == shown.job_id)
        .where(shown.at >= start, shown.at < end, data["clock"]["skew_ms"].as_integer() > over_ms)
        .order_by(shown.at.desc(), shown.id.desc())
        .limit(limit)
    )
    rows: list[Any] = list(session.connection().execute(query))
    return [ClockRow(row[0], row[1], row[2], row[3], row[4] or "", row[5], row[6], row[7]) for row in rows]
