"""Closing a job: plan against actual, what it cost, what goes back to its shelf, what is scrapped."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlmodel import Session

from app.jobs.models import Hold, Stage
from app.jobs.pages.booking import unit_names
from app.jobs.queries import closing as reads
from app.jobs.queries import jobs as queries
from app.jobs.queries import kit as kit_queries
from app.jobs.queries.closing import Account, ScrapRow
from app.jobs.queries.jobs import JobDetail
from app.jobs.queries.old_units import InPlace, KeptUnit, in_place, kept_units
from app.people import queries as people
from app.platform.forms import Form
from app.platform.settings import Settings
from app.procedures import queries as procedures
from app.procedures.queries import ModelInfo
from app.rules.closing import standard_s, still_to_test
from app.rules.counting import BenchState
from app.rules.expected_time import ExpectedTime, from_standard
from app.rules.sheet import Sheet
from app.stores import queries as stores
from app.stores.queries import ShelfPart


@dataclass(frozen=True)
class CostLine:
    """A part that was used: ``planned`` or beyond the plan; ``lots`` are the batches it came from."""

    number: str
    name: str
    unit: str
    lots: str
    quantity: int
    cost: Decimal
    planned: bool


@dataclass(frozen=True)
class PersonTime:
    """A person's bench time on the job, in seconds."""

    person: str
    seconds: int


@dataclass(frozen=True)
class RestLine:
    """Of a lot what was not used, with the shelf it goes back to."""

    number: str
    name: str
    lot: str
    quantity: int
    location: str


@dataclass(frozen=True)
class Stream:
    """What goes into one waste stream."""

    name: str
    pieces: int
    lines: tuple[ScrapRow, ...]


@dataclass(frozen=True)
class Passes:
    """Steps and standard time of all passes together: planned, and ticked. ``count`` is how many passes there were."""

    count: int
    down: int
    down_done: int
    up: int
    up_done: int
    standard_s: int


@dataclass(frozen=True)
class ClosePage:
    """A job before it closes, or as it closed. ``blocked`` says why it cannot close now.

    ``difference`` is actual cost less the quote, None where nothing was quoted. ``kept`` are old units that are not
    scrapped, ``in_place`` the alternates that went in.
    """

    job: JobDetail
    model: ModelInfo
    targets: tuple[str, ...]
    form: Form[Any]
    passes: Passes
    expected: ExpectedTime
    bench_s: int
    people: tuple[PersonTime, ...]
    rate: Decimal
    costs: tuple[CostLine, ...]
    parts_planned: Decimal
    parts_beyond: Decimal
    parts_total: Decimal
    labour: Decimal
    total: Decimal
    difference: Decimal | None
    pieces_planned: int
    pieces_used: int
    rest: tuple[RestLine, ...]
    streams: tuple[Stream, ...]
    blocked: str
    blocked_href: str
    blocked_text: str
    kept: tuple[KeptUnit, ...] = ()
    in_place: tuple[InPlace, ...] = ()

    @property
    def core_charges(self) -> Decimal:
        """What suppliers charge if the cores do not come back: no part of the job's cost."""
        return sum((one.core_charge for one in self.kept), Decimal(0))

    @property
    def closed(self) -> bool:
        """Whether the job is closed: then the figures are the sealed ones."""
        return self.job.stage is Stage.CLOSED


def _expected(job: JobDetail, standard_s: int) -> ExpectedTime:
    """Return what was expected when the job was planned; the standard time of its passes where that is not known."""
    if job.median_s is None or job.p80_s is None:
        return from_standard(standard_s)
    return ExpectedTime(job.median_s, job.p80_s, 0, "As it was planned.")


def close_page(
    session: Session, number: str, form: Form[Any], settings: Settings, *, at: datetime, today: date
) -> ClosePage:
    """Build the closing page of a job; bench time of an open job counts up to ``at``."""
    job = queries.find_job(session, number)
    sheet = procedures.sheet(session, job.revision_id)
    found = reads.account(session, job, settings, job.closed_at or at)
    passes = passes_of(reads.pass_states(session, job.id), sheet)
    rest = reads.kit_rest(session, job.id)
    shelf = stores.shelf(session, [r.part_number for r in rest] + [c.part for c in found.parts.lines], today)
    kept = kept_units(session, job.id, sheet)
    blocked, href, text = _blocked(job, sheet)
    return ClosePage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        targets=unit_names(sheet, job.state.targets),
        form=form,
        passes=passes,
        expected=_expected(job, passes.standard_s),
        bench_s=found.bench.total_s,
        people=person_times(found, people.names(session)),
        rate=settings.labour_rate,
        costs=_costs(session, job, found, shelf),
        parts_planned=found.parts.planned,
        parts_beyond=found.parts.beyond_plan,
        parts_total=found.parts.total,
        labour=found.labour,
        total=found.total,
        difference=None if job.quoted is None else found.total - job.quoted,
        pieces_planned=sum(row.planned for row in kit_queries.kit(session, job, today)),
        pieces_used=sum(line.quantity for line in found.parts.lines),
        rest=tuple(_rest(r.part_number, r.lot_code, r.unused or r.returned, shelf) for r in rest),
        streams=streams_of(reads.scrap(session, job.id, {one.out.item for one in kept})),
        kept=kept,
        in_place=in_place(session, job.id),
        blocked=blocked,
        blocked_href=href,
        blocked_text=text,
    )


def _blocked(job: JobDetail, sheet: Sheet) -> tuple[str, str, str]:
    """Return why the job cannot close, with the page to go to and what the link says; empty when it can."""
    base = f"/jobs/{job.number}"
    if job.stage is Stage.CLOSED:
        return "This job is closed. Its record is sealed.", f"{base}/card", "Job card"
    if job.hold in (Hold.SAFETY, Hold.OWNER):
        return f"The job is on hold ({job.hold.value}): {job.hold_reason}", f"{base}/hold", "What to do"
    if job.stage not in (Stage.COUNTED, Stage.TESTED):
        return "A job closes after its closing count and its release tests.", base, "To the job"
    waiting = still_to_test(sheet, job.state)
    if waiting:
        return "Still to test: " + ", ".join(t.title for t in waiting) + ".", f"{base}/tests", "Release tests"
    if job.state.questions:
        return "Entries from tablets are still questions.", f"{base}/questions", "Settle the questions"
    return "", "", ""


def passes_of(states: Sequence[BenchState], sheet: Sheet) -> Passes:
    """Add the passes of a job up."""
    return Passes(
        count=len(states),
        down=sum(len(s.teardown) for s in states),
        down_done=sum(len(s.down) for s in states),
        up=sum(len(s.refit) for s in states),
        up_done=sum(len(s.up) for s in states),
        standard_s=sum(standard_s(sheet, s) for s in states),
    )


def person_times(found: Account, names: Mapping[int, str]) -> tuple[PersonTime, ...]:
    """Return the bench time of each person, in the order they came to the job."""
    order = dict.fromkeys(one.person for one in sorted(found.bench.intervals, key=lambda i: i.start))
    return tuple(PersonTime(names.get(person, ""), found.bench.person_s(person)) for person in order)


def _costs(session: Session, job: JobDetail, found: Account, shelf: Mapping[str, ShelfPart]) -> tuple[CostLine, ...]:
    lots: dict[str, list[str]] = {}
    for fitted in reads.fitted_parts(session, job.id):
        codes = lots.setdefault(fitted.part_number, [])
        if fitted.lot_code not in codes:
            codes.append(fitted.lot_code)
    return tuple(
        CostLine(
            number=line.part,
            name=_name(shelf, line.part),
            unit=shelf[line.part].unit if line.part in shelf else "each",
            lots=", ".join(lots.get(line.part, ())),
            quantity=line.quantity,
            cost=line.cost,
            planned=line.planned,
        )
        for line in found.parts.lines
    )


def _rest(part: str, lot: str, quantity: int, shelf: Mapping[str, ShelfPart]) -> RestLine:
    location = shelf[part].location if part in shelf else ""
    return RestLine(part, _name(shelf, part), lot, quantity, location)


def _name(shelf: Mapping[str, ShelfPart], part: str) -> str:
    return shelf[part].name if part in shelf else part


def streams_of(rows: Sequence[ScrapRow]) -> tuple[Stream, ...]:
    """Group what was scrapped by waste stream; the same thing scrapped for the same reason is one line."""
    found: dict[str, dict[tuple[str, str], int]] = {}
    for row in rows:
        lines = found.setdefault(row.waste_stream, {})
        lines[row.name, row.reason] = lines.get((row.name, row.reason), 0) + row.quantity
    return tuple(
        Stream(
            name,
            sum(lines.values()),
            tuple(ScrapRow(what, n, reason, name) for (what, reason), n in lines.items()),
        )
        for name, lines in found.items()
    )
