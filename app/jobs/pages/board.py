"""The first page of a technician and of a supervisor, and the list of jobs."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from urllib.parse import urlencode

from sqlmodel import Session

from app.jobs.models import Hold, Stage
from app.jobs.queries import jobs as queries
from app.jobs.queries.jobs import JobFilter, JobRow
from app.jobs.queries.outlook import Outlook
from app.jobs.queries.questions import jobs_with_questions
from app.people import queries as people
from app.people.models import Role
from app.platform.forms import Form, blank
from app.procedures import queries as procedures
from app.rules.counting import BenchState
from app.rules.promise import Slippage

Choice = tuple[str, str]
"""One offered answer: value, text."""

PAGE_SIZE = 50
SLIPPING = "slipping"
AT_WORK = (Stage.TEARDOWN, Stage.REFIT, Stage.COUNTED, Stage.TESTED)
TO_PREPARE = (Stage.BOOKED, Stage.SAFE, Stage.PLANNED, Stage.APPROVED)


@dataclass(frozen=True)
class ListedJob:
    """One job as a list shows it. ``progress`` says how far the bench work is, in words; ``todo`` what is next."""

    id: int
    number: str
    model: str
    serial: str
    fault: str
    owner_ref: str
    stage: str
    hold: str
    hold_reason: str
    technician: str
    booked_at: datetime
    promised_on: date | None
    late: bool
    progress: str = ""
    todo: str = ""
    href: str = ""
    slipped: Slippage | None = None

    @property
    def on_hold(self) -> bool:
        """Whether the job cannot go on."""
        return self.hold != Hold.NONE.value


@dataclass(frozen=True)
class HomePage:
    """A technician's first page: what to open with one tap, what to prepare, what waits."""

    mine: tuple[ListedJob, ...]
    ready: tuple[ListedJob, ...]
    others: tuple[ListedJob, ...]
    held: tuple[ListedJob, ...]
    prepare: tuple[ListedJob, ...]


@dataclass(frozen=True)
class StageCount:
    """How many open jobs are in a stage, with the list of them."""

    stage: str
    count: int
    href: str


@dataclass(frozen=True)
class AskedJob:
    """A job with questions from tablets to settle, ended ones too."""

    number: str
    model: str
    serial: str
    stage: str
    technician: str
    questions: int


@dataclass(frozen=True)
class BoardPage:
    """A supervisor's first page."""

    counts: tuple[StageCount, ...]
    open: int
    held: tuple[ListedJob, ...]
    answers: tuple[ListedJob, ...]
    late: tuple[ListedJob, ...]
    slipping: tuple[ListedJob, ...]
    prepare: tuple[ListedJob, ...]
    ready: tuple[ListedJob, ...]
    at_bench: tuple[ListedJob, ...]
    asked: tuple[AskedJob, ...] = ()


@dataclass(frozen=True)
class JobsPage:
    """The list of jobs with its filters, which stand in the address. ``newer`` and ``older`` are links or None."""

    jobs: tuple[ListedJob, ...]
    form: Form[Any]
    stages: tuple[Choice, ...]
    holds: tuple[Choice, ...]
    models: tuple[Choice, ...]
    technicians: tuple[Choice, ...]
    promises: tuple[Choice, ...]
    narrowed: bool
    newer: str | None
    older: str | None


class Lister:
    """Turns rows into listed jobs: names are looked up once a page. ``slipped`` is what has become of promises."""

    def __init__(self, session: Session, today: date, slipped: Mapping[int, Slippage] | None = None) -> None:
        self.slipped = slipped or {}
        self.models = {model.id: model.name for model in procedures.device_models(session)}
        self.names = people.names(session)
        self.today = today

    def __call__(self, row: JobRow, state: BenchState | None = None) -> ListedJob:
        """Return one row as the list shows it."""
        todo, path = _TODO.get(row.stage, ("", ""))
        return ListedJob(
            id=row.id,
            number=row.number,
            model=self.models[row.device_model_id],
            serial=row.serial,
            fault=row.fault,
            owner_ref=row.owner_ref,
            stage=row.stage.value,
            hold=row.hold.value,
            hold_reason=row.hold_reason,
            technician=self.names.get(row.technician_id or 0, ""),
            booked_at=row.booked_at,
            promised_on=row.promised_on,
            late=row.promised_on is not None and row.promised_on < self.today,
            progress=progress(row.stage, state) if state else "",
            todo=todo,
            href=f"/jobs/{row.number}{path}",
            slipped=self.slipped.get(row.id),
        )

    def all(self, rows: Iterable[JobRow], states: Mapping[int, BenchState] | None = None) -> tuple[ListedJob, ...]:
        """Return rows as the list shows them."""
        known = states or {}
        return tuple(self(row, known.get(row.id)) for row in rows)


_TODO: Mapping[Stage, tuple[str, str]] = {
    Stage.BOOKED: ("Make safe", "/safety"),
    Stage.SAFE: ("Choose what to replace", "/targets"),
    Stage.PLANNED: ("Kit or quote", ""),
    Stage.APPROVED: ("Kit to hand out", ""),
}


def progress(stage: Stage, state: BenchState) -> str:
    """Return in words how far the bench work of a job is."""
    if stage is Stage.COUNTED:
        return "Counted, tests to do"
    if stage is Stage.TESTED:
        return "Tested, ready to close"
    if state.turned:
        left = len(state.refit) - len(state.up)
        return f"Refit, step {len(state.up) + 1} of {len(state.refit)}" if left else "Refit done, to count"
    left = len(state.teardown) - len(state.down)
    return f"Teardown, step {len(state.down) + 1} of {len(state.teardown)}" if left else "Torn down, to exchange"


def home(session: Session, person_id: int, today: date) -> HomePage:
    """Build a technician's first page."""
    lister = Lister(session, today)
    working = queries.jobs_at(session, AT_WORK)
    held = queries.jobs_on_hold(session)
    # A short part does not keep a job off the bench: whoever has it open goes on as far as the kit reaches.
    mine = [r for r in working if r.technician_id == person_id]
    mine += [r for r in held if r.technician_id == person_id and r.hold is Hold.PARTS and r.stage in AT_WORK]
    known = queries.states(session, [row.id for row in mine])
    shown = {row.id for row in mine}
    return HomePage(
        mine=lister.all(mine, known),
        ready=lister.all(queries.jobs_at(session, (Stage.KITTED,))),
        others=lister.all(r for r in working if r.technician_id != person_id),
        held=lister.all(r for r in held if r.id not in shown),
        prepare=lister.all(queries.jobs_at(session, (Stage.BOOKED, Stage.SAFE))),
    )


def board(session: Session, outlook: Outlook) -> BoardPage:
    """Build a supervisor's first page."""
    today, slipped = outlook.today, outlook.slipping()
    lister = Lister(session, today, outlook.promises)
    late = queries.late_jobs(session, today)
    past = {row.id for row in late}
    counts = queries.stage_counts(session)
    held = queries.jobs_on_hold(session)
    # Why the promise of a job on a safety hold will not be kept is said by its hold already.
    past |= {row.id for row in held if row.hold is Hold.SAFETY}
    working = queries.jobs_at(session, AT_WORK)
    known = queries.states(session, [row.id for row in working])
    return BoardPage(
        counts=tuple(
            StageCount(stage.value, count, f"/jobs?{urlencode({'stage': stage.value})}")
            for stage, count in counts.items()
        ),
        open=sum(counts.values()),
        held=lister.all(row for row in held if row.stage is not Stage.QUOTED),
        answers=lister.all(row for row in held if row.stage is Stage.QUOTED),
        late=lister.all(late),
        slipping=lister.all(queries.jobs_by_id(session, [job_id for job_id in slipped if job_id not in past])),
        prepare=lister.all(queries.jobs_at(session, TO_PREPARE)),
        ready=lister.all(queries.jobs_at(session, (Stage.KITTED,))),
        at_bench=lister.all(working, known),
        asked=tuple(
            AskedJob(
                job.number,
                lister.models[job.device_model_id],
                job.serial,
                job.stage.value,
                lister.names.get(job.technician_id or 0, ""),
                job.questions,
            )
            for job in jobs_with_questions(session)
        ),
    )


def job_list(
    session: Session,
    wanted: JobFilter,
    *,
    before: int | None,
    after: int | None,
    outlook: Outlook,
    typed: Mapping[str, str],
) -> JobsPage:
    """Build the list of jobs: one row more than is shown is read, to know whether more follow."""
    narrowed = wanted != JobFilter()
    if typed.get("promise") == SLIPPING:
        wanted, narrowed = replace(wanted, ids=tuple(outlook.slipping())), True
    rows = list(queries.job_page(session, wanted, before=before, after=after, limit=PAGE_SIZE + 1))
    more = len(rows) > PAGE_SIZE
    if more:
        rows = rows[1:] if after is not None else rows[:PAGE_SIZE]
    kept = {name: value for name, value in typed.items() if value and name not in ("before", "after")}
    any_open = any(row.promised_on and row.stage in queries.OPEN_STAGES for row in rows)
    lister = Lister(session, outlook.today, outlook.promises if any_open else None)
    has_newer = (after is not None and more) or before is not None
    has_older = (after is not None) or more
    technicians = people.staff(session)
    return JobsPage(
        jobs=lister.all(rows),
        form=blank(**{"stage": "open", **typed}),
        stages=(("open", "All open"), *((s.value, s.value.capitalize()) for s in Stage), ("all", "All there are")),
        holds=(("", "Any"), ("any", "On hold"), *((h.value, h.value.capitalize()) for h in Hold if h is not Hold.NONE)),
        models=(("", "All"), *((str(i), name) for i, name in sorted(lister.models.items(), key=lambda m: m[1]))),
        technicians=(
            ("", "Anybody"),
            *((str(p.id), p.name) for p in technicians if p.role is not Role.STORES),
        ),
        promises=(("", "Any"), (SLIPPING, "Slipping")),
        narrowed=narrowed,
        newer=_link(kept, after=rows[0].id) if rows and has_newer else None,
        older=_link(kept, before=rows[-1].id) if rows and has_older else None,
    )


def _link(kept: Mapping[str, str], **more: int) -> str:
    return f"/jobs?{urlencode({**kept, **more})}"
