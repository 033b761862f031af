"""The one door through which facts about a job are written: append, chain, fold, keep the projection."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam
from sqlmodel import Session, col, select

from app.jobs.models import BenchEvent, Job
from app.jobs.queries.bench import keep_state, state_of
from app.jobs.queries.chain import chain_hash
from app.platform.errors import Conflict, NotFound, Stale
from app.platform.submissions import content_hash, insert_once
from app.rules.counting import Event, apply

# Built once: making a statement anew costs as much as running it.
_JOB = (
    select(Job)
    .where(col(Job.number) == bindparam("job_number"))
    .with_for_update()
    .execution_options(populate_existing=True)
)

_DIGEST = select(BenchEvent.content_hash).where(col(BenchEvent.event_id) == bindparam("b_event"))
_EVENT = select(BenchEvent).where(col(BenchEvent.event_id) == bindparam("b_event"))


class AlreadyStored(Exception):
    """This very event is stored: there is nothing more to do, and nothing is wrong."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """Where a fact went: its id and its place among the job's events."""

    event_id: str
    sequence: int


def load_job(session: Session, number: str, version: int | None = None) -> Job:
    """Load a job for writing, its row locked. Raises NotFound, or Stale when ``version`` is no longer the newest."""
    # A session is one transaction here, so a job that it has locked stays as it is.
    locked: dict[str, Job] = session.info.setdefault("locked jobs", {})
    job = locked.get(number) or session.exec(_JOB, params={"job_number": number}).first()
    if job is None:
        raise NotFound(f"job {number}")
    locked[number] = job
    if version is not None and job.version != version:
        raise Stale(f"Job {number}", changes_since(session, job, version), f"/jobs/{number}")
    return job


def changes_since(session: Session, job: Job, version: int, most: int = 8) -> tuple[str, ...]:
    """Return in words what happened to a job after the given version, newest last."""
    behind = max(job.version - version, 1)
    rows = session.exec(
        select(BenchEvent.kind, BenchEvent.step, BenchEvent.at)
        .where(col(BenchEvent.job_id) == job.id)
        .order_by(col(BenchEvent.sequence).desc())
        .limit(min(behind, most))
    ).all()
    return tuple(kind + (f" ({step})" if step else "") for kind, step, _at in reversed(rows))


def known_event(session: Session, event_id: str, digest: str) -> BenchEvent | None:
    """Return the event stored under this id, or None; Conflict when its content differs."""
    stored = session.connection().execute(_DIGEST, {"b_event": event_id}).scalar()
    if stored is None:
        return None
    if stored != digest:
        raise Conflict("This entry was already stored with other content. Reload the page to see what is stored.")
    return session.exec(_EVENT, params={"b_event": event_id}).one()


def record(
    session: Session,
    job: Job,
    *,
    kind: str,
    at: datetime,
    who: int | None,
    event_id: str,
    step: str | None = None,
    data: Mapping[str, Any] | None = None,
    undoes: str | None = None,
    digest: str | None = None,
) -> Recorded:
    """Append one fact to a job loaded with ``load_job`` and keep its projection in the same transaction.

    ``data`` is plain JSON. ``digest`` is the hash of what was sent, where that differs from what is stored.
    Raises Refused when the counts would not add up, AlreadyStored when this very event is stored (it may come
    again long after it was taken back), and Conflict when its id is stored with other content.
    """
    plain = dict(data or {})
    event = Event(event_id, kind, who, at, step, plain, undoes)
    state = apply(state_of(job), event)
    sequence = job.last_sequence + 1
    chain = chain_hash(job.chain, event, sequence)
    digest = digest or content_hash({"kind": kind, "step": step, "data": plain, "undoes": undoes})
    row = {
        "event_id": event_id,
        "content_hash": digest,
        "job_id": job.id,
        "sequence": sequence,
        "kind": kind,
        "pass_no": state.pass_no,
        "step": step,
        "person_id": who,
        "at": at,
        "data": plain,
        "undoes": undoes,
        "chain": chain,
    }
    if not insert_once(session, BenchEvent, row):
        known_event(session, event_id, digest)
        raise AlreadyStored(event_id)
    job.last_sequence = sequence
    job.version += 1
    keep_state(job, state)
    job.chain = chain
    session.add(job)
    return Recorded(event_id, sequence)
