"""Work at the bench: open, pause, tick, turn, take back, take over, recount."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, insert, update
from sqlmodel import Session, col, select

from app.jobs.actions.kit_changes import add_to_kit
from app.jobs.actions.record import AlreadyStored, changes_since, known_event, load_job, record
from app.jobs.models import BenchEvent, Discard, Hold, Job, KitLot, PartUse, Stage
from app.jobs.queries.bench import (
    as_event,
    find_event,
    items_for,
    kit_lots,
    lots_in_hand,
    pocket_numbers,
    state_of,
)
from app.platform.errors import Refused
from app.platform.submissions import content_hash
from app.procedures import queries as procedures
from app.rules import bench, tray
from app.rules.bench import Fitted, Outcome
from app.rules.counting import BenchState, Item
from app.rules.scanned import lots_first
from app.rules.sheet import Sheet

AT_WORK = (Stage.KITTED, Stage.TEARDOWN, Stage.REFIT, Stage.COUNTED, Stage.TESTED)


# Built once: making a statement anew costs as much as running it.
_PART_USE = insert(PartUse)
_DISCARD = insert(Discard)
_MINE_AND_THIS = (
    select(Job)
    .where(
        ((col(Job.technician_id) == bindparam("who")) & col(Job.stage).in_(AT_WORK))
        | (col(Job.number) == bindparam("job_number"))
    )
    .order_by(col(Job.id))
    .with_for_update()
)


class Bench:
    """A job loaded for work: its row (locked), sheet, state and items."""

    def __init__(self, session: Session, number: str, version: int | None = None) -> None:
        self.session = session
        self.job = load_job(session, number, version)
        self.sheet: Sheet = procedures.sheet(session, self.job.revision_id)
        self.state: BenchState = state_of(self.job)

    @property
    def items(self) -> Mapping[str, Item]:
        """The items of the present pass, by key."""
        return items_for(self.job.revision_id, self.sheet, self.state)

    def item(self, key: str) -> Item:
        """Return one item; Refused when the plan has none of that name."""
        found = self.items.get(key)
        if found is None:
            raise Refused("Choose an item of this job.", "item")
        return found

    def must_be_at_work(self) -> None:
        """Refuse work on a job that is not on the bench, or on a safety or owner's hold."""
        if self.job.stage not in AT_WORK:
            raise Refused(f"Job {self.job.number} is {self.job.stage.value}. Bench work is for jobs with their kit.")
        if self.job.hold in (Hold.SAFETY, Hold.OWNER):
            raise Refused(f"Job {self.job.number} is on hold ({self.job.hold.value}): {self.job.hold_reason}")


def open_job(session: Session, number: str, *, at: datetime, who: int, event_id: str, take_over: bool = True) -> None:
    """Begin or resume work. Another technician's job is taken over, which makes a recount due.

    With ``take_over`` false that is refused instead: a tablet that resumes late does not know of the other. Any
    other job the person has open is paused: nobody works on two devices at once.
    """
    digest = content_hash(["open", number])
    # The same once more must not pause what the person went on to meanwhile; looked up again under the lock.
    if known_event(session, event_id, digest):
        return
    _pause_others(session, number, at, who, event_id)
    work = Bench(session, number)
    if known_event(session, event_id, digest):
        return
    work.must_be_at_work()
    job, state = work.job, work.state
    if state.at_bench == who and state.paused is None:
        return
    if job.technician_id not in (None, who) and (state.down or state.at_bench not in (None, who)):
        if not take_over:
            raise Refused("Another technician has this job now. Take it over on its page to go on with it.")
        waiting = any(c.waiting > 0 for c in state.items.values()) and not state.counted
        data = {"from": job.technician_id, "recount_due": waiting or state.recount_due}
        record(session, job, kind="takeover", at=at, who=who, event_id=event_id, data=data, digest=digest)
    else:
        record(session, job, kind="opened", at=at, who=who, event_id=event_id, digest=digest)
    job.technician_id = who
    if job.stage is Stage.KITTED:
        job.stage = Stage.TEARDOWN


def _pause_others(session: Session, number: str, at: datetime, who: int, event_id: str) -> None:
    for job in session.exec(_MINE_AND_THIS, params={"who": who, "job_number": number}).all():
        if job.number != number and job.bench.get("at_bench") == who:
            other_id = derived(event_id, job.number)
            data = {"reason": f"work on {number}"}
            record(session, job, kind="paused", at=at, who=who, event_id=other_id, data=data)


def derived(event_id: str, salt: str) -> str:
    """Return an id that follows from another one, so that a repeat makes the same one."""
    digest = content_hash([event_id, salt])
    return f"{event_id[:14]}8{digest[:3]}-a{digest[4:7]}-{digest[8:20]}"


def pause(session: Session, number: str, reason: str, *, at: datetime, who: int, event_id: str) -> None:
    """Stop the bench time with a reason."""
    work = Bench(session, number)
    digest = content_hash(["pause", number, reason])
    if known_event(session, event_id, digest):
        return
    if work.job.stage not in AT_WORK or work.state.paused is not None or work.state.at_bench is None:
        raise Refused("Nobody is at work on this job now.")
    must_be_mine(work, who)  # A pause ends the bench time of the one who pauses.
    record(
        session,
        work.job,
        kind="paused",
        at=at,
        who=who,
        event_id=event_id,
        data={"reason": reason},
        digest=digest,
    )


def tick(
    session: Session,
    number: str,
    side: str,
    step: str,
    *,
    at: datetime,
    who: int,
    event_id: str,
    old_serial: str = "",
    rejects: Sequence[str] = (),
    scanned: Sequence[tuple[str, str]] = (),
) -> None:
    """Tick a step, down or up, as the sheet describes it.

    ``rejects`` are the inspections reported as failed with the same form: its id answers for all of it. ``scanned``
    are the lots whose labels were scanned, as (part number, lot code): those very lots are fitted.

    Raises Refused, or PartsMissing when a refit step needs new parts that were not handed out. The same event
    again is answered quietly; the same id with other content raises Conflict.
    """
    content: list[Any] = ["tick", number, side, step, old_serial, *sorted(rejects)]
    # Only where there are any, so that a tick without has the hash it always had.
    digest = content_hash([*content, [list(pair) for pair in scanned]] if scanned else content)
    work = Bench(session, number)
    try:
        work.must_be_at_work()
        must_be_mine(work, who)
        _tick(work, side, step, old_serial, scanned, at, who, event_id, digest)
    except AlreadyStored:
        return
    except Refused:
        # Looked up only now: a tick that comes again is nearly always one that is refused as done.
        if known_event(session, event_id, digest) is None:
            raise


def _tick(
    work: Bench,
    side: str,
    step: str,
    old_serial: str,
    scanned: Sequence[tuple[str, str]],
    at: datetime,
    who: int,
    event_id: str,
    digest: str,
) -> None:
    session = work.session
    lots: dict[str, list[KitLot]] = {}
    if scanned and side != "up":
        raise Refused("A part was scanned, but nothing new goes in on the way down. Nothing was ticked.")
    if side == "turn":
        bench.turn(work.state)
        record(session, work.job, kind="turned", at=at, who=who, event_id=event_id, digest=digest)
        work.job.stage = Stage.REFIT
        return
    if side == "down":
        outcome = bench.tick_down(work.sheet, work.items, work.state, step)
    elif side == "up":
        cover = bench.count_before_cover(
            work.sheet, work.items, work.state, step, pocket_numbers(work.sheet, work.state.teardown)
        )
        if any(i.step == step and bench.wanted(i, work.state.items[i.key])[1] for i in work.items.values()):
            lots = kit_lots(session, work.job.id)
        in_hand = lots_first(work.items, work.state, step, lots_in_hand(session, work.job.id, lots), scanned)
        outcome = bench.tick_up(work.sheet, work.items, work.state, step, in_hand, at, cover)
    else:
        raise Refused("A tick belongs to the teardown or the refit.")
    data = tick_data(side, outcome, old_serial)
    if scanned:
        data["scanned"] = [list(pair) for pair in scanned]
    record(session, work.job, kind="tick", at=at, who=who, event_id=event_id, step=step, data=data, digest=digest)
    write_scrap(session, work, outcome, event_id)
    write_fitted(session, work.job, lots, outcome.fitted, step, event_id)
    work.job.stage = Stage.TEARDOWN if side == "down" else Stage.REFIT


def must_be_mine(work: Bench, who: int) -> None:
    """Refuse a tick by somebody who has not opened the job: the recount would be skipped."""
    if work.state.at_bench is not None and work.state.at_bench != who:
        raise Refused("Another technician has this job open. Take it over first.")
    if work.state.at_bench is None:
        raise Refused("The job is not open at the bench. Resume it first so that the bench time is right.")


def tick_data(side: str, outcome: Outcome, old_serial: str) -> dict[str, Any]:
    """Return what a tick's event keeps: its effect, what went in, when a timer is ready."""
    data: dict[str, Any] = {"side": side, "effect": outcome.effect}
    if outcome.fitted:
        data["fitted"] = [[f.item, f.part, f.lot_id, f.lot_code, f.count, f.serial] for f in outcome.fitted]
    if any(f.instead_of for f in outcome.fitted):
        data["in_place"] = [[f.instead_of, f.part, f.count] for f in outcome.fitted if f.instead_of]
    if outcome.scrapped:
        data["scrapped"] = [[s.item, s.count, s.reason] for s in outcome.scrapped]
    if outcome.ready_at is not None:
        data |= {"ready_at": outcome.ready_at.isoformat(), "timer": outcome.timer}
    if outcome.covers:
        data["covers"] = True
    if old_serial:
        data["old_serial"] = old_serial
    return data


def write_fitted(
    session: Session,
    job: Job,
    lots: Mapping[str, Sequence[KitLot]],
    fitted: Collection[Fitted],
    step: str,
    event_id: str,
) -> None:
    """Spell out what new parts went in, and count them against their lots."""
    if not fitted:
        return
    rows = {(row.part_number, row.lot_id): row for found in lots.values() for row in found}
    uses = []
    for fit in fitted:
        row = rows[fit.part, fit.lot_id]
        row.fitted += fit.count
        session.add(row)
        uses.append(
            {
                "job_id": job.id,
                "event_id": event_id,
                "step": step,
                "item": fit.item,
                "part_number": fit.part,
                "lot_id": fit.lot_id,
                "quantity": fit.count,
                "serial": fit.serial,
                "struck": False,
                "in_place_of": fit.instead_of,
            }
        )
    session.connection().execute(_PART_USE, uses)


def write_scrap(session: Session, work: Bench, outcome: Outcome, event_id: str) -> None:
    """Spell out what was scrapped, with its waste stream."""
    rows = [
        {
            "job_id": work.job.id,
            "event_id": event_id,
            "step": work.items[scrap.item].step,
            "item": scrap.item,
            "name": work.items[scrap.item].name,
            "quantity": scrap.count,
            "reason": scrap.reason,
            "waste_stream": work.items[scrap.item].waste,
            "struck": False,
        }
        for scrap in outcome.scrapped
    ]
    if rows:
        session.connection().execute(_DISCARD, rows)


def undo(session: Session, number: str, undoes: str, *, at: datetime, who: int, event_id: str) -> None:
    """Take the last tick back with a new entry; the old one stays in the record."""
    digest = content_hash(["undo", number, undoes])
    work = Bench(session, number)
    if known_event(session, event_id, digest):
        return
    work.must_be_at_work()
    must_be_mine(work, who)
    last = find_event(session, work.job.id, undoes)
    try:
        effect = bench.undo_last(work.state, as_event(last) if last else None)
    except Refused as refusal:
        raise Refused(refusal.reason + _since(session, work.job, last)) from None
    assert last is not None
    data = {"effect": effect, "side": last.data.get("side", "turn")}
    record(
        session, work.job, kind="undo", at=at, who=who, event_id=event_id, step=last.step,
        data=data, undoes=undoes, digest=digest,
    )  # fmt: skip
    strike(session, work.job, last)
    now = state_of(work.job)
    work.job.stage = Stage.REFIT if now.turned else Stage.TEARDOWN


def _since(session: Session, job: Job, shown: BenchEvent | None) -> str:
    """Say what came after an entry that somebody wants back, as their page does not show it."""
    if shown is None or shown.sequence == job.last_sequence:
        return ""
    changes = changes_since(session, job, job.version - (job.last_sequence - shown.sequence))
    return f" Since that entry: {', '.join(changes)}. Look at the page as it is now, then take back what stands last."


def strike(session: Session, job: Job, taken_back: BenchEvent) -> None:
    """Strike what an entry spelt out: its new parts are free again, its scrap is not counted."""
    uses = session.exec(
        select(PartUse).where(col(PartUse.event_id) == taken_back.event_id, col(PartUse.struck).is_(False))
    ).all()
    lots = {(r.part_number, r.lot_id): r for found in kit_lots(session, job.id).values() for r in found} if uses else {}
    for use in uses:
        lots[use.part_number, use.lot_id].fitted -= use.quantity
        use.struck = True
        session.add(use)
    session.connection().execute(
        update(Discard).where(col(Discard.event_id) == taken_back.event_id).values(struck=True)
    )


def recount(
    session: Session, number: str, counted: Mapping[int, int | None], *, at: datetime, who: int, event_id: str
) -> tuple[str, ...]:
    """Record the recount after a take-over; returns what is short, in words.

    Pieces short are recorded as lost, and new ones join the kit where the part number is known.
    """
    digest = content_hash(["recount", number, {str(k): v for k, v in counted.items()}])
    work = Bench(session, number)
    if known_event(session, event_id, digest):
        return ()
    work.must_be_at_work()
    must_be_mine(work, who)
    if not work.state.recount_due:
        raise Refused("No recount is due on this job.")
    by_number = {n: key for key, n in pocket_numbers(work.sheet, work.state.teardown).items()}
    expected = {n: w for n, key in by_number.items() if (w := work.state.items[key].waiting) > 0}
    lost = {n: work.state.items[key].lost for n, key in by_number.items()}
    short, words = tray.recount(expected, counted, lost)
    needs: dict[str, int] = {}
    for n, missing in short.items():
        part = work.state.new_part.get(by_number[n]) or work.items[by_number[n]].part
        if part:
            needs[part] = needs.get(part, 0) + missing
    data = {
        "counted": {str(n): counted[n] for n in expected},
        "effect": {by_number[n]: {"lost": missing} for n, missing in short.items()},
        "needs": needs,
    }
    record(session, work.job, kind="recount", at=at, who=who, event_id=event_id, data=data, digest=digest)
    add_to_kit(session, work.job, needs, at=at, who=who, entry_id=event_id)
    return words
