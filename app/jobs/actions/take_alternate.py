"""An approved alternate in place of a part that a job's kit is short of, and giving it up again.

The need moves from the one part's line to the other's: what was planned stays planned, what was added stays added, so
the account counts the alternate like the part. Each move is an entry of the record; lines and stand-ins follow from
the entries.
"""

from collections.abc import Mapping
from datetime import date, datetime

from sqlmodel import Session, col, select

from app.jobs.actions.hold import following_id, reserve_missing, show_shortage
from app.jobs.actions.record import known_event, load_job, record
from app.jobs.models import Job, KitLine, KitStandIn
from app.jobs.queries.bench import state_of
from app.jobs.queries.kit import ALTERNATES, outstanding, source_ref, standing_of
from app.platform.errors import Refused
from app.platform.submissions import content_hash
from app.rules import job_flow
from app.rules.stores.alternates import moved, split, to_give_up
from app.stores import actions as stores
from app.stores import queries as shelf

TAKEN, GIVEN_UP = ALTERNATES


def take_alternate(
    session: Session,
    number: str,
    wanted: str,
    alternate: str,
    quantity: int,
    reason: str,
    *,
    at: datetime,
    who: int,
    event_id: str,
    today: date,
) -> None:
    """Let an approved alternate stand in for what a job still needs of a part, and reserve it.

    Refused for a pair that is not approved, for more than is still to hand out or free, while pickers hold the part
    itself, and without a reason. The bench takes the alternate's lots where the part goes in.
    """
    reason = " ".join(reason.split())
    digest = content_hash(["alternate", number, wanted, alternate, quantity, reason])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return
    waits = outstanding(session, job.id or 0)
    job_flow.check_hand_out(standing_of(job, state_of(job), waits))
    if not reason:
        raise Refused("Say why the alternate is used. The reason stays in the job's record.", "alternate_reason")
    needed = waits.get(wanted, 0) - _in_hand(session, number, wanted)
    stores.stand_in(
        session, source_ref(number), wanted, alternate, quantity, needed,
        entry_id=event_id, at=at, who=who, today=today,
    )  # fmt: skip
    line = _line(session, job, wanted)
    planned, added = split(quantity, line.planned, line.added, waits[wanted])
    data = {"wanted": wanted, "alternate": alternate, "planned": planned, "added": added, "reason": reason}
    _shift(session, job, wanted, alternate, planned, added)
    record(session, job, kind=TAKEN, at=at, who=who, event_id=event_id, data=data, digest=digest)
    _settle(session, job, at=at, who=who, event_id=event_id, today=today)


def give_up_alternate(
    session: Session,
    number: str,
    wanted: str,
    alternate: str,
    *,
    at: datetime,
    who: int,
    event_id: str,
    today: date,
) -> None:
    """Go back to the part itself, as far as the alternate is not handed out or in a picker's hands yet.

    What is not handed out is given free, and the part is reserved anew. Refused when there is nothing to give up.
    """
    digest = content_hash(["alternate given up", number, wanted, alternate])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return
    waits = outstanding(session, job.id or 0)
    job_flow.check_hand_out(standing_of(job, state_of(job), waits))
    row = session.get(KitStandIn, (job.id, wanted, alternate))
    taken = row.planned + row.added if row else 0
    still = min(taken, waits.get(alternate, 0) - _in_hand(session, number, alternate))
    if row is None or still < 1:
        raise Refused(
            f"Nothing of {alternate} can be given up: it is handed out or picked. Put it back, or bring it back first."
        )
    added = min(still, row.added)
    _give_up(session, job, wanted, alternate, still - added, added, at=at, who=who, event_id=event_id, digest=digest)
    _settle(session, job, at=at, who=who, event_id=event_id, today=today)


def _in_hand(session: Session, number: str, part: str) -> int:
    return sum(p.quantity for p in shelf.picks_in_hand(session, source_ref(number)) if p.part_number == part)


def _line(session: Session, job: Job, part: str) -> KitLine:
    found = session.exec(select(KitLine).where(col(KitLine.job_id) == job.id, col(KitLine.part_number) == part)).first()
    return found or KitLine(job_id=job.id or 0, part_number=part)


def _shift(session: Session, job: Job, wanted: str, alternate: str, planned: int, added: int) -> None:
    """Move need from one line to the other, or back where the figures are below zero; keep the stand-in."""
    lines = (_line(session, job, wanted), _line(session, job, alternate))
    for line, sign in zip(lines, (-1, 1), strict=True):
        line.planned += sign * planned
        line.added += sign * added
        session.add(line)
    row = session.get(KitStandIn, (job.id, wanted, alternate))
    row = row or KitStandIn(job_id=job.id or 0, part_number=wanted, alternate=alternate)
    row.planned, row.added = row.planned + planned, row.added + added
    session.add(row)
    session.flush()


def _give_up(
    session: Session,
    job: Job,
    wanted: str,
    alternate: str,
    planned: int,
    added: int,
    *,
    at: datetime,
    who: int | None,
    event_id: str,
    digest: str | None = None,
) -> None:
    _shift(session, job, wanted, alternate, -planned, -added)
    data = {"wanted": wanted, "alternate": alternate, "planned": -planned, "added": -added}
    record(session, job, kind=GIVEN_UP, at=at, who=who, event_id=event_id, data=data, digest=digest)


def _settle(session: Session, job: Job, *, at: datetime, who: int, event_id: str, today: date) -> None:
    """Give free what is promised beyond the need, reserve what is missing, and say what stays short."""
    release_surplus(session, job, at=at, who=who, entry_id=event_id)
    reserve_missing(session, job, at=at, who=who, entry_id=event_id, today=today)
    promised = shelf.reserved_for(session, source_ref(job.number))
    waits = outstanding(session, job.id or 0)
    short = {part: n - promised.get(part, 0) for part, n in waits.items() if n > promised.get(part, 0)}
    show_shortage(session, job, short, at=at, who=who, event_id=event_id)
    session.add(job)
    session.flush()


def release_surplus(session: Session, job: Job, *, at: datetime, who: int | None, entry_id: str) -> None:
    """Give free what a job is promised of its alternates beyond what it still needs of them."""
    alternates = session.exec(select(KitStandIn.alternate).where(col(KitStandIn.job_id) == job.id)).all()
    promised = shelf.reserved_for(session, source_ref(job.number))
    over = {part: promised.get(part, 0) - _line(session, job, part).to_hand_out for part in set(alternates)}
    over = {part: n for part, n in over.items() if n > 0}
    if over:
        stores.release(session, source_ref(job.number), over, entry_id=entry_id, at=at, who=who)


def stood_in(session: Session, job_id: int, planned: Mapping[str, int]) -> dict[str, int]:
    """Return what plans need of each part with the alternates of a job in place."""
    rows = session.exec(select(KitStandIn).where(col(KitStandIn.job_id) == job_id)).all()
    return moved(planned, [(row.part_number, row.alternate, row.planned) for row in rows])


def give_up_planned(
    session: Session, job: Job, planned: Mapping[str, int], *, at: datetime, who: int | None, event_id: str
) -> None:
    """Let alternates go that stand in for more than a new plan needs of their part; ``planned`` is of all passes."""
    for wanted, taken in _taken(session, job, "planned").items():
        for alternate, quantity in to_give_up(planned.get(wanted, 0), taken):
            own = following_id(event_id, f"give up {wanted} {alternate}")
            _give_up(session, job, wanted, alternate, quantity, 0, at=at, who=who, event_id=own)


def give_up_added(
    session: Session, job: Job, needs: Mapping[str, int], *, at: datetime, who: int | None, event_id: str
) -> None:
    """Let alternates go that stand in for what a report added, as the report is taken back with its ``needs``."""
    for wanted, taken in _taken(session, job, "added").items():
        line = _line(session, job, wanted)
        need = line.added + sum(n for _alternate, n in taken) - needs.get(wanted, 0)
        for alternate, quantity in to_give_up(need, taken):
            own = following_id(event_id, f"give up {wanted} {alternate}")
            _give_up(session, job, wanted, alternate, 0, quantity, at=at, who=who, event_id=own)


def _taken(session: Session, job: Job, figure: str) -> dict[str, list[tuple[str, int]]]:
    rows = session.exec(
        select(KitStandIn)
        .where(col(KitStandIn.job_id) == job.id)
        .order_by(col(KitStandIn.part_number), col(KitStandIn.alternate))
    ).all()
    found: dict[str, list[tuple[str, int]]] = {}
    for row in rows:
        if getattr(row, figure):
            found.setdefault(row.part_number, []).append((row.alternate, getattr(row, figure)))
    return found
