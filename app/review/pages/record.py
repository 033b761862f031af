"""A job's record page: what happened in time order, and what it came to."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, tzinfo
from decimal import Decimal
from typing import Any, TypeVar

from app.platform.settings import Settings
from app.platform.web import duration_text, money_text
from app.review.account import parts_account, standard_time_s
from app.review.descent import rails
from app.review.phrases import item_name, step_title
from app.review.queries.record import JobFacts, KitPart, Linked, PhotoInfo, Scrap, UsedPart
from app.review.seal import SealCheck, check_seal
from app.review.words import words
from app.rules.bench_marks import job_intervals
from app.rules.bench_time import Intervals
from app.rules.descent import Rail
from app.rules.money import extend, round_money
from app.rules.sheet import Sheet
from app.stores.queries import MovementRow, UnitRow

N = TypeVar("N", int, Decimal)
TROUBLE = frozenset(
    {
        "damage",
        "absent",
        "lost",
        "spoiled",
        "leftover",
        "reject",
        "override",
        "hold",
        "declined",
        "returned",
        "reopened",
        "question",
    }
)
ENDS = ("closed", "returned")


@dataclass(frozen=True)
class EntryLine:
    """One entry in plain words. ``taken_back_by`` and ``takes_back`` are places of other entries.

    ``settled_by`` and ``settles`` are the places of a question's settlement and of the question; ``notes`` say what
    is to be known about how the entry came.
    """

    place: int
    at: datetime
    who: str
    words: str
    taken_back_by: int | None
    takes_back: int | None
    trouble: bool
    photos: tuple[PhotoInfo, ...]
    settled_by: int | None = None
    settles: int | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class DayOfEntries:
    """The entries of one day of the workshop."""

    day: date
    lines: tuple[EntryLine, ...]


@dataclass(frozen=True)
class FittedLine:
    """A new part that went in: where, from which lot, at what cost (None when that is not known)."""

    used: UsedPart
    where: str
    cost: Decimal | None


@dataclass(frozen=True)
class MovementLine:
    """A movement of stock for this job with its value; quantities out of stock are negative."""

    row: MovementRow
    value: Decimal


@dataclass(frozen=True)
class BenchLine:
    """One stretch of time of a person at the bench, in seconds."""

    person: str
    start: datetime
    end: datetime
    length_s: int


@dataclass(frozen=True)
class PersonTime:
    """A person's bench time on this job, in seconds."""

    person: str
    length_s: int


@dataclass(frozen=True)
class PlanLine:
    """One line of plan against actual, as text."""

    what: str
    plan: str
    actual: str
    difference: str


@dataclass(frozen=True)
class StreamLine:
    """What goes into one waste stream, such as ``2 Rim seal, 1 Cell pack (damaged)``."""

    stream: str
    pieces: int
    what: str


@dataclass(frozen=True)
class Record:
    """The whole record of a job. ``photos`` are those that belong to no entry shown."""

    job: JobFacts
    technician: str
    booked_by: str
    closed_by: str
    seal: SealCheck
    days: tuple[DayOfEntries, ...]
    entries: int
    rails: tuple[Rail, ...]
    fitted: tuple[FittedLine, ...]
    kit: tuple[KitPart, ...]
    movements: tuple[MovementLine, ...]
    bench: tuple[BenchLine, ...]
    by_person: tuple[PersonTime, ...]
    bench_total_s: int
    plan: tuple[PlanLine, ...]
    beyond_plan: Decimal
    total_cost: Decimal | None
    streams: tuple[StreamLine, ...]
    kept: tuple[UnitRow, ...]
    photos: tuple[PhotoInfo, ...]


@dataclass(frozen=True)
class Loaded:
    """What was read for a record, as it came from the queries."""

    job: JobFacts
    entries: tuple[Linked, ...]
    used: tuple[UsedPart, ...]
    kit: tuple[KitPart, ...]
    planned: Mapping[str, int]
    scrap: tuple[Scrap, ...]
    kept: tuple[UnitRow, ...]
    photos: tuple[PhotoInfo, ...]
    movements: tuple[MovementRow, ...]
    names: Mapping[int, str]
    sheet: Sheet


def record(loaded: Loaded, settings: Settings, now: datetime) -> Record:
    """Return the record page of a job. Bench time of an open job counts up to ``now``."""
    job, names = loaded.job, loaded.names
    shift_end = datetime.strptime(settings.shift_end, "%H:%M").time()  # noqa: DTZ007 - a time of day has no zone
    events = [linked.event for linked in loaded.entries]
    intervals = job_intervals(events, shift_end, settings.zone, job.closed_at or now)
    account = parts_account(loaded.kit, loaded.planned, settings.currency)
    shown = {linked.event.event_id for linked in loaded.entries}
    by_id = _namer(names)
    return Record(
        job=job,
        technician=by_id(job.technician_id),
        booked_by=by_id(job.booked_by),
        closed_by=by_id(job.closed_by),
        seal=check_seal(loaded.entries, job.chain, job.last_sequence, job.seal),
        days=_days(loaded, settings.zone),
        entries=len(loaded.entries),
        rails=rails(loaded.entries, loaded.sheet),
        fitted=tuple(_fitted(one, loaded.sheet, settings.currency) for one in loaded.used),
        kit=loaded.kit,
        movements=tuple(_movement(row, settings.currency) for row in loaded.movements),
        bench=_bench(intervals, by_id),
        by_person=_by_person(intervals, by_id),
        bench_total_s=intervals.total_s,
        plan=_plan_lines(loaded, intervals, settings),
        beyond_plan=account.beyond_plan,
        total_cost=_total(job),
        streams=_streams(_scrapped_only(loaded)),
        kept=loaded.kept,
        photos=tuple(p for p in loaded.photos if p.event_id not in shown),
    )


def _namer(names: Mapping[int, str]) -> Callable[[int | None], str]:
    def name(person: int | None) -> str:
        return "—" if person is None else names.get(person, "somebody who is not on the staff list")

    return name


def _days(loaded: Loaded, zone: tzinfo) -> tuple[DayOfEntries, ...]:
    place = {linked.event.event_id: linked.sequence for linked in loaded.entries}
    taken_back = {linked.event.undoes: linked.sequence for linked in loaded.entries if linked.event.undoes}
    settled = {e.event.data["answers"]: e.sequence for e in loaded.entries if e.event.data.get("answers")}
    ended = next((e.sequence for e in loaded.entries if e.event.kind in ENDS), None)
    by_id = _namer(loaded.names)
    found: dict[date, list[EntryLine]] = {}
    for linked in loaded.entries:
        event = linked.event
        late = ended is not None and linked.sequence > ended
        found.setdefault(event.at.astimezone(zone).date(), []).append(
            EntryLine(
                linked.sequence,
                event.at,
                by_id(event.person),
                words(event.kind, {**event.data, "step": event.step}, loaded.sheet, loaded.names),
                taken_back.get(event.event_id),
                place.get(event.undoes) if event.undoes else None,
                event.kind in TROUBLE or (event.kind == "test" and not event.data.get("passed")),
                tuple(p for p in loaded.photos if p.event_id == event.event_id),
                settled.get(event.event_id),
                place.get(event.data["answers"]) if event.data.get("answers") else None,
                _notes(event.data, zone, late=late),
            )
        )
    return tuple(DayOfEntries(day, tuple(lines)) for day, lines in found.items())


def _notes(data: Mapping[str, Any], zone: tzinfo, *, late: bool) -> tuple[str, ...]:
    """Say how an entry came, where that is not as usual: late, with a clock that disagreed."""
    notes = ["Arrived after closing."] if late else []
    if data.get("received"):
        at = datetime.fromisoformat(str(data["received"])).astimezone(zone)
        notes.append(f"Kept on the tablet; received {at:%-d %b %Y %H:%M}.")
    clock = data.get("clock")
    if clock:
        by = duration_text(int(clock["skew_ms"]) / 1000)
        aside = " Its time is set aside and counts no bench time." if clock.get("aside") else ""
        notes.append(f"The tablet's clocks disagree by {by}.{aside}")
    return tuple(notes)


def _fitted(used: UsedPart, sheet: Sheet, currency: str) -> FittedLine:
    where = f"{item_name(sheet, used.item)}, {step_title(sheet, used.step, refit=True)}"
    cost = None if used.unit_cost is None else round_money(extend(used.unit_cost, used.quantity), currency)
    return FittedLine(used, where, cost)


def _movement(row: MovementRow, currency: str) -> MovementLine:
    return MovementLine(row, round_money(extend(row.unit_cost, row.quantity), currency))


def _bench(intervals: Intervals, by_id: Callable[[int | None], str]) -> tuple[BenchLine, ...]:
    return tuple(
        BenchLine(by_id(one.person), one.start, one.end, int(one.length.total_seconds()))
        for one in sorted(intervals.intervals, key=lambda i: i.start)
    )


def _by_person(intervals: Intervals, by_id: Callable[[int | None], str]) -> tuple[PersonTime, ...]:
    people = dict.fromkeys(one.person for one in sorted(intervals.intervals, key=lambda i: i.start))
    return tuple(PersonTime(by_id(person), intervals.person_s(person)) for person in people)


def _total(job: JobFacts) -> Decimal | None:
    if job.parts_cost is None or job.labour_cost is None:
        return None
    return job.parts_cost + job.labour_cost


def _plan_lines(loaded: Loaded, intervals: Intervals, settings: Settings) -> tuple[PlanLine, ...]:
    lines = []
    standard = standard_time_s(loaded.entries, loaded.sheet)
    if standard is not None:
        actual = intervals.total_s
        # Told from the minutes as they are shown, so that the line adds up for the eye.
        difference = _signed(_minutes(actual) - _minutes(standard), lambda n: duration_text(n * 60))
        lines.append(PlanLine("Bench time", duration_text(standard), duration_text(actual), difference))
    planned = sum(loaded.planned.values())
    used = sum(row.fitted + row.spoiled for row in loaded.kit)
    if planned or used:
        lines.append(PlanLine("New parts, pieces", str(planned), str(used), _signed(used - planned, str)))
    total = _total(loaded.job)
    if loaded.job.quoted is not None:
        quoted = loaded.job.quoted
        said = money_text(total, settings.currency)
        difference = "—" if total is None else _signed(total - quoted, lambda n: money_text(n, settings.currency))
        lines.append(PlanLine("Quote and cost", money_text(quoted, settings.currency), said, difference))
    return tuple(lines)


def _minutes(seconds: int) -> int:
    return (seconds + 30) // 60


def _signed(difference: N, say: Callable[[N], str]) -> str:
    if not difference:
        return "none"
    return f"{'+' if difference > 0 else '−'}{say(abs(difference))}"


def _scrapped_only(loaded: Loaded) -> Iterator[Scrap]:
    """Yield what was scrapped and not taken back, without the old units that the stores keep."""
    kept = Counter(unit.part_number for unit in loaded.kept)
    parts = {unit.id: unit.part for unit in loaded.sheet.units}
    for row in loaded.scrap:
        part = parts.get(row.item.partition("/unit:")[2], "")
        if row.struck:
            continue
        stays = min(kept[part], row.quantity)
        kept[part] -= stays
        if row.quantity > stays:
            yield replace(row, quantity=row.quantity - stays)


def _streams(rows: Iterable[Scrap]) -> tuple[StreamLine, ...]:
    found: dict[str, dict[tuple[str, str], int]] = {}
    for row in rows:
        stream = found.setdefault(row.waste_stream, {})
        stream[row.name, row.reason] = stream.get((row.name, row.reason), 0) + row.quantity
    return tuple(
        StreamLine(
            stream,
            sum(pieces.values()),
            ", ".join(_scrapped(name, reason, n) for (name, reason), n in pieces.items()),
        )
        for stream, pieces in sorted(found.items())
    )


def _scrapped(name: str, reason: str, pieces: int) -> str:
    return f"{pieces} {name}" if reason == "planned" else f"{pieces} {name} ({reason})"
