"""The chart of discards against plan: a dot for each step's spoiled share, its interval, and the spares planned."""

from collections.abc import Sequence
from dataclasses import dataclass

WIDTH = 1192
NAMES = 430
"""Width kept free at the left for the names of steps and parts."""
WORDS = 190
"""Width kept free at the right for the figures."""
ROW = 44
TOP = 34
FOOT = 30
NAME_LETTERS = 46


@dataclass(frozen=True)
class WasteRow:
    """One part at one step: shares of pieces between 0 and 1; ``planned`` is the share that the spares allow for."""

    step: str
    part: str
    share: float
    low: float
    high: float
    planned: float
    words: str


@dataclass(frozen=True)
class WasteLine:
    """A row of the chart. ``y`` is its middle, ``x`` of the dot, ``x1`` and ``x2`` of the interval's ends."""

    y: float
    step: str
    part: str
    x: float
    x1: float
    x2: float
    planned_x: float | None
    words: str


@dataclass(frozen=True)
class Grid:
    """A vertical line with its name."""

    x: float
    words: str


@dataclass(frozen=True)
class WasteChart:
    """What the template draws; ``words`` say what the chart shows."""

    width: int
    height: int
    top: float
    foot: float
    lines: tuple[WasteLine, ...]
    grid: tuple[Grid, ...]
    words_x: float
    words: str


def waste_chart(rows: Sequence[WasteRow]) -> WasteChart | None:
    """Return the chart of these rows, in their order; None without any."""
    if not rows:
        return None
    most = _round_up(max(max(row.high, row.planned) for row in rows))
    plot = WIDTH - NAMES - WORDS

    def place(share: float) -> float:
        return round(NAMES + plot * min(share, most) / most, 1)

    lines = tuple(
        WasteLine(
            TOP + (n + 0.5) * ROW, _short(row.step), row.part, place(row.share), place(row.low), place(row.high),
            place(row.planned) if row.planned else None, row.words,
        )
        for n, row in enumerate(rows)
    )  # fmt: skip
    foot = TOP + len(rows) * ROW
    worst = max(rows, key=lambda row: row.share)
    return WasteChart(
        width=WIDTH,
        height=foot + FOOT,
        top=TOP,
        foot=foot,
        lines=lines,
        grid=tuple(Grid(place(most * n / 4), f"{100 * most * n / 4:g} %") for n in range(5)),
        words_x=WIDTH - WORDS + 16,
        words=f"Spoiled share of {len(rows)} steps with its 95 % interval. The largest: {worst.step}, {worst.words}.",
    )


def _round_up(share: float) -> float:
    return next((edge for edge in (0.04, 0.1, 0.2, 0.4, 0.6) if share <= edge), 1.0)


def _short(text: str) -> str:
    return text if len(text) <= NAME_LETTERS else text[: NAME_LETTERS - 1].rstrip() + "…"
