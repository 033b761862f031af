"""Work at the bench: open, pause, tick, turn, take back, take over, recount."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

from sqlalchemy import update
from sqlmodel import Session, col, select

from app.jobs.actions.record import known_event, load_job, record, state_of
from app.jobs.models import BenchEvent, Discard, Hold, Job, KitLot, PartUse, Stage
from app.platform.errors import Refused
from app.platform.submissions import content_hash
from app.procedures import queries as procedures
from app.rules import bench, counting
from app.rules.bench import Fitted, LotInHand, Outcome
from app.rules.counting import BenchState, Event, Item
from app.rules.planning import Pocket
from app.rules.sheet import Sheet

AT_WORK = (Stage.KITTED, Stage.TEARDOWN, Stage.REFIT, Stage.COUNTED, Stage.TESTED)


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


@lru_cache(maxsize=512)
def _items(revision_id: int, teardown: tuple[str, ...], targets: tuple[str, ...], sheet_box: "_Box") -> dict[str, Item]:
    return counting.items_of(sheet_box.sheet, teardown, targets)


class _Box:
    """Carries a sheet through the cache without being part of its key."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Box)

    def __hash__(self) -> int:
        return 0


def items_for(revision_id: int, sheet: Sheet, state: BenchState) -> Mapping[str, Item]:
    """Return the items of a plan by key; cached, as a revision and a plan never change."""
    return _items(revision_id, state.teardown, state.targets, _Box(sheet))


def pockets_of(sheet: Sheet, teardown: Sequence[str]) -> tuple[Pocket, ...]:
    """Number the tray pockets from 1 along the teardown, one for each fixing that waits in the tray."""
    found: list[Pocket] = []
    for step_id in teardown:
        for fixing in sheet.step(step_id).releases:
            if fixing.goes_to_tray:
                found.append(Pocket(len(found) + 1, step_id, fixing.id, fixing.count))
    return tuple(found)


def pocket_numbers(sheet: Sheet, teardown: Sequence[str]) -> dict[str, int]:
    """Return the tray pocket of each item that has one, by item key."""
    return {f"{p.step}/{p.fixing}": p.number for p in pockets_of(sheet, teardown)}


def open_job(session: Session, number: str, *, at: datetime, who: int, event_id: str) -> None:
    """Begin or resume work. Another technician's job is taken over, which makes a recount due.

    Any other job the person has open is paused: nobody works on two devices at once.
    """
    _pause_others(session, number, at, who, event_id)
    work = Bench(session, number)
    if known_event(session, event_id, content_hash(["open", number])):
        return
    work.must_be_at_work()
    job, state = work.job, work.state
    if state.at_bench == who and state.paused is None:
        return
    digest = content_hash(["open", number])
    if job.technician_id is not None and job.technician_id != who and state.down:
        waiting = any(c.waiting > 0 for c in state.items.values()) and not state.counted
        data = {"from": job.technician_id, "recount_due": waiting or state.recount_due}
        record(session, job, kind="takeover", at=at, who=who, event_id=event_id, data=data, digest=digest)
    else:
        record(session, job, kind="opened", at=at, who=who, event_id=event_id, digest=digest)
    job.technician_id = who
    if job.stage is Stage.KITTED:
        job.stage = Stage.TEARDOWN


def _pause_others(session: Session, number: str, at: datetime, who: int, event_id: str) -> None:
    mine = col(Job.technician_id) == who
    rows = session.exec(
        select(Job)
        .where((mine & col(Job.stage).in_(AT_WORK)) | (col(Job.number) == number))
        .order_by(col(Job.id))
        .with_for_update()
    ).all()
    for job in rows:
        if job.number != number and job.bench.get("at_bench") == who:
            other_id = _derived(event_id, job.number)
            data = {"reason": f"work on {number}"}
            record(session, job, kind="paused", at=at, who=who, event_id=other_id, data=data)


def _derived(event_id: str, salt: str) -> str:
    """Return an id that follows from another one, so that a repeat makes the same one."""
    digest = content_hash([event_id, salt])
    return f"{event_id[:14]}8{digest[:3]}-a{digest[4:7]}-{digest[8:20]}"


def pause(session: Session, number: str, reason: str, *, at: datetime, who: int, event_id: str) -> None:
    """Stop the bench time with a reason."""
    work = Bench(session, number)
    digest = content_hash(["pause", number, reason])
    if known_event(session, event_id, digest):
        return
    if work.state.paused is not None or work.state.at_bench is None:
        raise Refused("Nobody is at work on this job now.")
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
) -> None:
    """Tick a step, down or up, as the sheet describes it.

    Raises Refused, or PartsMissing when a refit step needs new parts that were not handed out. The same event
    again is answered quietly; the same id with other content raises Conflict.
    """
    digest = content_hash(["tick", number, side, step, old_serial])
    work = Bench(session, number)
    if known_event(session, event_id, digest):
        return
    work.must_be_at_work()
    if side == "turn":
        _turn(work, at, who, event_id, digest)
        return
    must_be_mine(work, who)
    if side == "down":
        outcome = bench.tick_down(work.sheet, work.items, work.state, step)
        lots: dict[str, list[KitLot]] = {}
    elif side == "up":
        lots = kit_lots(session, work.job)
        cover = bench.count_before_cover(
            work.sheet, work.items, work.state, step, pocket_numbers(work.sheet, work.state.teardown)
        )
        in_hand = lots_in_hand(session, work.job, lots)
        outcome = bench.tick_up(work.sheet, work.items, work.state, step, in_hand, at, cover)
    else:
        raise Refused("A tick belongs to the teardown or the refit.")
    data = tick_data(side, outcome, old_serial)
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


def _turn(work: Bench, at: datetime, who: int, event_id: str, digest: str) -> None:
    must_be_mine(work, who)
    bench.turn(work.state)
    record(work.session, work.job, kind="turned", at=at, who=who, event_id=event_id, digest=digest)
    work.job.stage = Stage.REFIT


def tick_data(side: str, outcome: Outcome, old_serial: str) -> dict[str, Any]:
    """Return what a tick's event keeps: its effect, what went in, when a timer is ready."""
    data: dict[str, Any] = {"side": side, "effect": outcome.effect}
    if outcome.fitted:
        data["fitted"] = [[f.item, f.part, f.lot_id, f.lot_code, f.count, f.serial] for f in outcome.fitted]
    if outcome.scrapped:
        data["scrapped"] = [[s.item, s.count, s.reason] for s in outcome.scrapped]
    if outcome.ready_at is not None:
        data |= {"ready_at": outcome.ready_at.isoformat(), "timer": outcome.timer}
    if outcome.covers:
        data["covers"] = True
    if old_serial:
        data["old_serial"] = old_serial
    return data


def kit_lots(session: Session, job: Job) -> dict[str, list[KitLot]]:
    """Return the lots handed out to a job by part number, in the order they were handed out."""
    found: dict[str, list[KitLot]] = {}
    for row in session.exec(select(KitLot).where(col(KitLot.job_id) == job.id).order_by(col(KitLot.id))).all():
        found.setdefault(row.part_number, []).append(row)
    return found


def lots_in_hand(session: Session, job: Job, lots: Mapping[str, Sequence[KitLot]]) -> dict[str, list[LotInHand]]:
    """Return what of the handed-out lots is still free; serials that were fitted are left out."""
    tracked = any(row.serials for rows in lots.values() for row in rows)
    used: set[str] = set()
    if tracked:
        used = set(
            session.exec(
                select(PartUse.serial).where(
                    col(PartUse.job_id) == job.id, col(PartUse.struck).is_(False), col(PartUse.serial) != ""
                )
            ).all()
        )
    return {
        part: [
            LotInHand(
                row.lot_id,
                row.lot_code,
                row.issued - row.fitted - row.spoiled - row.returned,
                tuple(s for s in row.serials if s not in used),
            )
            for row in rows
        ]
        for part, rows in lots.items()
    }


def write_fitted(
    session: Session,
    job: Job,
    lots: Mapping[str, Sequence[KitLot]],
    fitted: Collection[Fitted],
    step: str,
    event_id: str,
) -> None:
    """Spell out what new parts went in, and count them against their lots."""
    rows = {(row.part_number, row.lot_id): row for found in lots.values() for row in found}
    for fit in fitted:
        row = rows[fit.part, fit.lot_id]
        row.fitted += fit.count
        session.add(row)
        session.add(
            PartUse(
                job_id=job.id or 0,
                event_id=event_id,
                step=step,
                item=fit.item,
                part_number=fit.part,
                lot_id=fit.lot_id,
                quantity=fit.count,
                serial=fit.serial,
            )
        )


def write_scrap(session: Session, work: Bench, outcome: Outcome, event_id: str) -> None:
    """Spell out what was scrapped, with its waste stream."""
    for scrap in outcome.scrapped:
        item = work.items[scrap.item]
        session.add(
            Discard(
                job_id=work.job.id or 0,
                event_id=event_id,
                step=item.step,
                item=scrap.item,
                name=item.name,
                quantity=scrap.count,
                reason=scrap.reason,
                waste_stream=item.waste,
            )
        )


def undo(session: Session, number: str, undoes: str, *, at: datetime, who: int, event_id: str) -> None:
    """Take the last tick back with a new entry; the old one stays in the record."""
    digest = content_hash(["undo", number, undoes])
    work = Bench(session, number)
    if known_event(session, event_id, digest):
        return
    work.must_be_at_work()
    must_be_mine(work, who)
    last = find_event(session, work.job, undoes)
    effect = bench.undo_last(work.state, as_event(last) if last else None)
    assert last is not None
    data = {"effect": effect, "side": last.data.get("side", "turn")}
    record(
        session, work.job, kind="undo", at=at, who=who, event_id=event_id, step=last.step,
        data=data, undoes=undoes, digest=digest,
    )  # fmt: skip
    strike(session, work.job, last)
    now = state_of(work.job)
    work.job.stage = Stage.REFIT if now.turned else Stage.TEARDOWN


def find_event(session: Session, job: Job, event_id: str) -> BenchEvent | None:
    """Return one event of a job by its id, or None."""
    return session.exec(
        select(BenchEvent).where(col(BenchEvent.event_id) == event_id, col(BenchEvent.job_id) == job.id)
    ).first()


def as_event(row: BenchEvent) -> Event:
    """Return a stored event as the fold takes it."""
    return Event(row.event_id, row.kind, row.person_id, row.at, row.step, row.data, row.undoes)


def strike(session: Session, job: Job, taken_back: BenchEvent) -> None:
    """Strike what an entry spelt out: its new parts are free again, its scrap is not counted."""
    uses = session.exec(
        select(PartUse).where(col(PartUse.event_id) == taken_back.event_id, col(PartUse.struck).is_(False))
    ).all()
    lots = {(r.part_number, r.lot_id): r for found in kit_lots(session, job).values() for r in found} if uses else {}
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
    """Record the recount after a take-over; pieces short are recorded as lost. Returns what is short, in words."""
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
    short, words = bench.recount(expected, counted)
    data = {
        "counted": {str(n): counted[n] for n in expected},
        "effect": {by_number[n]: {"lost": missing} for n, missing in short.items()},
    }
    record(session, work.job, kind="recount", at=at, who=who, event_id=event_id, data=data, digest=digest)
    return words


def cure_left(state: BenchState, at: datetime) -> timedelta:
    """Return the longest time a timer still runs."""
    ends = [datetime.fromisoformat(t) for t in state.timers.values()]
    return max([end - at for end in ends if end > at], default=timedelta(0))
