"""The one door through which facts about a job are written: append, chain, fold, keep the projection."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam
from sqlmodel import Session, col, select

from app.jobs.models import BenchEvent, Job
from app.jobs.queries.bench import keep_state, state_of
from app.jobs.queries.chain import chain_hash
from app.platform.errors import Conflict, NotFound, Stale
from app.platform.submissions import content_hash, insert_once
from app.procedures import queries as procedures
from app.rules.counting import Event, apply
from app.rules.entry_words import entry_words

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


@dataclass(slots=True)
class Stamp:
    """What one entry carries besides what its action knows: whom it was sent by, and what else is kept with it.

    ``digest`` is the hash of all that was sent, ``device`` and ``device_sequence`` the tablet's id and its number for
    the entry, ``more`` is added to the entry's data. ``kind`` is empty until the entry is recorded.
    """

    event_id: str
    digest: str
    device: str | None = None
    device_sequence: int | None = None
    more: Mapping[str, Any] = field(default_factory=dict)
    kind: str = ""


def stamp(session: Session, found: Stamp) -> Stamp:
    """Have the entry of that id recorded with this stamp, by whichever action writes it; returns the stamp."""
    session.info["stamp"] = found
    return found


def _stamp_of(session: Session, event_id: str) -> Stamp | None:
    found: Stamp | None = session.info.get("stamp")
    return found if found is not None and found.event_id == event_id else None


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
    sheet = procedures.sheet(session, job.revision_id)
    return tuple(entry_words(kind, sheet.step_title(step)) for kind, step, _at in reversed(rows))


def known_event(session: Session, event_id: str, digest: str) -> BenchEvent | None:
    """Return the event stored under this id, or None; Conflict when its content differs."""
    stored = session.connection().execute(_DIGEST, {"b_event": event_id}).scalar()
    if stored is None:
        return None
    sent = _stamp_of(session, event_id)
    if stored != (sent.digest if sent else digest):
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
    sent = _stamp_of(session, event_id)
    plain = {**(data or {}), **(sent.more if sent else {})}
    event = Event(event_id, kind, who, at, step, plain, undoes)
    state = apply(state_of(job), event)
    if sent:
        digest = sent.digest
    elif digest is None:
        digest = content_hash({"kind": kind, "step": step, "data": plain, "undoes": undoes})
    if not _append(session, job, event, state.pass_no, digest, sent):
        raise AlreadyStored(event_id)
    job.last_sequence += 1
    job.version += 1
    keep_state(job, state)
    session.add(job)
    if sent:
        sent.kind = kind
    return Recorded(event_id, job.last_sequence)


def _append(session: Session, job: Job, event: Event, pass_no: int, digest: str, sent: Stamp | None) -> bool:
    """Append the row and move the job's chain on; False when this very event is stored, Conflict when another is."""
    sequence = job.last_sequence + 1
    chain = chain_hash(job.chain, event, sequence)
    row = {
        "event_id": event.event_id,
        "content_hash": digest,
        "job_id": job.id,
        "sequence": sequence,
        "kind": event.kind,
        "pass_no": pass_no,
        "step": event.step,
        "person_id": event.person,
        "at": event.at,
        "data": event.data,
        "undoes": event.undoes,
        "chain": chain,
        "device_id": sent.device if sent else None,
        "device_sequence": sent.device_sequence if sent else None,
    }
    if insert_once(session, BenchEvent, row):
        job.chain = chain
        return True
    if known_event(session, event.event_id, digest) is not None or sent is None or sent.device is None:
        return False
    # Another entry has this tablet's number: its store was copied or set back. The fact is kept without the number.
    twice = {**event.data, "tablet": {"id": sent.device, "number": sent.device_sequence, "taken": True}}
    bare = replace(sent, device=None, device_sequence=None)
    return _append(session, job, replace(event, data=twice), pass_no, digest, bare)
