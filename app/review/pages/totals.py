"""The totals page: figures by week or month, by technician and by device model, with one chart."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from app.platform.forms import Form
from app.platform.settings import Settings
from app.review.chart import Chart, totals_chart
from app.review.forms import TotalsForm
from app.review.queries.totals import REPEAT_DAYS, DiscardRow, EndedJobs, Repeats
from app.review.summary import Bucket, PeriodRow, Sums, by_period, grouped, sums
from app.rules.expected_time import calibration
from app.rules.money import round_money
from app.rules.statistics import Rate, wilson_interval

REASONS = ("planned", "damaged", "spoiled")


@dataclass(frozen=True)
class Figures:
    """Sums as they are shown: hours and days to one decimal, money rounded to the minor unit."""

    closed: int
    returned: int
    bench_h: str
    parts: Decimal
    beyond_plan: Decimal
    labour: Decimal
    overridden: int
    turnaround_d: str


@dataclass(frozen=True)
class TotalsLine:
    """One week or month; ``booked`` and ``open_at_end`` are None in the breakdowns, which do not have them."""

    name: str
    whole: bool
    booked: int | None
    open_at_end: int | None
    figures: Figures


@dataclass(frozen=True)
class StreamLine:
    """Pieces into one waste stream, by the reasons of ``REASONS``, and their sum."""

    stream: str
    by_reason: tuple[int, ...]
    total: int


@dataclass(frozen=True)
class RepeatFigures:
    """Repeat visits: the rate with its interval, or None when no job has had the time to come back."""

    rate: Rate | None
    words: str
    basis: str


@dataclass(frozen=True)
class ForecastLine:
    """How often the jobs of a model stayed within their 80 % point; ``share`` and the interval in per cent."""

    name: str
    kept: int
    jobs: int
    share: int
    low: int
    high: int
    verdict: str


@dataclass(frozen=True)
class Forecasts:
    """Calibration of the expected bench times: all jobs in words, and by device model."""

    words: str
    lines: tuple[ForecastLine, ...]


@dataclass(frozen=True)
class Totals:
    """The totals page. ``lines`` run from the newest period to the oldest."""

    form: Form[TotalsForm]
    first: date
    last: date
    period: str
    lines: tuple[TotalsLine, ...]
    all: TotalsLine | None
    chart: Chart | None
    by_technician: tuple[TotalsLine, ...]
    by_model: tuple[TotalsLine, ...]
    streams: tuple[StreamLine, ...]
    stream_sums: tuple[int, ...]
    repeats: RepeatFigures | None
    forecasts: Forecasts | None = None


@dataclass(frozen=True)
class Read:
    """What was read for the totals of the buckets ``cut``, as it came from the queries."""

    cut: tuple[Bucket, ...]
    ended: tuple[EndedJobs, ...]
    booked: tuple[int, ...]
    open_before: int
    discards: tuple[DiscardRow, ...]
    repeats: Repeats
    names: Mapping[int, str]
    models: Mapping[int, str]
    forecasts: tuple[tuple[int, int, int], ...] = ()


def refused_totals(form: Form[TotalsForm], today: date) -> Totals:
    """Return the page for a stretch of time that cannot be: the form with what is wrong, and no figures."""
    return Totals(form, today, today, "week", (), None, None, (), (), (), (), None)


def totals(form: Form[TotalsForm], wanted: TotalsForm, read: Read, settings: Settings, today: date) -> Totals:
    """Return the page for what was read."""
    first, last = wanted.days(today)
    rows = by_period(read.cut, read.ended, read.booked, read.open_before)
    currency = settings.currency
    streams = _streams(read.discards)
    technicians = grouped(read.ended, lambda one: one.technician_id, read.names, "Nobody")
    models = grouped(read.ended, lambda one: one.model_id, read.models, "Unknown")
    whole = TotalsLine(
        "All", True, sum(read.booked), rows[-1].open_at_end if rows else 0, _figures(sums(read.ended), currency)
    )
    return Totals(
        form=form,
        first=first,
        last=last,
        period=wanted.period,
        lines=tuple(_line(row, currency) for row in reversed(rows)),
        all=whole,
        chart=totals_chart(rows, wanted.period),
        by_technician=tuple(TotalsLine(name, True, None, None, _figures(s, currency)) for name, s in technicians),
        by_model=tuple(TotalsLine(name, True, None, None, _figures(s, currency)) for name, s in models),
        streams=streams,
        stream_sums=tuple(sum(s.by_reason[n] for s in streams) for n in range(len(REASONS))),
        repeats=_repeats(read.repeats),
        forecasts=_forecasts(read.forecasts, read.models),
    )


def _forecasts(rows: Sequence[tuple[int, int, int]], models: Mapping[int, str]) -> Forecasts:
    by_model: dict[int, list[tuple[int, int]]] = {}
    for model, p80, actual in rows:
        by_model.setdefault(model, []).append((p80, actual))
    lines = []
    for model, pairs in sorted(by_model.items(), key=lambda found: models.get(found[0], "")):
        found = calibration(pairs)
        if found.rate is not None:
            rate = found.rate
            apart = "longer than need be" if rate.low > 0.8 else "too short"
            verdict = {True: "holds", False: apart, None: "too few to judge"}[found.kept]
            share, low, high = (round(100 * figure) for figure in (rate.share, rate.low, rate.high))
            name = models.get(model, "Unknown")
            lines.append(ForecastLine(name, rate.hits, rate.trials, share, low, high, verdict))
    return Forecasts(calibration([(p80, actual) for _model, p80, actual in rows]).words, tuple(lines))


def _line(row: PeriodRow, currency: str) -> TotalsLine:
    return TotalsLine(row.bucket.name, row.bucket.whole, row.booked, row.open_at_end, _figures(row.sums, currency))


def _figures(found: Sums, currency: str) -> Figures:
    days = "—" if found.turnaround_s is None else f"{found.turnaround_s / 86400:.1f}"
    return Figures(
        found.closed,
        found.returned,
        f"{found.bench_s / 3600:.1f}",
        round_money(found.parts, currency),
        round_money(found.beyond_plan, currency),
        round_money(found.labour, currency),
        found.overridden,
        days,
    )


def _streams(rows: Sequence[DiscardRow]) -> tuple[StreamLine, ...]:
    found: dict[str, dict[str, int]] = {}
    for row in rows:
        found.setdefault(row.waste_stream, {})[row.reason] = row.quantity
    return tuple(
        StreamLine(stream, tuple(by.get(reason, 0) for reason in REASONS), sum(by.values()))
        for stream, by in sorted(found.items())
    )


def _repeats(found: Repeats) -> RepeatFigures:
    waiting = ""
    if found.too_recent:
        jobs = "1 job" if found.too_recent == 1 else f"{found.too_recent} jobs"
        waiting = f" {jobs} closed less than {REPEAT_DAYS} days ago and not counted yet."
    if not found.watched:
        return RepeatFigures(None, "No repaired job of this time has had 90 days to come back.", waiting.strip())
    rate = wilson_interval(len(found.came_back), found.watched)
    words = f"{rate.hits} of {rate.trials} repaired devices were booked in again within {REPEAT_DAYS} days"
    return RepeatFigures(rate, words, waiting.strip())
