"""Hand out the kit of a job, whole or in part, and what was added on the way."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime

from sqlmodel import Session

from app.jobs.actions.hold import show_shortage
from app.jobs.actions.pick_kit import check_others_picks
from app.jobs.actions.record import known_event, load_job, record
from app.jobs.models import Job, KitLot, Stage
from app.jobs.queries.bench import kit_lots, state_of
from app.jobs.queries.kit import kit_lines, outstanding, source_ref, standing_of, to_hand_out
from app.platform.errors import Refused
from app.platform.submissions import content_hash
from app.rules import job_flow
from app.stores import actions as stores
from app.stores import queries as shelf
from app.stores.actions import IssuedLot, Pick


def hand_out_kit(
    session: Session,
    number: str,
    picks: Sequence[Pick],
    *,
    at: datetime,
    who: int,
    event_id: str,
    today: date | None = None,
) -> tuple[IssuedLot, ...]:
    """Hand picked lots out to a job. The job is kitted once nothing is outstanding any more.

    Every pick is checked against what the job still needs, so a page that was shown earlier does no harm and
    needs no version: a bench tick meanwhile must not turn the clerk away. Raises Refused.
    """
    picks = [pick for pick in picks if pick.quantity]
    said = [[p.part_number, p.lot_id, p.location_id, p.quantity, list(p.serials)] for p in picks]
    digest = content_hash(["hand out", number, said])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return ()
    waits = to_hand_out(session, job.id or 0)
    job_flow.check_hand_out(standing_of(job, state_of(job), waits))
    _check_needed(picks, waits)
    check_others_picks(session, number, picks, waits)
    day = today or at.date()
    _check_serials(session, picks)
    issued = stores.hand_out(
        session, source_ref(number), picks, entry_id=event_id, at=at, who=who, today=day
    )  # fmt: skip
    _keep(session, job, issued)
    lots = [[lot.part_number, lot.lot_id, lot.lot_code, lot.quantity, list(lot.serials)] for lot in issued]
    record(session, job, kind="kit issued", at=at, who=who, event_id=event_id, data={"lots": lots}, digest=digest)
    waits = outstanding(session, job.id or 0)
    job.stage = Stage(job_flow.stage_after_hand_out(standing_of(job, state_of(job), waits)))
    promised = shelf.reserved_for(session, source_ref(number))
    short = {part: count - promised.get(part, 0) for part, count in waits.items() if count > promised.get(part, 0)}
    show_shortage(session, job, short, at=at, who=who, event_id=event_id)
    session.add(job)
    session.flush()
    return issued


def _check_needed(picks: Sequence[Pick], waits: Mapping[str, int]) -> None:
    total: dict[str, int] = {}
    for pick in picks:
        if pick.quantity < 0:
            raise Refused("A quantity is not below zero.", f"quantity-{pick.part_number}")
        total[pick.part_number] = total.get(pick.part_number, 0) + pick.quantity
    for part, count in total.items():
        if count > waits.get(part, 0):
            raise Refused(
                f"{part}: the job still needs {waits.get(part, 0)}, not {count}. Hand out no more than that.",
                f"quantity-{part}",
            )


def _check_serials(session: Session, picks: Sequence[Pick]) -> None:
    tracked = shelf.serial_tracked(session, {pick.part_number for pick in picks})
    seen: set[tuple[str, str]] = set()
    for pick in picks:
        name = tracked.get(pick.part_number)
        if name is None:
            continue
        if len(pick.serials) != pick.quantity:
            raise Refused(
                f"{name}: enter {pick.quantity} serial{'s' if pick.quantity != 1 else ''}, "
                f"one for each piece; {len(pick.serials)} entered.",
                f"serials-{pick.part_number}",
            )
        for serial in pick.serials:
            if (pick.part_number, serial) in seen:
                raise Refused(f"{name}: serial {serial} is entered twice.", f"serials-{pick.part_number}")
            seen.add((pick.part_number, serial))


def _keep(session: Session, job: Job, issued: Sequence[IssuedLot]) -> None:
    lines = kit_lines(session, job.id)
    lots = {lot.lot_id: lot for found in kit_lots(session, job.id).values() for lot in found}
    for one in issued:
        lines[one.part_number].issued += one.quantity
        session.add(lines[one.part_number])
        lot = lots.get(one.lot_id)
        if lot is None:
            lot = lots[one.lot_id] = KitLot(
                job_id=job.id or 0,
                part_number=one.part_number,
                lot_id=one.lot_id,
                lot_code=one.lot_code,
                unit_cost=one.unit_cost,
            )
        lot.issued += one.quantity
        lot.serials = [*lot.serials, *one.serials]
        session.add(lot)
    session.flush()
