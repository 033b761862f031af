"""The promise date: from which day on the owner can have the device, and which day holds four times in five.

The bench is filled day by day with the jobs in their order. A day holds ``people`` times the shift's length times the
``share`` of it that goes into bench work; one job takes no more of it than one person has. A job whose parts have not
come is passed over until they have. What is left is waited for where it belongs: a cure runs by the clock, at night
too. The first filling uses everyone's median time and gives the *earliest* day. The second uses 80 % points and gives
the day to *promise*: for this job its own, for the jobs before it the 80 % point of their sum (independent log-normal
times, Fenton 1960, as in ``expected_time``), shared out over them alike. Their being late together (a sick
technician, a lost delivery) is not in it. What a supplier's date is worth comes with it, from ``stores.arrival``.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from math import exp, log, sqrt
from typing import Final, Literal

from app.rules.expected_time import Z_80
from app.rules.verdict import Refused
from app.rules.working_calendar import WorkingCalendar, day_words, hours_words

CauseKind = Literal["work", "queue", "capacity", "parts", "cure", "closed", "margin", "hold"]


@dataclass(frozen=True, slots=True)
class Capacity:
    """Who stands at the bench. ``share`` of a shift goes into bench work; the rest is breaks, booking, talk."""

    people: int
    share: Fraction = Fraction(3, 4)

    def __post_init__(self) -> None:
        if self.people < 1 or not 0 < self.share <= 1:
            raise Refused("The bench needs at least one person and a share of the day above 0 and up to 1.", "people")

    def hours(self, calendar: WorkingCalendar, day: date) -> float:
        """Return the people-hours of bench work on a day."""
        return float(self.people * self.share * calendar.working_s(day) / 3600)


@dataclass(frozen=True, slots=True)
class ShortPart:
    """A part of the kit that the shelf does not have. ``arrives`` is the day it is expected, None when nobody knows.

    ``late`` is the day it should be there four times in five; None takes ``arrives`` at its word. ``because`` says in
    whole sentences what the days rest on.
    """

    part: str
    name: str
    arrives: date | None
    late: date | None = None
    because: str = ""


@dataclass(frozen=True, slots=True)
class QueuedJob:
    """Bench time that a job still needs, in seconds, and the day before which its parts are not there."""

    number: str
    median_s: int
    p80_s: int
    ready_on: date | None = None


@dataclass(frozen=True, slots=True)
class Cause:
    """One reason of a promise.

    ``amount`` is seconds, or a date's ordinal for parts, or days for closed and margin, and nothing for a hold.
    """

    kind: CauseKind
    amount: int
    words: str


@dataclass(frozen=True, slots=True)
class Promise:
    """``earliest`` and ``p80`` are local dates within shifts, None when none can be named. ``causes`` say why."""

    earliest: date | None
    p80: date | None
    causes: tuple[Cause, ...]

    @property
    def because(self) -> tuple[str, ...]:
        """The reasons in words."""
        return tuple(cause.words for cause in self.causes)


def stopped() -> Promise:
    """Return what can be promised of a job on a safety hold: nothing, as nobody can tell when it goes on."""
    words = "The job is on a safety hold. A day can be promised once a supervisor has let it go on."
    return Promise(None, None, (Cause("hold", 0, words),))


@dataclass(frozen=True, slots=True)
class Bench:
    """The place of the promise: calendar, capacity, and ``margin_days`` working days added to the promised day."""

    calendar: WorkingCalendar
    capacity: Capacity
    margin_days: int = 0


def promise(
    job: QueuedJob,
    before: Sequence[QueuedJob],
    bench: Bench,
    now: datetime,
    wait_s: int = 0,
    short: Collection[ShortPart] = (),
) -> Promise:
    """Return from which day on a job can be handed back, when its work may begin at ``now``.

    ``before`` are the jobs that go first, in their order; ``wait_s`` are the job's own cures. ``now`` must carry a
    zone (ValueError). Without a date for a short part no day is named. Raises Refused when the calendar never works.
    """
    if now.tzinfo is None:
        raise ValueError("a promise needs a time with a zone")
    now = now.astimezone(UTC)
    causes = [*_work_causes(job, before, bench, now, wait_s), *_part_causes(short)]
    if any(part.arrives is None for part in short):
        return Promise(None, None, tuple(causes))
    here = now.astimezone(bench.calendar.zone).date()
    arrives = max([*([job.ready_on] if job.ready_on else []), *(p.arrives for p in short if p.arrives)], default=None)
    late = max([*([arrives] if arrives else []), *(p.late for p in short if p.late)], default=None)
    stretch = _stretch(before)
    earliest = _finish([*((one.median_s, one.ready_on) for one in before), (job.median_s, arrives)], bench, now, wait_s)
    slow = [((one.median_s * stretch), one.ready_on) for one in before]
    p80 = max(earliest, _finish([*slow, (max(job.p80_s, job.median_s), late)], bench, now, wait_s))
    if bench.margin_days:
        p80 = bench.calendar.working_day(p80, bench.margin_days)
        days = "working day is" if bench.margin_days == 1 else "working days are"
        causes.append(
            Cause("margin", bench.margin_days, f"{bench.margin_days} {days} added by the workshop's setting.")
        )
    closed = bench.calendar.closed_between(here, p80)
    if closed:
        listed = "; ".join(f"{day_words(day)} ({name})" for day, name in closed)
        causes.append(Cause("closed", len(closed), f"Closed: {listed}."))
    return Promise(earliest, p80, tuple(causes))


def _stretch(before: Sequence[QueuedJob]) -> float:
    """Return the 80 % point of the work before, as a multiple of the sum of its medians; at least 1."""
    mean = variance = medians = 0.0
    for one in before:
        if one.median_s > 0:
            width = (log(max(one.p80_s, one.median_s) / one.median_s) / Z_80) ** 2
            middle = one.median_s * exp(width / 2)
            mean += middle
            variance += middle**2 * (exp(width) - 1)
            medians += one.median_s
    if not medians:
        return 1.0
    width = log(1 + variance / mean**2)
    return max(1.0, mean * exp(Z_80 * sqrt(width) - width / 2) / medians)


def _finish(jobs: Sequence[tuple[float, date | None]], bench: Bench, now: datetime, wait_s: int) -> date:
    """Fill the bench day by day in the order of ``jobs`` (seconds, ready on) and return the day the last is ready."""
    calendar, share = bench.calendar, float(bench.capacity.share)
    today = now.astimezone(calendar.zone).date()
    left = [seconds for seconds, _ready in jobs]
    # The shift that began yesterday may still run, past midnight.
    for day in calendar.days(today - timedelta(days=1)):
        since = max(now, calendar.spans(day)[0].start)
        each = calendar.working_s(day, since) * share
        free = each * bench.capacity.people
        if free <= 0:
            continue
        whole = free
        for n, (_seconds, ready) in enumerate(jobs):
            if ready is not None and day < ready:
                continue
            done = min(left[n], each, free)
            left[n] -= done
            free -= done
            if n == len(jobs) - 1 and left[n] <= 1e-6:
                passed = max(done / each, (whole - free) / whole) * calendar.working_s(day, since)
                return _handed_back(calendar, day, calendar.moment(day, passed, since), wait_s)
    raise Refused("The working calendar has no working day. Enter the shifts, or take closed days back.")


def _handed_back(calendar: WorkingCalendar, day: date, done: datetime, wait_s: int) -> date:
    """Return the local date on which what cures from ``done`` on is ready and somebody is there to hand it back."""
    ready = done + timedelta(seconds=wait_s)
    for later in calendar.days(day):
        spans = calendar.spans(later)
        if spans[-1].end >= ready:
            return max(ready, spans[0].start).astimezone(calendar.zone).date()
    raise Refused("The working calendar has no working day. Enter the shifts, or take closed days back.")


def _work_causes(job: QueuedJob, before: Sequence[QueuedJob], bench: Bench, now: datetime, wait_s: int) -> list[Cause]:
    causes = [
        Cause(
            "work",
            job.p80_s,
            f"This job needs {hours_words(job.median_s)} at the bench, four times in five no more than "
            f"{hours_words(max(job.p80_s, job.median_s))}.",
        )
    ]
    total = sum(one.median_s for one in before)
    if total:
        jobs = "1 job goes" if len(before) == 1 else f"{len(before)} jobs go"
        need = "needs" if len(before) == 1 else "need"
        causes.append(Cause("queue", total, f"{jobs} first and {need} {hours_words(total)}."))
    day = bench.calendar.working_day(now.astimezone(bench.calendar.zone).date())
    hours = bench.capacity.hours(bench.calendar, day)
    people = "person" if bench.capacity.people == 1 else "people"
    words = f"The bench has {hours_words(hours * 3600)} of bench time on a working day"
    causes.append(Cause("capacity", round(hours * 3600), f"{words} ({bench.capacity.people} {people})."))
    if wait_s:
        causes.append(Cause("cure", wait_s, f"Adhesive and seals cure for {hours_words(wait_s)} in all."))
    return causes


def _part_causes(short: Collection[ShortPart]) -> list[Cause]:
    causes = []
    for part in short:
        if part.arrives is None:
            words = f"{part.name} ({part.part}) is short and not on order. Order it, then a day can be promised."
        else:
            words = f"{part.name} ({part.part}) is short and expected on {day_words(part.arrives)}"
            late = part.late is not None and part.late > part.arrives
            words += f", four times in five by {day_words(part.late)}." if late and part.late else "."
            words += f" {part.because}" if part.because else ""
        causes.append(Cause("parts", part.arrives.toordinal() if part.arrives else 0, words))
    return causes


@dataclass(frozen=True, slots=True)
class Slippage:
    """A promise given beside the day as it looks now. ``days`` are working days late, 0 when the promise stands."""

    given: date
    now: date | None
    days: int
    words: str
    because: tuple[str, ...]

    @property
    def late(self) -> bool:
        """Whether the promise will not be kept as things stand."""
        return self.days > 0 or self.now is None

    @property
    def short(self) -> str:
        """How late it will be, in a word or two for a list; empty while the promise holds."""
        if self.now is None:
            return "No day can be named"
        return f"{working_days(self.days)} late" if self.days else ""


def working_days(count: int) -> str:
    """Return a number of working days in words."""
    return "1 working day" if count == 1 else f"{count} working days"


_HINDERS: Final[Mapping[CauseKind, str]] = {
    "work": "The work on this job has grown.",
    "queue": "More work goes first.",
    "capacity": "The bench has less time in a day.",
    "cure": "More has to cure.",
    "closed": "There are more closed days.",
}


def slippage(given: date, now: Promise, calendar: WorkingCalendar, causes_then: Collection[Cause] = ()) -> Slippage:
    """Compare the promise that was given with the one computed now; the given day itself stays what was promised.

    ``causes_then`` are those of the promise as it was given, so that what has changed can be named; without them, or
    when none of them changed, the present causes are given. The day compared is the 80 % one.
    """
    if now.p80 is None:
        words = f"Promised for {day_words(given)}. No day can be named now."
        return Slippage(given, None, 0, words, _changed(now, causes_then))
    days = max(0, calendar.working_days_between(given, now.p80))
    if not days:
        return Slippage(given, now.p80, 0, f"Promised for {day_words(given)}, and that still holds.", ())
    then = day_words(now.p80)
    words = f"Promised for {day_words(given)}. As things stand it will be {then}, {working_days(days)} later."
    return Slippage(given, now.p80, days, words, _changed(now, causes_then))


def _changed(now: Promise, then: Collection[Cause]) -> tuple[str, ...]:
    """Name what is worse than it was; the present reasons when nothing is known of then."""
    worse: list[str] = []
    known = {(cause.kind, cause.words) for cause in then}
    amounts: dict[CauseKind, int] = {}
    for cause in then:
        amounts[cause.kind] = max(amounts.get(cause.kind, 0), cause.amount)
    for cause in now.causes:
        before = amounts.get(cause.kind, 0)
        if cause.kind in ("parts", "hold"):
            if (cause.kind, cause.words) not in known:
                worse.append(cause.words)
        elif cause.kind == "capacity":
            if before and cause.amount < before:
                worse.append(f"{_HINDERS[cause.kind]} {cause.words}")
        elif cause.kind != "margin" and cause.amount > before:
            worse.append(f"{_HINDERS[cause.kind]} {cause.words}")
    return tuple(worse) if then and worse else now.because
