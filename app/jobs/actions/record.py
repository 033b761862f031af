"""The one door through which facts about a job are written: append, chain, fold, keep the projection."""

import hashlib
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from sqlmodel import Session, col, select

from app.jobs.models import BenchEvent, Job
from app.platform.errors import Conflict, NotFound, Stale
from app.platform.submissions import canonical, content_hash
from app.rules.counting import BenchState, Event, apply


def load_job(session: Session, number: str, version: int | None = None) -> Job:
    """Load a job for writing, its row locked. Raises NotFound, or Stale when ``version`` is no longer the newest."""
    job = session.exec(select(Job).where(col(Job.number) == number).with_for_update()).first()
    if job is None:
        raise NotFound(f"job {number}")
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
    return tuple(f"{at:%H:%M} UTC: {kind}" + (f" ({step})" if step else "") for kind, step, at in reversed(rows))


def state_of(job: Job) -> BenchState:
    """Return where the job stands at the bench."""
    return BenchState.from_json(job.bench)


def known_event(session: Session, event_id: str, digest: str) -> BenchEvent | None:
    """Return the event stored under this id, or None; Conflict when its content differs."""
    found = session.exec(select(BenchEvent).where(col(BenchEvent.event_id) == event_id)).first()
    if found is not None and found.content_hash != digest:
        raise Conflict("This entry was already stored with other content. Reload the page to see what is stored.")
    return found


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
) -> BenchEvent:
    """Append one fact to a job loaded with ``load_job`` and keep its projection in the same transaction.

    ``data`` is plain JSON. ``digest`` is the hash of what was sent, where that differs from what is stored.
    Raises Refused when the counts would not add up.
    """
    plain = dict(data or {})
    event = Event(event_id, kind, who, at, step, plain, undoes)
    state = apply(state_of(job), event)
    job.last_sequence += 1
    job.version += 1
    job.bench = state.to_json()
    job.chain = chain_hash(job.chain, event, job.last_sequence)
    assert job.id is not None
    row = BenchEvent(
        event_id=event_id,
        content_hash=digest or content_hash({"kind": kind, "step": step, "data": plain, "undoes": undoes}),
        job_id=job.id,
        sequence=job.last_sequence,
        kind=kind,
        pass_no=state.pass_no,
        step=step,
        person_id=who,
        at=at,
        data=plain,
        undoes=undoes,
        chain=job.chain,
    )
    session.add(job)
    session.add(row)
    session.flush()
    return row


def chain_hash(previous: str, event: Event, sequence: int) -> str:
    """Return SHA-256 over the previous hash and the event's canonical JSON (RFC 8785): edits break the chain."""
    content = {
        "sequence": sequence,
        "event_id": event.event_id,
        "kind": event.kind,
        "person": event.person,
        "at": event.at.astimezone(UTC).isoformat(),
        "step": event.step,
        "data": event.data,
        "undoes": event.undoes,
    }
    return hashlib.sha256(previous.encode() + canonical(content)).hexdigest()
