"""From which day on each open job can be handed back: the queue at the bench as it stands, and every promise in it.

Worked out whenever it is asked for, so that it is true of now. A promise that was given stays with its job; what has
become of it is its slippage.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any

from sqlalchemy import text
from sqlmodel import Session, select

from app.jobs.models import IS_OPEN, Hold, Job, Stage
from app.jobs.queries.jobs import states
from app.jobs.queries.kit import outstanding, source_ref
from app.jobs.queries.past import expected_time, step_history
from app.jobs.queries.site import bench_of
from app.platform.settings import Settings
from app.procedures import queries as procedures
from app.rules.counting import BenchState
from app.rules.expected_time import ExpectedTime, sum_of_steps
from app.rules.planning import make_plan
from app.rules.promise import Bench, Cause, Promise, QueuedJob, ShortPart, Slippage, promise, slippage, stopped
from app.rules.step_times import REST, StepKey, rest_s, standard_times
from app.rules.stores.arrival import Arrival
from app.rules.verdict import Refused
from app.stores import queries as stores

LOOKED_AT = 150
"""The first jobs of the queue that are worked out; what stands behind them is too far off for a day to mean much."""

AT_WORK = (Stage.TEARDOWN, Stage.REFIT, Stage.COUNTED, Stage.TESTED)
NOT_GOING_ON = (Hold.SAFETY, Hold.OWNER)

_COLUMNS: tuple[Any, ...] = (
    Job.id, Job.number, Job.stage, Job.hold, Job.targets, Job.revision_id, Job.device_model_id, Job.fault,
    Job.promised_on, Job.promise,
)  # fmt: skip


@dataclass(frozen=True)
class OpenJob:
    """An open job as the queue needs it; ``given`` is the promise as it was given, as JSON."""

    id: int
    number: str
    stage: Stage
    hold: Hold
    targets: tuple[str, ...]
    revision_id: int
    device_model_id: int
    fault: str
    promised_on: date | None
    given: dict[str, Any] | None

    @property
    def place(self) -> tuple[bool, bool, date, int]:
        """What the queue is ordered by: at the bench first, then the day promised, then the order of booking."""
        return self.stage not in AT_WORK, self.promised_on is None, self.promised_on or date.max, self.id


@dataclass(frozen=True)
class Work:
    """What a job still needs: bench time in seconds, cures, and what the shelf does not have.

    ``resting_until`` is when what cures now is done: nothing goes on before.
    """

    median_s: int
    p80_s: int
    wait_s: int
    short: tuple[ShortPart, ...] = ()
    resting_until: datetime | None = None

    @property
    def ready_on(self) -> date | None:
        """The day on which the last short part comes; None when nothing is short or nobody knows."""
        return max((part.arrives for part in self.short if part.arrives), default=None)

    @property
    def nobody_knows(self) -> bool:
        """Whether it waits for a part that is not on order."""
        return any(part.arrives is None for part in self.short)


def _open_job(row: tuple[Any, ...]) -> OpenJob:
    plain: tuple[Any, ...] = (*row[:4], tuple(row[4]), *row[5:])
    return OpenJob(*plain)


def causes_of(given: dict[str, Any] | None) -> tuple[Cause, ...]:
    """Return the reasons that a promise was given with."""
    return tuple(Cause(kind, amount, words) for kind, amount, words in (given or {}).get("causes", ()))


def to_json(found: Promise) -> dict[str, Any]:
    """Return a promise as it is kept with its entry."""
    return {
        "earliest": found.earliest.isoformat() if found.earliest else None,
        "p80": found.p80.isoformat() if found.p80 else None,
        "causes": [[cause.kind, cause.amount, cause.words] for cause in found.causes],
    }


class Outlook:
    """All open jobs and what the bench makes of them at ``now``; what is read is kept for the page."""

    def __init__(self, session: Session, settings: Settings, now: datetime) -> None:
        self.session, self.settings, self.now = session, settings, now
        self.today = now.astimezone(settings.zone).date()
        self._work: dict[int, Work | None] = {}
        self._promises: dict[int, Promise | None] = {}
        self._arrivals: dict[str, Arrival | None] = {}

    @cached_property
    def bench(self) -> Bench:
        """The place of the promise."""
        return bench_of(self.session, self.settings, self.today)

    @cached_property
    def jobs(self) -> tuple[OpenJob, ...]:
        """All open jobs in the order of the queue."""
        query: Any = select(*_COLUMNS).where(text(f"job.{IS_OPEN}"))
        found = [_open_job(tuple(row)) for row in self.session.connection().execute(query)]
        return tuple(sorted(found, key=lambda job: job.place))

    @cached_property
    def _states(self) -> dict[int, BenchState]:
        return states(self.session, [job.id for job in self.jobs if job.stage in AT_WORK])

    def _takes_bench_time(self, job: OpenJob) -> bool:
        work = self.work(job) if job.hold not in NOT_GOING_ON else None
        return work is not None and not work.nobody_knows

    @cached_property
    def queue(self) -> tuple[OpenJob, ...]:
        """The jobs that take bench time: not on a safety or owner's hold, and not waiting for what nobody ordered."""
        return tuple(job for job in self.jobs[:LOOKED_AT] if self._takes_bench_time(job))

    @property
    def left_out(self) -> int:
        """How many open jobs are not counted, as nobody knows when they go on or what they need."""
        return len(self.jobs) - len(self.queue)

    def work(self, job: OpenJob) -> Work | None:
        """Return what a job still needs; None when nobody knows its units yet."""
        if job.id not in self._work:
            self._work[job.id] = self._work_of(job)
        return self._work[job.id]

    def _work_of(self, job: OpenJob) -> Work | None:
        state = self._states.get(job.id)
        targets = job.targets or self._likely(job)
        if state is not None and state.teardown:
            return self._work_left(job, state)
        if not targets:
            return None
        try:
            sheet = procedures.sheet(self.session, job.revision_id)
            plan = make_plan(sheet, targets)
        except Refused:
            return None
        time = expected_time(self.session, job.revision_id, plan)
        return Work(time.median_s, time.p80_s, plan.wait_s, self._short(job))

    def _work_left(self, job: OpenJob, state: BenchState) -> Work:
        sheet = procedures.sheet(self.session, job.revision_id)
        history = step_history(self.session, job.revision_id)
        standard = standard_times(sheet)
        down: list[StepKey] = [("down", step) for step in state.teardown if step not in state.down]
        up: list[StepKey] = [("up", step) for step in state.refit if step not in state.up]
        if not state.counted:
            standard[REST] = rest_s(sheet)
        keys = [key for key in (*down, *up, REST) if standard.get(key, 0) > 0]
        median, p80 = sum_of_steps(history.expect(key, standard[key]) for key in keys)
        cures = sum(refit.cure_s for _side, step in up if (refit := sheet.step(step).refit))
        resting = max((datetime.fromisoformat(ready) for ready in state.timers.values()), default=None)
        return Work(round(median), round(p80), cures, self._short(job), resting)

    def _likely(self, job: OpenJob) -> tuple[str, ...]:
        said = job.fault.casefold()
        words = procedures.faults(self.session, job.device_model_id)
        return tuple(dict.fromkeys(w.unit for w in words if w.unit and w.words.casefold() in said))[:1]

    def _short(self, job: OpenJob) -> tuple[ShortPart, ...]:
        if job.hold is not Hold.PARTS:
            return ()
        waits = outstanding(self.session, job.id)
        promised = stores.reserved_for(self.session, source_ref(job.number))
        missing = [part for part, count in waits.items() if count > promised.get(part, 0)]
        shelf = stores.shelf(self.session, missing, self.today)
        return self.short_parts({part: shelf[part].name for part in missing})

    def short_parts(self, names: Mapping[str, str]) -> tuple[ShortPart, ...]:
        """Return short parts, by number and name, with the days on which they will likely be here."""
        new = [number for number in names if number not in self._arrivals]
        if new:
            self._arrivals |= dict.fromkeys(new) | stores.arrivals(self.session, new, self.today)
        return tuple(self._short_part(number, name) for number, name in names.items())

    def _short_part(self, number: str, name: str) -> ShortPart:
        found = self._arrivals[number]
        if found is None:
            return ShortPart(number, name, None)
        return ShortPart(number, name, found.likely, found.late, found.words)

    def find(self, job_id: int) -> OpenJob | None:
        """Return an open job by its id."""
        return next((job for job in self.jobs if job.id == job_id), None)

    def of(self, job_id: int) -> Promise | None:
        """Return the promise that could be given for an open job now; None when its work is not known.

        A job that waits for its owner is looked at as if the answer came now. On a safety hold no day is named.
        Raises nothing for a calendar without working days: then no day is named.
        """
        if job_id not in self._promises:
            job = self.find(job_id)
            if job is not None and job.hold is Hold.SAFETY:
                return stopped()
            work = self.work(job) if job else None
            self._promises[job_id] = self._promise(job, work) if job and work else None
        return self._promises[job_id]

    def with_plan(self, job_id: int, time: ExpectedTime, wait_s: int, short: Sequence[ShortPart]) -> Promise | None:
        """Return the promise of an open job if it were planned so."""
        job = self.find(job_id)
        return self._promise(job, Work(time.median_s, time.p80_s, wait_s, tuple(short))) if job else None

    def _promise(self, job: OpenJob, work: Work) -> Promise:
        # A device that needs no more bench time waits for nobody, only for what cures on it.
        earlier = [one for one in self.jobs[:LOOKED_AT] if one.place < job.place and work.p80_s]
        queued = [self._queued(one) for one in earlier if self._takes_bench_time(one)]
        mine = QueuedJob(job.number, work.median_s, work.p80_s)
        start = max(self.now, work.resting_until) if work.resting_until else self.now
        try:
            return promise(mine, queued, self.bench, start, work.wait_s, work.short)
        except Refused as refusal:
            return Promise(None, None, (Cause("closed", 0, refusal.reason),))

    def _queued(self, job: OpenJob) -> QueuedJob:
        work = self.work(job)
        assert work is not None  # The queue holds none without.
        return QueuedJob(job.number, work.median_s, work.p80_s, work.ready_on)

    def slippage(self, job_id: int) -> Slippage | None:
        """Return what has become of a job's promise; None without a promise, or when nobody knows its work."""
        job, now = self.find(job_id), self.of(job_id)
        if job is None or now is None or job.promised_on is None:
            return None
        return slippage(job.promised_on, now, self.bench.calendar, causes_of(job.given))

    @cached_property
    def promises(self) -> dict[int, Slippage]:
        """What has become of the promises given, by job id, of the jobs that are looked at."""
        given = [job.id for job in self.jobs[:LOOKED_AT] if job.promised_on]
        return {job_id: found for job_id in given if (found := self.slippage(job_id)) is not None}

    def slipping(self) -> dict[int, Slippage]:
        """Return, by job id, the promises that will not be kept as things stand."""
        return {job_id: found for job_id, found in self.promises.items() if found.late}
