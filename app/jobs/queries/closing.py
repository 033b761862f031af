"""Reads for the end of a job: its account, what went in, what was scrapped, what goes back to its shelf."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, time
from decimal import Decimal
from typing import Any

from sqlmodel import Session, col, select

from app.jobs.models import BenchEvent, Discard, Job, KitLot, PartUse
from app.jobs.queries.bench import as_event, entries_of, kit_lots
from app.jobs.queries.jobs import JobDetail
from app.jobs.queries.kit import kit_lines
from app.platform.settings import Settings
from app.rules import costing
from app.rules.bench_marks import job_intervals
from app.rules.bench_time import Intervals
from app.rules.costing import PartsCost, job_parts_cost, labour_cost
from app.rules.counting import BenchState, apply


@dataclass(frozen=True)
class Account:
    """What a job cost: parts at lot cost with what went beyond the plan apart, bench time and labour."""

    parts: PartsCost
    bench: Intervals
    labour: Decimal
    total: Decimal


@dataclass(frozen=True)
class Entry:
    """One entry of a job's record whole, with its place in the record."""

    sequence: int
    event_id: str
    kind: str
    pass_no: int
    step: str | None
    person_id: int | None
    at: datetime
    data: Mapping[str, Any]
    undoes: str | None


@dataclass(frozen=True)
class FittedPart:
    """A new part that went in and stands, with its lot; ``serial`` is empty where none is tracked.

    ``in_place_of`` is the part that was wanted where an approved alternate went in, empty otherwise.
    """

    step: str
    item: str
    part_number: str
    lot_code: str
    quantity: int
    serial: str
    unit_cost: Decimal
    in_place_of: str = ""


@dataclass(frozen=True)
class ScrapRow:
    """Pieces scrapped and not taken back; ``reason`` is planned, damaged or spoiled."""

    name: str
    quantity: int
    reason: str
    waste_stream: str


@dataclass(frozen=True)
class KitRest:
    """What of a lot is still with the job, or went back: ``unused`` now, ``returned`` at closing."""

    part_number: str
    lot_code: str
    unused: int
    returned: int


def bench_intervals(events: Iterable[BenchEvent], settings: Settings, until: datetime) -> Intervals:
    """Return the bench time of a job from its events, by the conventions of ``rules.bench_time``."""
    entries = (as_event(event) for event in events)
    return job_intervals(entries, time.fromisoformat(settings.shift_end), settings.zone, until)


def account(session: Session, job: Job | JobDetail, settings: Settings, until: datetime) -> Account:
    """Return what a job cost so far: only parts that were fitted or spoilt, not what waits in the kit."""
    intervals = bench_intervals(entries_of(session, job.id), settings, until)
    planned = {part: line.planned for part, line in kit_lines(session, job.id).items()}
    rows = [row for found in kit_lots(session, job.id).values() for row in found]
    parts = job_parts_cost(part_uses(rows, planned), settings.currency)
    labour = labour_cost(intervals.total_s, settings.labour_rate, settings.currency)
    return Account(parts, intervals, labour, parts.total + labour)


def sealed_account(found: Account) -> dict[str, Any]:
    """Return an account as the entry that ends a job keeps it, so that the seal is over the figures too."""
    return {"parts": str(found.parts.total), "labour": str(found.labour), "bench_s": found.bench.total_s}


def part_uses(rows: Iterable[KitLot], planned: Mapping[str, int]) -> list[costing.PartUse]:
    """Split what was used of each lot into planned use, up to the plan's quantity, and use beyond the plan."""
    left = dict(planned)
    uses = []
    for row in rows:
        used = row.fitted + row.spoiled
        as_planned = min(used, left.get(row.part_number, 0))
        left[row.part_number] = left.get(row.part_number, 0) - as_planned
        if as_planned:
            uses.append(costing.PartUse(row.part_number, as_planned, row.unit_cost, True))
        if used > as_planned:
            uses.append(costing.PartUse(row.part_number, used - as_planned, row.unit_cost, False))
    return uses


def entries(
    session: Session, job_id: int, *, after: int = 0, limit: int | None = None, kinds: Iterable[str] = ()
) -> tuple[Entry, ...]:
    """Return a job's record in order, from behind the sequence ``after`` on; ``kinds`` narrows it."""
    query = select(BenchEvent).where(col(BenchEvent.job_id) == job_id, col(BenchEvent.sequence) > after)
    wanted = tuple(kinds)
    if wanted:
        query = query.where(col(BenchEvent.kind).in_(wanted))
    rows = session.exec(query.order_by(col(BenchEvent.sequence)).limit(limit)).all()
    return tuple(
        Entry(r.sequence, r.event_id, r.kind, r.pass_no, r.step, r.person_id, r.at, r.data, r.undoes) for r in rows
    )


def find_entry(session: Session, job_id: int, event_id: str) -> Entry | None:
    """Return one entry of a job by its event's id, or None."""
    r = session.exec(
        select(BenchEvent).where(col(BenchEvent.job_id) == job_id, col(BenchEvent.event_id) == event_id)
    ).first()
    if r is None:
        return None
    return Entry(r.sequence, r.event_id, r.kind, r.pass_no, r.step, r.person_id, r.at, r.data, r.undoes)


def pass_states(session: Session, job_id: int) -> tuple[BenchState, ...]:
    """Return how each planned pass of a job ended, or stands, in order; rebuilt from the entries."""
    state = BenchState()
    found: dict[int, BenchState] = {}
    rows = session.exec(
        select(BenchEvent).where(col(BenchEvent.job_id) == job_id).order_by(col(BenchEvent.sequence))
    ).all()
    for row in rows:
        state = apply(state, as_event(row))
        if state.teardown:
            found[state.pass_no] = state
    return tuple(found[n] for n in sorted(found))


def fitted_parts(session: Session, job_id: int) -> tuple[FittedPart, ...]:
    """Return the new parts that went into a job and stand, in the order they were fitted."""
    lots = {row.lot_id: row for rows in kit_lots(session, job_id).values() for row in rows}
    uses = session.exec(
        select(PartUse).where(col(PartUse.job_id) == job_id, col(PartUse.struck).is_(False)).order_by(col(PartUse.id))
    ).all()
    return tuple(
        FittedPart(
            u.step,
            u.item,
            u.part_number,
            lots[u.lot_id].lot_code,
            u.quantity,
            u.serial,
            lots[u.lot_id].unit_cost,
            u.in_place_of,
        )
        for u in uses
    )


def scrap(session: Session, job_id: int, kept: Collection[str] = ()) -> tuple[ScrapRow, ...]:
    """Return what a job scrapped, by waste stream, in the order it was scrapped; items ``kept`` are left out."""
    rows = session.exec(
        select(Discard)
        .where(col(Discard.job_id) == job_id, col(Discard.struck).is_(False))
        .order_by(col(Discard.waste_stream), col(Discard.id))
    ).all()
    return tuple(ScrapRow(r.name, r.quantity, r.reason, r.waste_stream.value) for r in rows if r.item not in kept)


def kit_rest(session: Session, job_id: int) -> tuple[KitRest, ...]:
    """Return what of a kit was not used, lot by lot; lots that are used up are left out."""
    found = []
    for rows in kit_lots(session, job_id).values():
        for row in rows:
            unused = row.issued - row.fitted - row.spoiled - row.returned
            if unused or row.returned:
                found.append(KitRest(row.part_number, row.lot_code, unused, row.returned))
    return tuple(found)
