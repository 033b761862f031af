"""Times against plan: jobs that stand out, and whether the bench takes longer or less than it used to."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from math import log

from app.platform.forms import Form
from app.review.forms import ClosedJobsForm
from app.review.queries.times import TimedJob
from app.review.times_chart import TimesChart, percent, times, times_chart
from app.rules.control_charts import Ewma, Individuals, ewma, individuals

LEAST = 8
"""Fewer jobs tell nothing of what is usual."""
MOST = 120
ROUGH = 20
"""Limits from fewer jobs than this are rough (common practice)."""
SPLIT = 40
"""From so many jobs on, the limits come from the older half, so that a change in the newer one shows."""


@dataclass(frozen=True)
class TimeLine:
    """One job: seconds expected and taken, its share of the expectation, and the average so far, in words."""

    number: str
    model: str
    closed_at: datetime
    expected_s: int
    took_s: int
    share: str
    average: str
    out: bool


@dataclass(frozen=True)
class Finding:
    """A job that stands out, with what is unusual about it."""

    line: TimeLine
    words: str


@dataclass(frozen=True)
class TimesPage:
    """``lines`` are the jobs, newest first; ``chart`` is None for too few. ``drift`` says what the average shows."""

    form: Form[ClosedJobsForm]
    models: Sequence[tuple[str, str]]
    first: date
    last: date
    lines: tuple[TimeLine, ...]
    chart: TimesChart | None
    typical: str
    limits: str
    findings: tuple[Finding, ...]
    drift: str
    rough: bool
    least: int = LEAST
    most: int = MOST


def times_page(
    form: Form[ClosedJobsForm],
    models: Sequence[tuple[int, str]],
    days: tuple[date, date],
    jobs: Sequence[TimedJob],
    zone: tzinfo,
) -> TimesPage:
    """Build the page. Shares are judged by their logarithms, since times have a long tail to one side."""
    options = (("", "All models"), *((str(i), name) for i, name in models))
    if len(jobs) < LEAST:
        return TimesPage(form, options, *days, (), None, "", "", (), "", rough=False)
    values = [log(job.bench_s / job.median_s) for job in jobs]
    base = len(values) if len(values) < SPLIT else len(values) // 2
    single = individuals(values, base)
    average = ewma(values, single.mean, single.sigma)
    lines = tuple(_line(job, values[n], average.points[n], n in single.outside) for n, job in enumerate(jobs))
    closed_on = [job.closed_at.astimezone(zone).date() for job in jobs]
    return TimesPage(
        form=form,
        models=options,
        first=days[0],
        last=days[1],
        lines=tuple(reversed(lines)),
        chart=times_chart([job.number for job in jobs], closed_on, values, single, average, base),
        typical=percent(single.mean),
        limits=f"{percent(single.lower)} to {percent(single.upper)}",
        findings=_findings(lines, single, values),
        drift=_drift(lines, average),
        rough=base < ROUGH,
    )


def _line(job: TimedJob, value: float, average: float, out: bool) -> TimeLine:
    return TimeLine(
        job.number, job.model, job.closed_at, job.median_s, job.bench_s, percent(value), percent(average), out
    )  # fmt: skip


def _findings(lines: Sequence[TimeLine], single: Individuals, values: Sequence[float]) -> tuple[Finding, ...]:
    """Name the jobs beyond a limit, the newest first; a jump to or from one of them is not named again."""
    found = []
    for n in reversed(range(len(lines))):
        if n in single.outside:
            way = "Took unusually long" if values[n] > single.upper else "Took unusually little time"
            found.append(Finding(lines[n], f"{way}: {lines[n].share} of what was expected."))
        elif n in single.jumps and n - 1 not in single.outside:
            words = f"Far from the job before it: {times(single.ranges[n - 1])} between the two."
            found.append(Finding(lines[n], words))
    return tuple(found)


def _drift(lines: Sequence[TimeLine], average: Ewma) -> str:
    """Say since when the average lies beyond its limits, or when it last did."""
    if not average.outside:
        return "No drift: the average stays within its limits."
    last = average.outside[-1]
    first = last
    while first - 1 in average.outside:
        first -= 1
    way = "longer" if average.points[last] > average.middle else "less time"
    if last == len(lines) - 1:
        return f"Since {lines[first].number} jobs take {way} than they used to: now {lines[last].average} on average."
    if first == last:
        return f"The average left its limits once, at {lines[last].number}, and came back with the next job."
    return (
        f"From {lines[first].number} to {lines[last].number} jobs took {way} than usual; "
        "since then the average is within its limits again."
    )
