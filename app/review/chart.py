"""The totals' chart: where its bars, lines and labels stand. The template draws what is worked out here."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from app.review.summary import PeriodRow

WIDTH = 1192
LABELS = 132
"""Width kept free at the right for the names of the medians."""


@dataclass(frozen=True)
class Bar:
    """One week or month; ``whole`` is False for one cut off by the range, which is drawn as an outline."""

    x: float
    y: float
    width: float
    height: float
    whole: bool
    words: str


@dataclass(frozen=True)
class Panel:
    """One measure over the periods: its bars on a common foot, its greatest value and its median, named."""

    title: str
    top: float
    foot: float
    bars: tuple[Bar, ...]
    most: str
    most_x: float
    most_y: float
    median: str
    median_y: float | None


@dataclass(frozen=True)
class AxisMark:
    """A name under the chart, at the bar it belongs to."""

    x: float
    text: str


@dataclass(frozen=True)
class Chart:
    """Both panels and the axis between 0 and ``width``."""

    width: int
    height: int
    plot: float
    title: str
    words: str
    panels: tuple[Panel, ...]
    marks: tuple[AxisMark, ...]


def totals_chart(rows: Sequence[PeriodRow], period: str) -> Chart | None:
    """Return the chart of bench hours and closed jobs by week or month; None when there is nothing to draw."""
    if not any(row.sums.closed or row.sums.bench_s for row in rows):
        return None
    hours = _panel("Bench hours", rows, 46, 186, lambda r: Fraction(r.sums.bench_s, 3600), _hours)
    closed = _panel("Closed jobs", rows, 250, 330, lambda r: Fraction(r.sums.closed), lambda v: _figure(v, "", 0))
    title = f"Bench hours and closed jobs by {period}"
    first, last = rows[0].bucket.name, rows[-1].bucket.name
    words = (
        f"From {first} to {last}. Bench hours: {hours.median}, at most {hours.most}. "
        f"Closed jobs: {closed.median}, at most {closed.most}. The table below has the same figures."
    )
    return Chart(WIDTH, 360, WIDTH - LABELS, title, words, (hours, closed), _marks(rows, period))


def _hours(value: Fraction) -> str:
    return _figure(value, " h", 0 if value >= 10 else 1)


def _figure(value: Fraction, unit: str, places: int) -> str:
    whole = value == int(value)
    return f"{float(value):.{0 if whole else max(places, 0)}f}{unit}"


def _panel(
    title: str,
    rows: Sequence[PeriodRow],
    top: float,
    foot: float,
    measure: Callable[[PeriodRow], Fraction],
    say: Callable[[Fraction], str],
) -> Panel:
    values = [measure(row) for row in rows]
    most = max(values) or Fraction(1)
    slot = (WIDTH - LABELS) / len(rows)
    gap = min(6.0, slot * 0.25)
    scale = (foot - top) / float(most)
    bars = tuple(
        Bar(
            round(n * slot + gap / 2, 1),
            round(foot - float(value) * scale, 1),
            round(slot - gap, 1),
            round(float(value) * scale, 1),
            row.bucket.whole,
            f"{row.bucket.name}: {say(value)}{'' if row.bucket.whole else ', part of it only'}",
        )
        for n, (row, value) in enumerate(zip(rows, values, strict=True))
    )
    tall = values.index(max(values))
    middle = _median([v for v, row in zip(values, rows, strict=True) if row.bucket.whole])
    edge = min(max((tall + 0.5) * slot, 24), WIDTH - LABELS - 24)
    return Panel(
        title,
        top,
        foot,
        bars,
        say(max(values)),
        round(edge, 1),
        round(top - 6, 1),
        f"median {say(middle)}" if middle is not None else "no whole period yet",
        None if middle is None else round(foot - float(middle) * scale, 1),
    )


def _median(values: Sequence[Fraction]) -> Fraction | None:
    if not values:
        return None
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2


def _marks(rows: Sequence[PeriodRow], period: str) -> tuple[AxisMark, ...]:
    """Name the first period of each month, or of each quarter when months are shown or the months are many."""
    slot = (WIDTH - LABELS) / len(rows)
    wide = period == "month" and len(rows) <= 14
    found: list[AxisMark] = []
    before: tuple[int, int] | None = None
    for n, row in enumerate(rows):
        first = row.bucket.first
        key = (first.year, first.month if wide or len(rows) <= 60 else (first.month - 1) // 3)
        if key != before and (period == "month" or first.day <= 7 or n == 0):
            text = f"{first:%b %Y}" if before is None or before[0] != key[0] else f"{first:%b}"
            if not found or n * slot - found[-1].x >= 64:
                found.append(AxisMark(round(n * slot + 2, 1), text))
        before = key
    return tuple(found)
