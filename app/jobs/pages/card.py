"""The job card: the record of a job on paper."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from sqlmodel import Session

from app.jobs.models import Stage
from app.jobs.pages.account import PersonTime, Stream, person_times, streams_of
from app.jobs.pages.booking import unit_names
from app.jobs.pages.closing import Result, count_of, results
from app.jobs.queries import closing as reads
from app.jobs.queries import jobs as queries
from app.jobs.queries.bench import items_for, pocket_numbers
from app.jobs.queries.jobs import JobDetail
from app.people import queries as people
from app.platform.settings import Settings
from app.procedures import queries as procedures
from app.procedures.queries import ModelInfo, RevisionInfo
from app.rules import bench
from app.rules.counting import BenchState, CountRow
from app.rules.descent import Rail, rail_of
from app.rules.money import extend, round_money
from app.rules.scan_codes import job_code
from app.rules.sheet import Sheet
from app.stores import queries as stores


@dataclass(frozen=True)
class CountedRow:
    """One line of the count on paper, with the step it belongs to."""

    step_no: int
    row: CountRow


@dataclass(frozen=True)
class PassSheet:
    """One pass: its descent and its count."""

    number: int
    targets: tuple[str, ...]
    rail: Rail
    rows: tuple[CountedRow, ...]


@dataclass(frozen=True)
class PartLine:
    """A new part that went in, with its lot, its serial where it is tracked, and the part it stands in for."""

    number: str
    name: str
    step_no: int | None
    lot: str
    serial: str
    quantity: int
    cost: Decimal
    in_place_of: str = ""


@dataclass(frozen=True)
class Override:
    """A supervisor's override: who, why, and what did not agree."""

    at: datetime
    supervisor: str
    technician: str
    scope: str
    reason: str
    problems: tuple[str, ...]


@dataclass(frozen=True)
class Exchange:
    """A unit exchanged: the serials of the old and the new one, where they were noted."""

    unit: str
    old_serial: str
    new_serial: str


@dataclass(frozen=True)
class CardPage:
    """The whole card. ``label`` is the code of the job's labels; ``sheet_id`` names this printing."""

    job: JobDetail
    model: ModelInfo
    revision: RevisionInfo
    label: str
    sheet_id: str
    printed_at: datetime
    targets: tuple[str, ...]
    exchanges: tuple[Exchange, ...]
    passes: tuple[PassSheet, ...]
    parts: tuple[PartLine, ...]
    people: tuple[PersonTime, ...]
    bench_s: int
    parts_cost: Decimal
    labour: Decimal
    total: Decimal
    tests: tuple[Result, ...]
    overrides: tuple[Override, ...]
    streams: tuple[Stream, ...]
    technician: str
    booked_by: str
    signed_by: str
    signed_at: datetime | None

    @property
    def closed(self) -> bool:
        """Whether the job is closed, so that the card says the last word."""
        return self.job.stage is Stage.CLOSED


def card_page(session: Session, number: str, settings: Settings, at: datetime) -> CardPage:
    """Build the card of a job as it stands at ``at``."""
    job = queries.find_job(session, number)
    sheet = procedures.sheet(session, job.revision_id)
    names = people.names(session)
    states = reads.pass_states(session, job.id)
    found = reads.account(session, job, settings, job.closed_at or at)
    signed = reads.entries(session, job.id, kinds=("count", "override"))
    last = signed[-1] if signed else None
    label = job_code(job.number)
    return CardPage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        revision=procedures.revision_info(session, job.revision_id),
        label=label,
        sheet_id=f"{label}-{job.version}",
        printed_at=at,
        targets=_all_targets(states, sheet),
        exchanges=_exchanges(session, job, sheet),
        passes=tuple(_pass_sheet(s, sheet, job.revision_id) for s in states),
        parts=_parts(session, job, states, sheet, settings, at.astimezone(settings.zone).date()),
        people=person_times(found, names),
        bench_s=found.bench.total_s,
        parts_cost=found.parts.total,
        labour=found.labour,
        total=found.total,
        tests=results(session, job, sheet),
        overrides=_overrides(session, job, names),
        streams=streams_of(reads.scrap(session, job.id)),
        technician=names.get(job.technician_id or 0, ""),
        booked_by=names.get(job.booked_by or 0, ""),
        signed_by=names.get(last.person_id or 0, "") if last else "",
        signed_at=last.at if last else None,
    )


def _all_targets(states: tuple[BenchState, ...], sheet: Sheet) -> tuple[str, ...]:
    return unit_names(sheet, [target for state in states for target in state.targets])


def _pass_sheet(state: BenchState, sheet: Sheet, revision_id: int) -> PassSheet:
    numbers = bench.step_numbers(sheet, state.teardown)
    rows = sorted(count_of(sheet, state, revision_id).rows, key=lambda row: numbers[row.item.step])
    return PassSheet(
        number=state.pass_no,
        targets=unit_names(sheet, state.targets),
        rail=rail_of(sheet, state, items_for(revision_id, sheet, state), pocket_numbers(sheet, state.teardown)),
        rows=tuple(CountedRow(numbers[row.item.step], row) for row in rows),
    )


def _exchanges(session: Session, job: JobDetail, sheet: Sheet) -> tuple[Exchange, ...]:
    """Return the exchanges with a serial, in the order of their ticks; one that was taken back is left out."""
    units = {f"{step.id}/unit:{step.frees}": step.frees for step in sheet.steps if step.frees}
    names = {unit.id: unit.name for unit in sheet.units}
    undone = {e.undoes for e in reads.entries(session, job.id, kinds=("undo",))}
    found: dict[tuple[int, str], Exchange] = {}
    for entry in reads.entries(session, job.id, kinds=("tick",)):
        if entry.event_id in undone:
            continue
        for item, _part, _lot_id, _lot, _count, serial in entry.data.get("fitted", ()):
            old = str(entry.data.get("old_serial", ""))
            if item in units and (old or serial):
                found[entry.pass_no, item] = Exchange(names[units[item]], old, str(serial or ""))
    return tuple(found.values())


def _parts(
    session: Session, job: JobDetail, states: tuple[BenchState, ...], sheet: Sheet, settings: Settings, today: date
) -> tuple[PartLine, ...]:
    fitted = reads.fitted_parts(session, job.id)
    shelf = stores.shelf(session, [f.part_number for f in fitted], today)
    numbers: dict[str, int] = {}
    for state in states:
        numbers |= bench.step_numbers(sheet, state.teardown)
    return tuple(
        PartLine(
            number=f.part_number,
            name=shelf[f.part_number].name if f.part_number in shelf else f.part_number,
            step_no=numbers.get(f.step),
            lot=f.lot_code,
            serial=f.serial,
            quantity=f.quantity,
            cost=round_money(extend(f.unit_cost, f.quantity), settings.currency),
            in_place_of=f.in_place_of,
        )
        for f in fitted
    )


def _overrides(session: Session, job: JobDetail, names: Mapping[int, str]) -> tuple[Override, ...]:
    return tuple(
        Override(
            at=e.at,
            supervisor=names.get(int(e.data["supervisor"]), ""),
            technician=names.get(e.person_id or 0, ""),
            scope="closing count" if e.data.get("scope") == "final" else "count before a cover",
            reason=str(e.data.get("reason", "")),
            problems=tuple(e.data.get("problems", ())),
        )
        for e in reads.entries(session, job.id, kinds=("override",))
    )
