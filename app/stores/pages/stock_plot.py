"""The drawing of a part's stock over time: where its lines, bands and names stand. The template draws it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil

from app.rules.stores.outlook import OutlookDay

WIDTH, HEIGHT = 1000, 320
LEFT, RIGHT, TOP, FOOT = 48, 870, 30, 280


@dataclass(frozen=True)
class PlotMark:
    """A named place: on an axis, or a receipt or want with its quantity."""

    x: float
    y: float
    text: str


@dataclass(frozen=True)
class StockPlot:
    """Polylines as SVG points; ``rows`` are (day, stock, low, high, wanted, comes) for the table."""

    width: int
    height: int
    left: int
    right: int
    top: int
    foot: int
    title: str
    words: str
    past: str
    expected: str
    band: str
    today_x: float
    point_y: float | None
    point: int
    receipts: tuple[PlotMark, ...]
    wants: tuple[PlotMark, ...]
    days: tuple[PlotMark, ...]
    levels: tuple[PlotMark, ...]
    rows: tuple[tuple[date, str, str, str, int, int], ...]


def stock_plot(
    number: str, before: Sequence[OutlookDay], after: Sequence[OutlookDay], point: int, unit: str
) -> StockPlot:
    """Return the drawing of past days (the last is today) and days ahead."""
    every = [*before, *after]
    most = max([day.high for day in every] + [point, 1.0])
    step = _step(most)
    top = ceil(most / step) * step
    first, last = every[0].on, every[-1].on
    span = max((last - first).days, 1)

    def x(day: date) -> float:
        return round(LEFT + (day - first).days / span * (RIGHT - LEFT), 1)

    def y(value: float) -> float:
        return round(FOOT - value / top * (FOOT - TOP), 1)

    today = before[-1]
    forward = [today, *after]
    upper = [f"{x(d.on)},{y(d.high)}" for d in forward]
    lower = [f"{x(d.on)},{y(d.low)}" for d in reversed(forward)]
    return StockPlot(
        WIDTH, HEIGHT, LEFT, RIGHT, TOP, FOOT,
        title=f"Stock of {number} over time",
        words=_words(before, after, point, unit),
        past=_steps(before, x, y),
        expected=" ".join(f"{x(d.on)},{y(d.expected)}" for d in forward),
        band=" ".join([*upper, *lower]),
        today_x=x(today.on),
        point_y=y(point) if point else None,
        point=point,
        receipts=tuple(PlotMark(x(d.on), y(d.expected), f"+{d.comes}") for d in after if d.comes),
        wants=tuple(PlotMark(x(d.on), y(d.expected), f"−{d.wanted}") for d in after if d.wanted),
        days=_day_marks(every, x),
        levels=tuple(PlotMark(LEFT - 8, y(n * step), f"{n * step:g}") for n in range(int(top / step) + 1)),
        rows=_rows(before, after),
    )  # fmt: skip


def _step(most: float) -> float:
    for step in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000):
        if most / step <= 6:
            return step
    return float(10 ** len(f"{most:.0f}"))


def _steps(days: Sequence[OutlookDay], x: Callable[[date], float], y: Callable[[float], float]) -> str:
    """Draw what is known as steps: stock changes at a moment, not along a slope."""
    found = []
    for n, day in enumerate(days):
        if n and day.expected != days[n - 1].expected:
            found.append(f"{x(day.on)},{y(days[n - 1].expected)}")
        if n in (0, len(days) - 1) or day.expected != days[n - 1].expected:
            found.append(f"{x(day.on)},{y(day.expected)}")
    return " ".join(found)


def _day_marks(days: Sequence[OutlookDay], x: Callable[[date], float]) -> tuple[PlotMark, ...]:
    found: list[PlotMark] = []
    for day in days:
        if day.on.day == 1 and (not found or x(day.on) - found[-1].x > 56):
            found.append(PlotMark(x(day.on), FOOT + 20, f"1 {day.on:%b}"))
    return tuple(found)


def _rows(
    before: Sequence[OutlookDay], after: Sequence[OutlookDay]
) -> tuple[tuple[date, str, str, str, int, int], ...]:
    """Return a row a fortnight back, today, and a row a week ahead; what happens in between is summed."""
    rows = [(d.on, f"{d.expected:g}", "", "", 0, 0) for n, d in enumerate(reversed(before)) if n % 14 == 0]
    rows.reverse()
    wanted = comes = 0
    for n, day in enumerate(after, 1):
        wanted, comes = wanted + day.wanted, comes + day.comes
        if n % 7 == 0 or n == len(after):
            rows.append((day.on, f"{day.expected:.1f}", f"{day.low:.1f}", f"{day.high:.1f}", wanted, comes))
            wanted = comes = 0
    return tuple(rows)


def _words(before: Sequence[OutlookDay], after: Sequence[OutlookDay], point: int, unit: str) -> str:
    today, last = before[-1], after[-1]
    empty = next((day.on for day in after if day.expected <= 0), None)
    words = (
        f"From {before[0].on:%-d %b %Y} to {last.on:%-d %b %Y}. Today {today.expected:g} {unit}; if nothing more is "
        f"ordered, about {last.expected:.0f} at the end, eight times in ten between {last.low:.0f} and {last.high:.0f}."
    )
    if point:
        words += f" The reorder point is {point}."
    if empty is not None:
        words += f" Nothing is left from about {empty:%-d %b}."
    return f"{words} The table has the same figures."
