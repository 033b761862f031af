"""Whether what is stored about jobs agrees: records, their projections, kits, scrap and the stock ledger."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import groupby
from typing import Any

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.jobs.models import BenchEvent, Discard, Job, KitLine, KitLot, KitStandIn, PartUse, Stage, StepTimeRow
from app.jobs.queries.bench import items_for, pocket_numbers
from app.jobs.queries.chain import chain_hash
from app.jobs.queries.kit import ALTERNATES, PLANS
from app.jobs.queries.outcome_faults import booking_faults, outcome_faults, timing_faults
from app.procedures import queries as procedures
from app.rules import bench
from app.rules.counting import BenchState, Event, apply, closing_count
from app.rules.outbox import KEPT_AFTER_THE_END
from app.rules.verdict import Refused
from app.stores import queries as stores

ENDED = (Stage.CLOSED, Stage.RETURNED)
Sums = Mapping[Any, int]


@dataclass(frozen=True)
class _Link:
    """One entry as it is stored: the event, its place and its hash."""

    event: Event
    pass_no: int
    sequence: int
    chain: str


@dataclass
class _Said:
    """What a job's entries say of parts and scrap, net of what was taken back."""

    fitted: dict[Any, int] = field(default_factory=dict)
    spoiled: dict[Any, int] = field(default_factory=dict)
    scrapped: dict[Any, int] = field(default_factory=dict)
    added: dict[Any, int] = field(default_factory=dict)
    issued: dict[Any, int] = field(default_factory=dict)
    planned: dict[Any, int] = field(default_factory=dict)
    spare: dict[Any, int] = field(default_factory=dict)
    new: dict[Any, int] = field(default_factory=dict)
    stood_in: dict[Any, int] = field(default_factory=dict)


@dataclass(frozen=True)
class _Books:
    """What is stored beside the entries, by job id."""

    lines: Mapping[int, list[KitLine]]
    lots: Mapping[int, list[KitLot]]
    uses: Mapping[int, Sums]
    scrap: Mapping[int, Sums]
    moved: Mapping[str, Mapping[int, tuple[int, int]]]
    stood_in: Mapping[int, Sums]
    seconds: Mapping[int, Mapping[tuple[str, str], int]]
    lot_costs: Mapping[int, Decimal]


def bench_faults(session: Session, limit: int | None = None) -> list[str]:
    """Return in plain words where jobs disagree with their records, kits or the ledger; empty when all is well.

    Checked for every job, or the ``limit`` newest: the chain of entries from the first on, its end, length and
    version; the counting state against the fold of the entries; fitted, spoilt, added and handed-out parts and
    scrap against the entries; what was booked in; how the job ended, with its account; step times; lots against lines;
    the ledger's issues, returns and costs; the balance of ended jobs.
    """
    query = select(Job).order_by(col(Job.id).desc())
    jobs = {job.id or 0: job for job in session.exec(query if limit is None else query.limit(limit)).all()}
    least = min(jobs, default=0)
    books = _books(session, least)
    faults: list[str] = []
    seen: set[int] = set()
    for job_id, links in _records(session, least):
        if job_id in jobs:
            seen.add(job_id)
            faults += _job_faults(session, jobs[job_id], links, books)
    faults += [f"{jobs[job_id].number} has no entries." for job_id in sorted(jobs.keys() - seen)]
    if limit is None:
        known = {f"job:{job.number}" for job in jobs.values()}
        faults += [f"The ledger names {source}, and there is no such job." for source in books.moved.keys() - known]
    return faults


def _records(session: Session, least: int) -> Iterator[tuple[int, list[_Link]]]:
    event = BenchEvent
    columns: tuple[Any, ...] = (
        event.job_id, event.pass_no, event.sequence, event.chain,
        event.event_id, event.kind, event.person_id, event.at, event.step, event.data, event.undoes,
    )  # fmt: skip
    query: Any = (
        select(*columns)
        .where(col(event.job_id) >= least)
        .order_by(col(event.job_id), col(event.sequence))
        .execution_options(yield_per=2000)
    )
    for job_id, rows in groupby(session.connection().execute(query), key=lambda row: row[0]):
        yield job_id, [_Link(Event(*row[4:]), row[1], row[2], row[3]) for row in rows]


def _books(session: Session, least: int) -> _Books:
    lines: dict[int, list[KitLine]] = {}
    for line in session.exec(select(KitLine).where(col(KitLine.job_id) >= least)).all():
        lines.setdefault(line.job_id, []).append(line)
    lots: dict[int, list[KitLot]] = {}
    for lot in session.exec(select(KitLot).where(col(KitLot.job_id) >= least)).all():
        lots.setdefault(lot.job_id, []).append(lot)
    uses = _sums(session, PartUse, least, PartUse.item, PartUse.part_number, PartUse.lot_id, PartUse.serial)
    scrap = _sums(session, Discard, least, Discard.item, Discard.reason)
    return _Books(
        lines, lots, uses, scrap, stores.issues_and_returns(session, "job:"), _stood_in(session, least),
        _seconds(session, least), stores.lot_costs(session),
    )  # fmt: skip


def _seconds(session: Session, least: int) -> dict[int, dict[tuple[str, str], int]]:
    found: dict[int, dict[tuple[str, str], int]] = {}
    row = StepTimeRow
    query = select(row.job_id, row.side, row.step, row.seconds).where(col(row.job_id) >= least)
    for job_id, side, step, seconds in session.exec(query).all():
        found.setdefault(job_id, {})[side, step] = found.get(job_id, {}).get((side, step), 0) + seconds
    return found


def _stood_in(session: Session, least: int) -> dict[int, dict[Any, int]]:
    found: dict[int, dict[Any, int]] = {}
    for row in session.exec(select(KitStandIn).where(col(KitStandIn.job_id) >= least)).all():
        found.setdefault(row.job_id, {})[row.part_number, row.alternate] = row.planned + row.added
    return found


def _sums(session: Session, table: Any, least: int, *keys: Any) -> dict[int, dict[Any, int]]:
    columns: tuple[Any, ...] = (table.job_id, *keys, func.sum(table.quantity))
    query: Any = (
        select(*columns).where(col(table.job_id) >= least, col(table.struck).is_(False)).group_by(table.job_id, *keys)
    )
    found: dict[int, dict[Any, int]] = {}
    for job_id, *key, total in session.connection().execute(query):
        found.setdefault(job_id, {})[tuple(key)] = int(total)
    return found


def _job_faults(session: Session, job: Job, links: Sequence[_Link], books: _Books) -> list[str]:
    try:
        state, said = _read(links)
    except (Refused, KeyError, TypeError, ValueError) as error:
        return [*_chain_faults(job, links), f"{job.number}: its entries cannot be read one after the other: {error}"]
    faults = _chain_faults(job, links)
    if not _is_state(job.bench, state):
        faults.append(f"{job.number}: the counting state stored is not what its entries make.")
    if job.questions != len(state.questions):
        faults.append(f"{job.number}: {len(state.questions)} questions are open, and the job says {job.questions}.")
    events = [link.event for link in links]
    faults += booking_faults(job, events) + outcome_faults(job, events)
    faults += timing_faults(job, books.seconds.get(job.id or 0, {}))
    faults += _kit_faults(job, said, books)
    faults += _ledger_faults(job, books)
    if job.stage in ENDED:
        faults += _end_faults(session, job, state, links)
    return faults


def _is_state(stored: Mapping[str, Any], state: BenchState) -> bool:
    try:
        return BenchState.from_json(stored).to_json() == state.to_json()
    except (LookupError, TypeError, ValueError):
        return False


def _chain_faults(job: Job, links: Sequence[_Link]) -> list[str]:
    found = []
    previous = ""
    for place, link in enumerate(links, start=1):
        previous = chain_hash(previous, link.event, link.sequence)
        if link.sequence != place:
            found.append(f"{job.number}: entry {place} is missing.")
            break
        if link.chain != previous:
            found.append(f"{job.number}: entry {place} is not what was written; the chain breaks there.")
            break
    last = links[-1]
    if (job.last_sequence, job.chain) != (last.sequence, last.chain):
        found.append(
            f"{job.number}: the record ends with entry {last.sequence}, and the job says {job.last_sequence}"
            f"{'' if job.chain == last.chain else ' with another hash'}."
        )
    if job.version != job.last_sequence + 1:
        found.append(f"{job.number}: version {job.version} does not follow from {job.last_sequence} entries.")
    return found


def _add(sums: dict[Any, int], key: Any, count: int) -> None:
    sums[key] = sums.get(key, 0) + count


def _read(links: Sequence[_Link]) -> tuple[BenchState, _Said]:
    """Fold a record, and add up what it says of parts and scrap."""
    state, said = BenchState(), _Said()
    undone = {link.event.undoes for link in links if link.event.undoes}
    plans: dict[int, Mapping[str, Any]] = {}
    for link in links:
        event, data = link.event, link.event.data
        state = apply(state, event)
        if event.kind in PLANS:
            plans[link.pass_no] = data
            # What was fitted in steps that come down once more is no longer counted: they begin anew.
            said.new = {key: n for key, n in said.new.items() if key[1] not in data["baseline"]}
        if event.kind in ALTERNATES:
            _add(said.stood_in, (data["wanted"], data["alternate"]), data["planned"] + data["added"])
            for sums, figure in ((said.planned, data["planned"]), (said.added, data["added"])):
                _add(sums, data["wanted"], -figure)
                _add(sums, data["alternate"], figure)
        for part, lot_id, _code, count, _serials in data.get("lots", ()):
            _add(said.issued, (part, lot_id), count)
        if event.event_id in undone:
            continue
        for item, part, lot_id, _code, count, serial in data.get("fitted", ()):
            _add(said.fitted, (item, part, lot_id, serial), count)
            if link.pass_no == state.pass_no:
                _add(said.new, (link.pass_no, item), count)
        _read_report(data, said)
    for plan in plans.values():
        for part, count in plan.get("kit", {}).items():
            _add(said.planned, part, count)
        for part, _step, count in plan.get("spares", ()):
            _add(said.spare, part, count)
    said.new = {item: n for (pass_no, item), n in said.new.items() if pass_no == state.pass_no}
    counted = {key: count.new for key, count in state.items.items() if count.new}
    if counted != said.new:
        raise ValueError("new parts are counted that no entry took from a lot")
    return state, said


def _read_report(data: Mapping[str, Any], said: _Said) -> None:
    for part, lot_id, count, *_serial in data.get("spoiled", ()):
        _add(said.spoiled, (part, lot_id), count)
    for item, count, reason in data.get("scrapped", ()):
        _add(said.scrapped, (item, reason), count)
    for part, count in data.get("needs", {}).items():
        _add(said.added, part, count)


def _kit_faults(job: Job, said: _Said, books: _Books) -> list[str]:
    job_id = job.id or 0
    lots, lines = books.lots.get(job_id, []), books.lines.get(job_id, [])
    uses = books.uses.get(job_id, {})
    name = job.number
    found = _differ(f"{name}: fitted by the entries and as spelt out", said.fitted, uses)
    by_lot: dict[Any, int] = {}
    for (_item, part, lot_id, _serial), count in uses.items():
        _add(by_lot, (part, lot_id), count)
    of_lot: dict[str, dict[Any, int]] = {
        what: {(lot.part_number, lot.lot_id): getattr(lot, what) for lot in lots}
        for what in ("issued", "fitted", "spoiled")
    }
    found += _differ(f"{name}: fitted of part and lot", by_lot, of_lot["fitted"])
    found += _differ(f"{name}: spoilt of part and lot", said.spoiled, of_lot["spoiled"])
    found += _differ(f"{name}: handed out of part and lot", said.issued, of_lot["issued"])
    found += _differ(f"{name}: scrap by item and reason", said.scrapped, books.scrap.get(job_id, {}))
    for what in ("issued", "returned"):
        summed: dict[Any, int] = {}
        for lot in lots:
            _add(summed, lot.part_number, getattr(lot, what))
        found += _differ(
            f"{name}: {what} by lots and lines, part", summed, {x.part_number: getattr(x, what) for x in lines}
        )
    found += _differ(f"{name}: planned of part", said.planned, {x.part_number: x.planned for x in lines})
    found += _differ(f"{name}: spare of part", said.spare, {x.part_number: x.spare for x in lines})
    found += _differ(f"{name}: stands in, part and alternate", said.stood_in, books.stood_in.get(job_id, {}))
    found += _differ(f"{name}: added of part", said.added, {x.part_number: x.added for x in lines})
    found += [
        f"{name}: more of lot {lot.lot_code} of {lot.part_number} is used or returned than was handed out."
        for lot in lots
        if lot.fitted + lot.spoiled + lot.returned > lot.issued
    ]
    found += [
        f"{name}: lot {lot.lot_code} of {lot.part_number} is charged at {lot.unit_cost}, and the stores keep another."
        for lot in lots
        if lot.unit_cost != books.lot_costs.get(lot.lot_id)
    ]
    return found


def _ledger_faults(job: Job, books: _Books) -> list[str]:
    moved = books.moved.get(f"job:{job.number}", {})
    lots = books.lots.get(job.id or 0, [])
    out = {lot_id: figures[0] for lot_id, figures in moved.items()}
    back = {lot_id: figures[1] for lot_id, figures in moved.items()}
    return [
        *_differ(f"{job.number}: issued by the ledger and the kit, lot", out, {x.lot_id: x.issued for x in lots}),
        *_differ(f"{job.number}: returned by the ledger and the kit, lot", back, {x.lot_id: x.returned for x in lots}),
    ]


def _end_faults(session: Session, job: Job, state: BenchState, links: Sequence[_Link]) -> list[str]:
    found = []
    name = f"{job.number} is {job.stage.value}"
    # What a tablet sent only after the end stands behind the seal, and changes nothing that was sealed.
    last = next((link for link in reversed(links) if link.event.kind not in KEPT_AFTER_THE_END), links[-1])
    if job.seal != last.chain:
        found.append(f"{name}, and its seal is not the hash of the entry that ended it.")
    if job.stage is not Stage.CLOSED:
        return found
    if not state.counted:
        found.append(f"{name} without a signed count.")
    if not job.overridden:
        sheet = procedures.sheet(session, job.revision_id)
        if not set(state.teardown) <= {step.id for step in sheet.steps}:
            return [*found, f"{name}, and its steps are not those of the revision it is said to be on."]
        numbers = bench.step_numbers(sheet, state.teardown)
        pockets = pocket_numbers(sheet, state.teardown)
        count = closing_count(items_for(job.revision_id, sheet, state), state, numbers, pockets)
        found += [f"{name} and its count does not balance: {problem}" for problem in count.problems]
    return found


def _differ(what: str, facts: Sums, stored: Sums) -> list[str]:
    """Name every key whose two figures differ; a missing one counts as zero."""
    return [
        f"{what} {_named(key)}: the facts give {facts.get(key, 0)}, stored is {stored.get(key, 0)}."
        for key in sorted(facts.keys() | stored.keys(), key=str)
        if facts.get(key, 0) != stored.get(key, 0)
    ]


def _named(key: Any) -> str:
    return " ".join(str(part) for part in key if part != "") if isinstance(key, tuple) else str(key)
