"""Bench work by its kind: one door to the actions for entries that come as data, from a tablet or a question."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.jobs.actions import bench
from app.jobs.actions.bench import derived
from app.jobs.actions.places import set_place
from app.jobs.actions.record import load_job
from app.jobs.actions.trouble import rejected_words, report, take_report_back
from app.jobs.forms import TapData
from app.platform.errors import Refused
from app.procedures import queries as procedures
from app.rules.sheet import Sheet
from app.stores.queries import known_numbers


@dataclass(frozen=True)
class Deed:
    """Something done at the bench: to which job, what, at which step, with its particulars.

    ``takes_over`` is whether opening the job may take it over from another technician.
    """

    job: str
    kind: str
    side: str
    step: str
    data: TapData
    takes_over: bool = True


Stamped = dict[str, Any]
Doing = Callable[[Session, Deed, Stamped], tuple[str, ...]]


def do(session: Session, deed: Deed, *, at: datetime, who: int, event_id: str) -> tuple[str, ...]:
    """Do it through the action that the page calls; returns what it has to tell. Raises Refused and Conflict."""
    doing = _DEEDS.get(deed.kind)
    if doing is None:
        raise Refused("This cannot be booked.")
    return doing(session, deed, {"at": at, "who": who, "event_id": event_id})


def _open(session: Session, deed: Deed, stamped: Stamped) -> tuple[str, ...]:
    bench.open_job(session, deed.job, take_over=deed.takes_over, **stamped)
    return ()


def _pause(session: Session, deed: Deed, stamped: Stamped) -> tuple[str, ...]:
    bench.pause(session, deed.job, deed.data.reason or "Break", **stamped)
    return ()


def _tick(session: Session, deed: Deed, stamped: Stamped) -> tuple[str, ...]:
    """Tick a step, with the inspections that failed on it.

    The entry's own id goes to the tick, or to the first failed inspection where there is no tick: on the way back,
    and where what was found is a danger to people.
    """
    rejects, says = sorted(set(deed.data.rejects)), []
    ticks = not rejects or (deed.side == "down" and not _dangerous(session, deed.job, rejects))
    for n, name in enumerate(rejects):
        own = stamped["event_id"] if n == 0 and not ticks else derived(stamped["event_id"], name)
        short = report(session, deed.job, "reject", inspection=name, **{**stamped, "event_id": own})
        says.append(rejected_words(session, deed.job, own, short))
    if ticks:
        scanned = [(s.part, s.lot) for s in deed.data.scanned]
        bench.tick(
            session, deed.job, deed.side, deed.step, old_serial=deed.data.old_serial, rejects=rejects,
            scanned=scanned, **stamped,
        )  # fmt: skip
    return tuple(says)


def _dangerous(session: Session, number: str, rejects: list[str]) -> bool:
    sheet: Sheet = procedures.sheet(session, load_job(session, number).revision_id)
    stops = {
        f"{step.id}/{look.id}"
        for step in sheet.steps
        for look in (*step.inspect, *(step.refit.inspect if step.refit else ()))
        if look.on_reject.hold
    }
    return bool(stops & set(rejects))


def _turn(session: Session, deed: Deed, stamped: Stamped) -> tuple[str, ...]:
    bench.tick(session, deed.job, "turn", "", **stamped)
    return ()


def _undo(session: Session, deed: Deed, stamped: Stamped) -> tuple[str, ...]:
    bench.undo(session, deed.job, deed.data.undoes, **stamped)
    return ()


def _report(session: Session, deed: Deed, stamped: Stamped) -> tuple[str, ...]:
    said = deed.data
    if not said.report:
        raise Refused("Say what happened: damage, absent, lost, spoiled, leftover or reject.", "report")
    if said.part and said.part not in known_numbers(session):
        raise Refused(f"{said.part} is not in the catalogue. Look the number up under Parts.", "part")
    return report(
        session,
        deed.job,
        said.report,
        item=said.item,
        count=said.count,
        part=said.part or None,
        inspection=said.inspection,
        note=said.note,
        **stamped,
    )


def _take_back(session: Session, deed: Deed, stamped: Stamped) -> tuple[str, ...]:
    take_report_back(session, deed.job, deed.data.undoes, **stamped)
    return ()


def _recount(session: Session, deed: Deed, stamped: Stamped) -> tuple[str, ...]:
    return bench.recount(session, deed.job, dict(deed.data.counted), **stamped)


def _place(session: Session, deed: Deed, stamped: Stamped) -> tuple[str, ...]:
    said = deed.data
    set_place(session, deed.job, said.item, said.place, deed.side, said.on, **stamped)
    return ()


_DEEDS: dict[str, Doing] = {
    "open": _open, "pause": _pause, "tick": _tick, "turn": _turn, "undo": _undo, "report": _report,
    "take_back": _take_back, "recount": _recount, "place": _place,
}  # fmt: skip
