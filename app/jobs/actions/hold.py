"""Holds: put on by hand, ended with a reason, and the parts hold that comes and goes with the shelf."""

from collections.abc import Mapping
from datetime import date, datetime

from sqlalchemy import or_
from sqlmodel import Session, col, select

from app.jobs.actions.record import known_event, load_job, record
from app.jobs.models import Hold, Job, KitLine, Stage
from app.jobs.queries.bench import state_of
from app.jobs.queries.kit import of_parts_with_spares, outstanding, source_ref, standing_of, to_hand_out
from app.platform import clock
from app.platform.errors import Forbidden, Refused
from app.platform.submissions import content_hash
from app.rules import job_flow
from app.stores import actions as stores
from app.stores import queries as shelf

WAITING = (Stage.PLANNED, Stage.QUOTED, Stage.APPROVED, Stage.KITTED, Stage.TEARDOWN, Stage.REFIT, Stage.COUNTED)
RESERVED = "Everything the job needs is reserved or handed out."


def put_on_hold(
    session: Session, number: str, version: int, hold: str, reason: str, *, at: datetime, who: int, event_id: str
) -> None:
    """Put a job on a safety hold or an owner's hold, with the reason; bench time stops."""
    digest = content_hash(["hold", number, hold, reason])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return
    job = load_job(session, number, version)
    job_flow.check_hold(standing_of(job, state_of(job), {}), hold)
    if len(reason.split()) < 2:
        raise Refused("Say in a few words what is wrong and where the device is now.", "reason")
    put_down(session, job, f"on hold: {hold}", at=at, who=who, event_id=event_id)
    begin_hold(session, job, Hold(hold), reason, at=at, who=who, event_id=event_id, digest=digest)


def end_hold(
    session: Session,
    number: str,
    version: int,
    reason: str,
    *,
    at: datetime,
    who: int,
    event_id: str,
    supervisor: bool,
    today: date | None = None,
) -> None:
    """End a hold with a reason. A safety hold is a supervisor's to end: Forbidden for anybody else.

    A job held before it was made safe is asked the make-safe questions again: the answers belong to the device as
    it is now.
    """
    digest = content_hash(["end hold", number, reason])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return
    job = load_job(session, number, version)
    job_flow.check_hold_end(standing_of(job, state_of(job), {}))
    if job.hold is Hold.SAFETY and not supervisor:
        raise Forbidden("Only a supervisor may release a safety hold.")
    if len(reason.split()) < 3:
        raise Refused("Give the reason in a few words: what was done, and why the job may go on.", "reason")
    _end(session, job, reason, at=at, who=who, event_id=event_id, digest=digest)
    if job.stage in WAITING:
        short = reserve_missing(session, job, at=at, who=who, entry_id=event_id, today=today)
        show_shortage(session, job, short, at=at, who=who, event_id=event_id)


def begin_hold(
    session: Session,
    job: Job,
    hold: Hold,
    reason: str,
    *,
    at: datetime,
    who: int | None,
    event_id: str,
    digest: str | None = None,
    more: Mapping[str, str] | None = None,
) -> None:
    """Record a hold on a locked job; ``more`` joins the entry's data."""
    data = {"hold": hold.value, "reason": reason, **(more or {})}
    record(session, job, kind="hold", at=at, who=who, event_id=event_id, data=data, digest=digest)
    job.hold, job.hold_reason = hold, reason[:300]
    session.add(job)


def _end(
    session: Session,
    job: Job,
    reason: str,
    *,
    at: datetime,
    who: int | None,
    event_id: str,
    digest: str | None = None,
) -> None:
    data = {"hold": job.hold.value, "reason": reason}
    record(session, job, kind="hold ended", at=at, who=who, event_id=event_id, data=data, digest=digest)
    job.hold, job.hold_reason = Hold.NONE, ""
    session.add(job)


def put_down(session: Session, job: Job, reason: str, *, at: datetime, who: int | None, event_id: str) -> None:
    """Stop the bench time of whoever has a locked job open; nothing when nobody has."""
    state = state_of(job)
    if state.at_bench is not None and state.paused is None:
        paused_id = following_id(event_id, "paused")
        record(session, job, kind="paused", at=at, who=state.at_bench, event_id=paused_id, data={"reason": reason})


def following_id(event_id: str, salt: str) -> str:
    """Return the id of a further entry of the same action: a repeat makes the same one."""
    digest = content_hash([event_id, salt])
    return f"{event_id[:14]}8{digest[:3]}-a{digest[4:7]}-{digest[8:20]}"


def reserve_missing(
    session: Session, job: Job, *, at: datetime, who: int | None, entry_id: str, today: date | None = None
) -> dict[str, int]:
    """Reserve what a locked job needs and is not promised yet, its spares too.

    Returns what stays short, by part number; a spare that cannot be had is not short.
    """
    waits = to_hand_out(session, job.id or 0)
    promised = shelf.reserved_for(session, source_ref(job.number))
    wants = {part: count - promised.get(part, 0) for part, count in waits.items() if count > promised.get(part, 0)}
    if not wants:
        return {}
    got = stores.reserve(
        session, source_ref(job.number), wants, entry_id=entry_id, at=at, who=who, today=today
    )  # fmt: skip
    have = {part: promised.get(part, 0) + count for part, count in got.items()}
    must = outstanding(session, job.id or 0)
    return {part: must[part] - have[part] for part in wants if must.get(part, 0) > have[part]}


def _with_spares(session: Session, job: Job, short: Mapping[str, int]) -> Mapping[str, int]:
    """Return what a job is short of together with the spares that are not promised to it."""
    waits = of_parts_with_spares(session, job.id or 0)
    if not waits:
        return short
    promised = shelf.reserved_for(session, source_ref(job.number))
    return {**short, **{part: n - promised.get(part, 0) for part, n in waits.items() if n > promised.get(part, 0)}}


def show_shortage(
    session: Session, job: Job, short: Mapping[str, int], *, at: datetime, who: int | None, event_id: str
) -> None:
    """Begin, reword or end the parts hold of a locked job; a safety or owner's hold goes before it.

    Stores is told what the job still wants in any case, so that it is ordered.
    """
    stores.want(session, source_ref(job.number), _with_spares(session, job, short), at.date(), at=at)
    if job.hold in (Hold.SAFETY, Hold.OWNER):
        return
    if not short:
        if job.hold is Hold.PARTS:
            _end(session, job, RESERVED, at=at, who=who, event_id=following_id(event_id, "reserved"))
        return
    reason = "Not on the shelf: " + ", ".join(f"{count} × {part}" for part, count in sorted(short.items())) + "."
    if job.hold is not Hold.PARTS:
        begin_hold(session, job, Hold.PARTS, reason, at=at, who=who, event_id=following_id(event_id, "short"))
    job.hold_reason = reason[:300]
    session.add(job)


def retry_reservations(
    session: Session,
    at: datetime,
    who: int | None,
    *,
    entry_id: str | None = None,
    today: date | None = None,
) -> tuple[str, ...]:
    """Try again to reserve for every open job that is short, the oldest job first; returns those now complete.

    Call it after goods came in, in a transaction of its own. All jobs are locked before any stock, and all their
    parts at once, so that it never waits in a circle with somebody who hands out. A job that lost its promise to
    a stocktake is put on a parts hold here.
    """
    key = entry_id or clock.uuid7(at)
    waiting = select(KitLine.job_id).where(
        or_(
            col(KitLine.planned) + KitLine.added + KitLine.returned > KitLine.issued,
            col(KitLine.planned) + KitLine.spare > KitLine.issued,
        )
    )
    jobs = session.exec(
        select(Job)
        .where(col(Job.stage).in_(WAITING), col(Job.hold) != Hold.SAFETY, col(Job.id).in_(waiting))
        .order_by(col(Job.id))
        .with_for_update()
    ).all()
    stores.lock(session, {part for job in jobs for part in to_hand_out(session, job.id or 0)})
    freed = []
    for job in jobs:
        held = job.hold
        short = reserve_missing(session, job, at=at, who=who, entry_id=key, today=today)
        show_shortage(session, job, short, at=at, who=who, event_id=following_id(key, job.number))
        if held is Hold.PARTS and job.hold is Hold.NONE:
            freed.append(job.number)
    return tuple(freed)
