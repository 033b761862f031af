"""Booking in, the job's own page, make safe, holds."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlmodel import Session

from app.jobs.models import Coverage, DataWish, Hold, Stage
from app.jobs.pages.correcting import may_correct
from app.jobs.pages.questions import QuestionLine, question_lines
from app.jobs.queries import jobs as queries
from app.jobs.queries import kit as kit_queries
from app.jobs.queries.jobs import EventRow, JobDetail, PhotoRow, Visit
from app.jobs.queries.kit import KitRow
from app.jobs.queries.outlook import Outlook
from app.people import queries as people
from app.platform.forms import Form
from app.procedures import queries as procedures
from app.procedures.queries import FaultWord, ModelInfo, RevisionInfo
from app.rules.correcting import OTHER_DEVICE, correction_words
from app.rules.entry_words import entry_words
from app.rules.hazards import BENCH_CAUTIONS, BenchCaution, sort_hazards
from app.rules.job_flow import CELL_STATES, NextAction, Standing, next_action, stages_shown
from app.rules.promise import Slippage
from app.rules.revision_move import why_not_moved
from app.rules.sheet import Hazard, Identifier, Sheet
from app.rules.working_calendar import day_words

Card = tuple[str, str, str]
"""One offered answer: value, title, words under it."""

COVERAGES: tuple[Card, ...] = (
    (Coverage.OWNER.value, "The owner", "A quote is made, and the owner agrees first."),
    (Coverage.WARRANTY.value, "Warranty", "No quote."),
    (Coverage.INTERNAL.value, "Internal", "The workshop's own device. No quote."),
)
DATA_WISHES: tuple[Card, ...] = (
    (DataWish.KEEP.value, "Keep it", "Nothing is erased without asking again."),
    (DataWish.ERASE.value, "Erase it", "The device is handed back empty."),
    (DataWish.NONE.value, "No data on it", "Nothing is stored on the device."),
)


@dataclass(frozen=True)
class SerialCheck:
    """What is known of a typed serial: a fault in it, its earlier visits, and the open jobs that have it already."""

    model: ModelInfo | None
    fault: str = ""
    checked: str = ""
    visits: tuple[Visit, ...] = ()
    open_jobs: tuple[str, ...] = ()


@dataclass(frozen=True)
class BookingPage:
    """The counter's form. ``model`` is the chosen device model, whose fault words can be tapped."""

    form: Form[Any]
    models: tuple[tuple[str, str], ...]
    model: ModelInfo | None
    words: tuple[FaultWord, ...]
    serial: SerialCheck
    coverages: tuple[Card, ...] = COVERAGES
    data_wishes: tuple[Card, ...] = DATA_WISHES
    others: tuple[tuple[str, str], ...] = tuple(OTHER_DEVICE.items())

    @property
    def serial_label(self) -> str:
        """What the serial of the chosen model is called."""
        return "IMEI" if self.model and self.model.identifier is Identifier.IMEI else "Serial number"

    @property
    def serial_help(self) -> str:
        """Where to find it."""
        if self.model and self.model.identifier is Identifier.IMEI:
            return "15 digits, on the label or after dialling *#06#."
        return "Type or scan it from the label."


@dataclass(frozen=True)
class HistoryLine:
    """One entry of the job's record in words."""

    at: datetime
    words: str
    person: str


@dataclass(frozen=True)
class JobPage:
    """The job's own page. ``here`` is the place of its stage on the track."""

    job: JobDetail
    model: ModelInfo
    revision: RevisionInfo
    stages: tuple[str, ...]
    here: int
    standing: Standing
    next: NextAction | None
    may_press: bool
    targets: tuple[str, ...]
    kit: tuple[KitRow, ...]
    history: tuple[HistoryLine, ...]
    photos: tuple[PhotoRow, ...]
    visits: tuple[Visit, ...]
    technician: str
    booked_by: str
    late: bool
    photo_form: Form[Any]
    questions: tuple[QuestionLine, ...] = ()
    newer: int | None = None
    may_move: bool = False
    may_correct: bool = False
    slipped: Slippage | None = None
    ready_on: date | None = None

    @property
    def short(self) -> tuple[KitRow, ...]:
        """Parts the job needs that are neither reserved nor handed out."""
        return tuple(row for row in self.kit if row.short)

    @property
    def may_return(self) -> bool:
        """Whether the device can still go back without a repair."""
        return not self.standing.begun and self.job.stage.value in (
            "booked in", "made safe", "planned", "quoted", "approved", "kitted",
        )  # fmt: skip

    @property
    def may_replan(self) -> bool:
        """Whether the plan can still be changed."""
        return bool(self.targets) and self.may_return and self.job.hold is not Hold.SAFETY

    @property
    def may_extend(self) -> bool:
        """Whether the job is open on the bench, so that it can be planned again from where it stands."""
        at_bench = self.job.stage in (Stage.TEARDOWN, Stage.REFIT)
        return bool(self.targets) and at_bench and self.job.hold is not Hold.SAFETY

    @property
    def later(self) -> bool:
        """Whether the device has been here again since."""
        return any(visit.booked_at > self.job.booked_at for visit in self.visits)

    @property
    def over(self) -> bool:
        """Whether the job has ended."""
        return self.job.stage in (Stage.CLOSED, Stage.RETURNED)


@dataclass(frozen=True)
class SafetyPage:
    """The make-safe questions, after the procedure's own cautions and the usual ones."""

    job: JobDetail
    model: ModelInfo
    form: Form[Any]
    hazards: tuple[Hazard, ...]
    cell: BenchCaution
    static: BenchCaution
    cells: tuple[Card, ...]


@dataclass(frozen=True)
class HoldPage:
    """Put a job on hold, end the hold, or return the device unrepaired."""

    job: JobDetail
    model: ModelInfo
    form: Form[Any]
    return_form: Form[Any]
    cell: BenchCaution
    supervisor: bool
    may_return: bool


def booking_page(session: Session, form: Form[Any], serial: SerialCheck) -> BookingPage:
    """Build the counter's form as it was filled in so far."""
    models = procedures.device_models(session)
    model = chosen_model(models, form.value("device_model"))
    return BookingPage(
        form=form,
        models=(("", "Choose"), *((str(m.id), f"{m.name}, {m.kind}") for m in models)),
        model=model,
        words=procedures.faults(session, model.id) if model else (),
        serial=serial,
    )


def chosen_model(models: Sequence[ModelInfo], value: str) -> ModelInfo | None:
    """Return the model with this id as typed, or None."""
    return next((m for m in models if str(m.id) == value), None)


def job_page(
    session: Session, number: str, role: str, outlook: Outlook, photo_form: Form[Any], person_id: int
) -> JobPage:
    """Build a job's own page for somebody with this role."""
    job = queries.find_job(session, number)
    today = outlook.today
    ready = outlook.of(job.id)
    sheet = procedures.sheet(session, job.revision_id)
    rows = kit_queries.kit(session, job, today)
    waits = {row.part_number: row.outstanding for row in rows if row.outstanding}
    standing = kit_queries.standing_of(job, job.state, waits, sum(row.short for row in rows))
    names = people.names(session)
    stages = stages_shown(job.coverage.value)
    revision = procedures.revision_info(session, job.revision_id)
    newest = procedures.newest_revision(session, revision.code)
    newer = newest.number if newest and newest.number > revision.number else None
    following = next_action(standing)
    return JobPage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        revision=revision,
        stages=tuple(stage.capitalize() for stage in stages),
        here=_place(stages, job.stage.value),
        standing=standing,
        next=following,
        may_press=following is not None and role in following.roles,
        targets=unit_names(sheet, job.targets),
        kit=rows,
        history=history(queries.events(session, job.id), sheet, names),
        photos=queries.photos(session, job.id),
        visits=queries.earlier_visits(session, job.serial, but=number),
        technician=names.get(job.technician_id or 0, ""),
        booked_by=names.get(job.booked_by or 0, ""),
        late=job.promised_on is not None and job.promised_on < today and job.closed_at is None,
        photo_form=photo_form,
        newer=newer,
        may_move=newer is not None
        and why_not_moved(standing, sum(row.issued for row in rows), revision.number, newer) is None,
        may_correct=may_correct(job, person_id, role),
        questions=question_lines(session, sheet, job.state),
        slipped=outlook.slippage(job.id),
        ready_on=ready.p80 if ready else None,
    )


def _place(stages: Sequence[str], stage: str) -> int:
    """Return the place of a stage on the track: behind the last one when closed, and none when returned."""
    if stage == "closed":
        return len(stages)
    return stages.index(stage) if stage in stages else -1


def unit_names(sheet: Sheet, targets: Sequence[str]) -> tuple[str, ...]:
    """Return the names of units."""
    return tuple(unit.name for unit in sheet.units if unit.id in targets)


def safety_page(session: Session, number: str, form: Form[Any]) -> SafetyPage:
    """Build the make-safe questions of a job."""
    job = queries.find_job(session, number)
    sheet = procedures.sheet(session, job.revision_id)
    model = procedures.device_model(session, job.device_model_id)
    return SafetyPage(
        job=job,
        model=model,
        form=form,
        hazards=sort_hazards(sheet.cautions),
        cell=BENCH_CAUTIONS[0],
        static=BENCH_CAUTIONS[1],
        cells=tuple((state, state.capitalize(), words) for state, words in CELL_STATES.items()),
    )


def hold_page(session: Session, number: str, form: Form[Any], return_form: Form[Any], role: str) -> HoldPage:
    """Build the page of a job's hold."""
    job = queries.find_job(session, number)
    begun = kit_queries.standing_of(job, job.state, {}).begun
    before = ("booked in", "made safe", "planned", "quoted", "approved", "kitted")
    return HoldPage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        form=form,
        return_form=return_form,
        cell=BENCH_CAUTIONS[0],
        supervisor=role == "supervisor",
        may_return=not begun and job.stage.value in before,
    )


def history(
    events: Sequence[EventRow], sheet: Sheet, names: Mapping[int, str], most: int = 10
) -> tuple[HistoryLine, ...]:
    """Return the newest entries in words, newest first; ticks in a row are told as one line."""
    lines: list[HistoryLine] = []
    ticks = 0
    for event in events:
        if event.kind == "tick":
            ticks += 1
            if ticks > 1:
                continue
        else:
            ticks = 0
        person = names.get(event.person_id or 0, "")
        lines.append(HistoryLine(event.at, event_words(event, sheet), person))
        if len(lines) == most:
            break
    return tuple(lines)


def event_words(event: EventRow, sheet: Sheet) -> str:
    """Return what an entry says, in a few words."""
    teller = _WORDS.get(event.kind)
    return teller(event.data) if teller else _step_words(event, sheet)


def _step_words(event: EventRow, sheet: Sheet) -> str:
    step = next((step for step in sheet.steps if step.id == event.step), None)
    title = step.title if step else ""
    if event.kind == "test":
        test = next((test.title for test in sheet.release_tests if test.id == event.data.get("test")), "")
        return f"Release test {'passed' if event.data.get('passed') else 'failed'}: {test}"
    if event.kind == "tick" and event.data.get("side") == "up":
        return f"Refit as far as: {step.refit.title if step and step.refit else title}"
    return f"Teardown as far as: {title}" if event.kind == "tick" else entry_words(event.kind, title)


def _day(text: object) -> str:
    return day_words(date.fromisoformat(str(text)))


_WORDS: Mapping[str, Callable[[Mapping[str, Any]], str]] = {
    "place": lambda data: (
        f"Place {data['place']} {'back' if data['side'] == 'up' else 'out'}{'' if data['on'] else ', taken back'}"
    ),
    "corrected": correction_words,
    "safe": lambda data: f"Made safe, cell: {data.get('cell', 'sound')}",
    "revised": lambda data: f"Moved from revision {data['from']} of the procedure to revision {data['to']}",
    "planned": lambda data: f"Planned: {len(data['teardown'])} steps down, {len(data['refit'])} up",
    "quoted": lambda data: f"Quoted {data['amount']} {data.get('currency', '')}".rstrip(),
    "approved": lambda data: (
        f"Approved by {data['by']}, {data['means']}" + (f": option {data['option']}" if data.get("option") else "")
    ),
    "extended": lambda data: f"Planned again from where it stood: {len(data['teardown'])} steps in all",
    "promised": lambda data: (
        f"Promised for {_day(data['on'])}" + (f", not {_day(data['instead_of'])}" if data["instead_of"] else "")
    ),
    "declined": lambda data: f"Declined by {data['by']}, {data['means']}",
    "returned": lambda data: f"Returned unrepaired: {data['reason']}",
    "kit issued": lambda data: f"Kit handed out: {sum(int(row[3]) for row in data['lots'])} pieces",
    "kit returned": lambda data: f"Back on the shelf: {sum(int(row[3]) for row in data['back'])} pieces",
    "alternate taken": lambda data: (
        f"{data['planned'] + data['added']} × {data['alternate']} in place of {data['wanted']}: {data['reason']}"
    ),
    "alternate given up": lambda data: (
        f"{-data['planned'] - data['added']} × {data['wanted']} again, not {data['alternate']}"
    ),
    "hold": lambda data: f"On hold, {data['hold']}: {data['reason']}",
    "hold ended": lambda data: f"Hold ended ({data.get('hold', '')}): {data.get('reason', '')}",
    "paused": lambda data: f"Paused: {data.get('reason', '')}",
}
