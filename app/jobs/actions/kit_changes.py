"""What joins the kit of a job on the way, and leaves it again: reserved or short at once."""

from collections.abc import Mapping
from datetime import datetime

from sqlmodel import Session, col, select

from app.jobs.actions.hold import show_shortage
from app.jobs.actions.take_alternate import give_up_added, release_surplus
from app.jobs.models import Job, KitLine
from app.jobs.queries.kit import outstanding
from app.stores import actions as stores
from app.stores import queries as shelf


def add_to_kit(
    session: Session, job: Job, needs: Mapping[str, int], *, at: datetime, who: int | None, entry_id: str
) -> tuple[str, ...]:
    """Add parts to a job's kit and reserve them; a shortage puts the job on a parts hold. Returns shortages.

    What the job was handed already and needs no more, as a report was taken back, is used first, and so are spares.
    """
    if not needs:
        return ()
    wants: dict[str, int] = {}
    for part, count in needs.items():
        line = _kit_line(session, job, part)
        before = line.to_hand_out
        line.added += count
        session.add(line)
        wants[part] = line.to_hand_out - before
    got = stores.reserve(session, f"job:{job.number}", wants, entry_id=entry_id, at=at, who=who)
    _tell_shortage(session, job, at=at, who=who, event_id=entry_id)
    short = {part: n - got.get(part, 0) for part, n in wants.items() if got.get(part, 0) < n}
    if short:
        return ("Not on the shelf: " + ", ".join(f"{n} × {part}" for part, n in short.items()) + ".",)
    return ()


def _tell_shortage(session: Session, job: Job, *, at: datetime, who: int | None, event_id: str) -> None:
    """Begin, reword or end the parts hold by what the job still needs and is not promised."""
    session.flush()
    promised = shelf.reserved_for(session, f"job:{job.number}")
    waits = outstanding(session, job.id or 0)
    short = {part: n - promised.get(part, 0) for part, n in waits.items() if n > promised.get(part, 0)}
    show_shortage(session, job, short, at=at, who=who, event_id=event_id)


def _kit_line(session: Session, job: Job, part: str) -> KitLine:
    line = session.exec(select(KitLine).where(col(KitLine.job_id) == job.id, col(KitLine.part_number) == part)).first()
    return line or KitLine(job_id=job.id or 0, part_number=part)


def shrink_kit(
    session: Session, job: Job, needs: Mapping[str, int], *, at: datetime, who: int | None, entry_id: str
) -> None:
    """Release what was promised for a report; what was handed out already comes back when the job closes."""
    give_up_added(session, job, needs, at=at, who=who, event_id=entry_id)
    give_back: dict[str, int] = {}
    for part, count in needs.items():
        line = _kit_line(session, job, part)
        open_before = line.to_hand_out
        line.added = max(line.added - count, 0)
        open_after = line.to_hand_out
        session.add(line)
        if open_before > open_after:
            give_back[part] = open_before - open_after
    reserved = shelf.reserved_for(session, f"job:{job.number}") if give_back else {}
    give_back = {part: min(n, reserved[part]) for part, n in give_back.items() if reserved.get(part)}
    if give_back:
        stores.release(session, f"job:{job.number}", give_back, entry_id=entry_id, at=at, who=who)
    release_surplus(session, job, at=at, who=who, entry_id=entry_id)
    if needs:
        _tell_shortage(session, job, at=at, who=who, event_id=entry_id)
