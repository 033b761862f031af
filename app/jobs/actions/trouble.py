"""Reports of trouble: damage, missing on arrival, lost, spoilt, left over, failed inspection; and taking one back."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session, col, select

from app.jobs.actions.bench import Bench, strike, write_scrap
from app.jobs.actions.hold import begin_hold, following_id, put_down
from app.jobs.actions.kit_changes import add_to_kit, shrink_kit
from app.jobs.actions.record import known_event, load_job, record
from app.jobs.models import BenchEvent, Hold, Job, Stage
from app.jobs.queries.bench import find_event, kit_lots, lots_in_hand
from app.jobs.queries.kit import outstanding
from app.platform.errors import Refused
from app.platform.submissions import content_hash
from app.rules import bench
from app.rules.bench import Fitted, Outcome
from app.rules.counting import turned_sign

__all__ = ["REPORTS", "add_to_kit", "rejected_words", "report", "take_report_back"]

REPORTS = ("damage", "absent", "lost", "spoiled", "leftover", "reject")


def report(
    session: Session,
    number: str,
    kind: str,
    *,
    item: str = "",
    count: int = 1,
    part: str | None = None,
    inspection: str = "",
    note: str = "",
    at: datetime,
    who: int,
    event_id: str,
) -> tuple[str, ...]:
    """Record trouble with an item; what it needs joins the kit, reserved or short at once.

    ``kind`` is one of REPORTS; for ``reject`` the ``inspection`` is named ``step/inspection``. Returns what
    stores is short of, in words; empty when all is reserved or nothing is needed.
    """
    digest = content_hash(["report", number, kind, item, count, part or "", inspection, note])
    work = Bench(session, number)
    if known_event(session, event_id, digest):
        return ()
    if work.job.stage not in (Stage.TEARDOWN, Stage.REFIT, Stage.COUNTED):
        raise Refused("Trouble is reported while the job is at the bench.")
    outcome, data, step = _decide(work, kind, item, count, part, inspection)
    danger = str(data.pop("danger", ""))
    data |= {"count": count, "note": note, "needs": dict(outcome.needs)}
    if outcome.effect:
        data["effect"] = outcome.effect
    if outcome.scrapped:
        data["scrapped"] = [[s.item, s.count, s.reason] for s in outcome.scrapped]
    if outcome.fitted:
        data["spoiled"] = [[f.part, f.lot_id, f.count, f.serial] for f in outcome.fitted]
    record(session, work.job, kind=kind, at=at, who=who, event_id=event_id, step=step, data=data, digest=digest)
    write_scrap(session, work, outcome, event_id)
    _count_spoiled(session, work.job, outcome.fitted)
    if work.job.stage is Stage.COUNTED:
        work.job.stage = Stage.REFIT
    if danger:
        put_down(session, work.job, "on hold: safety", at=at, who=who, event_id=event_id)
        held = following_id(event_id, "hold")
        begin_hold(session, work.job, Hold.SAFETY, danger, at=at, who=who, event_id=held)
    return add_to_kit(session, work.job, outcome.needs, at=at, who=who, entry_id=event_id)


def rejected_words(session: Session, number: str, event_id: str, short: Sequence[str]) -> str:
    """Tell of a failed inspection that was just reported: the sheet's remedy, and what became of the part.

    ``short`` is what ``report`` returned.
    """
    job = load_job(session, number)
    row = find_event(session, job.id, event_id)
    data = row.data if row else {}
    shelf = " ".join(short)
    if data.get("needs") and not shelf:
        waits = outstanding(session, job.id or 0)
        wanted = any(waits.get(part) for part in data["needs"])
        shelf = "The new part is reserved; stores hands it out." if wanted else "A spare is in the kit."
    return f"Failed inspection recorded. {data.get('say', '')} {shelf}".strip()


def _decide(
    work: Bench, kind: str, key: str, count: int, part: str | None, inspection: str
) -> tuple[Outcome, dict[str, object], str | None]:
    state = work.state
    if kind == "leftover":
        if count < 1:
            raise Refused("At least one piece is left over.", "count")
        return Outcome(), {"leftover": count}, None
    if kind == "reject":
        step_id, _, name = inspection.partition("/")
        step = work.sheet.step(step_id) if step_id in state.teardown else None
        looks = [*step.inspect, *(step.refit.inspect if step.refit else ())] if step else []
        found = next((i for i in looks if i.id == name), None)
        if found is None:
            raise Refused("Choose an inspection of this job.", "inspection")
        in_hand = lots_in_hand(work.session, work.job.id, kit_lots(work.session, work.job.id))
        outcome = bench.reject(work.items, state, step_id, found, in_hand)
        said: dict[str, object] = {"reject": inspection, "say": found.on_reject.say}
        if found.on_reject.hold:
            said["danger"] = found.on_reject.say
        return outcome, said, step_id
    item = work.item(key)
    counted = state.items[key]
    chosen = part or state.new_part.get(key)
    data: dict[str, object] = {"item": key}
    if chosen:
        data["part"] = chosen
    if kind == "damage":
        return bench.damage(item, counted, count, chosen), data, item.step
    if kind == "absent":
        return bench.absent(item, counted, count, chosen), data, item.step
    if kind == "lost":
        return bench.lost(item, counted, count, chosen), data, item.step
    if kind == "spoiled":
        number = chosen or item.part or ""
        in_hand = lots_in_hand(work.session, work.job.id, kit_lots(work.session, work.job.id))
        return bench.spoiled(item, counted, count, chosen, in_hand.get(number, ())), data, item.step
    raise Refused("Choose what happened.", "kind")


def _count_spoiled(session: Session, job: Job, drawn: tuple[Fitted, ...]) -> None:
    rows = (
        {(r.part_number, r.lot_id): r for found in kit_lots(session, job.id).values() for r in found} if drawn else {}
    )
    for fit in drawn:
        rows[fit.part, fit.lot_id].spoiled += fit.count
        session.add(rows[fit.part, fit.lot_id])


def take_report_back(session: Session, number: str, undoes: str, *, at: datetime, who: int, event_id: str) -> None:
    """Take a report back with a new entry: it was found, or it was a mistake. Its kit addition is released."""
    digest = content_hash(["take back", number, undoes])
    work = Bench(session, number)
    if known_event(session, event_id, digest):
        return
    if work.job.stage not in (Stage.TEARDOWN, Stage.REFIT, Stage.COUNTED):
        raise Refused("A report is taken back while the job is at the bench.")
    row = find_event(session, work.job.id, undoes)
    if row is None or row.kind not in (*REPORTS, "recount"):
        raise Refused("Choose one of this job's reports.")
    if row.pass_no != work.state.pass_no:
        raise Refused("This report belongs to an earlier pass, whose count is signed.")
    if _already_back(session, work.job, undoes):
        raise Refused("This report was already taken back.")
    data: dict[str, object] = {"effect": turned_sign(row.data.get("effect", {})), "report": row.kind}
    for name in ("reject", "leftover"):
        if row.data.get(name):
            data[name] = row.data[name]
    if row.data.get("part"):
        data["new_part_of"] = row.data["item"]
        other = _part_still_chosen(session, work, row)
        if other:
            data["new_part"] = other
    record(
        session, work.job, kind="undo", at=at, who=who, event_id=event_id, step=row.step,
        data=data, undoes=undoes, digest=digest,
    )  # fmt: skip
    strike(session, work.job, row)
    _unspoil(session, work.job, row)
    shrink_kit(session, work.job, row.data.get("needs", {}), at=at, who=who, entry_id=event_id)
    if work.job.stage is Stage.COUNTED:
        work.job.stage = Stage.REFIT


def _part_still_chosen(session: Session, work: Bench, taken_back: BenchEvent) -> str | None:
    """Return the new part that the newest other report of the same item names and that still stands."""
    rows = session.exec(
        select(BenchEvent)
        .where(
            col(BenchEvent.job_id) == work.job.id,
            col(BenchEvent.pass_no) == work.state.pass_no,
            col(BenchEvent.kind).in_((*REPORTS, "undo")),
        )
        .order_by(col(BenchEvent.sequence).desc())
    ).all()
    gone = {row.undoes for row in rows if row.undoes} | {taken_back.event_id}
    for row in rows:
        stands = row.kind != "undo" and row.event_id not in gone and row.data.get("part")
        if stands and row.data.get("item") == taken_back.data["item"]:
            return str(row.data["part"])
    return None


def _already_back(session: Session, job: Job, event_id: str) -> bool:
    found = session.exec(
        select(BenchEvent.id).where(col(BenchEvent.job_id) == job.id, col(BenchEvent.undoes) == event_id)
    ).first()
    return found is not None


def _unspoil(session: Session, job: Job, row: BenchEvent) -> None:
    spoiled = row.data.get("spoiled", [])
    rows = {(r.part_number, r.lot_id): r for f in kit_lots(session, job.id).values() for r in f} if spoiled else {}
    for part, lot_id, count, _serial in spoiled:
        rows[part, lot_id].spoiled -= count
        session.add(rows[part, lot_id])
