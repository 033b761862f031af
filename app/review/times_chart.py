"""The charts of bench times against expectation: where dots, lines, limits and their names stand."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from math import exp
from typing import Literal

from app.rules.control_charts import Ewma, Individuals

WIDTH = 1192
LABELS = 170
"""Width kept free at the right for the names of the limits."""
PAD = 10
NAME_WIDTH = 96
"""Room for a job's number beside its dot; where there is none, it is named in the table only."""
LEAST_GAP = 17
"""Distance of two names in one column, from foot to foot."""


@dataclass(frozen=True)
class Dot:
    """One job in a panel; ``out`` when it lies beyond a limit, ``name`` its number where it stands beside it."""

    x: float
    y: float
    out: bool
    words: str
    name: str = ""
    anchor: Literal["start", "end"] = "start"


@dataclass(frozen=True)
class Rule:
    """A named line across a panel, at ``y``; its name stands at ``label_y``. A ``name`` belongs to a bent limit."""

    y: float
    label_y: float
    words: str
    kind: Literal["typical", "limit", "name"]


@dataclass(frozen=True)
class TimesPanel:
    """One chart: its dots joined by ``line`` (SVG points), and its named lines. ``edges`` are limits that bend."""

    title: str
    top: float
    foot: float
    dots: tuple[Dot, ...]
    line: str
    rules: tuple[Rule, ...]
    edges: tuple[str, ...] = ()


@dataclass(frozen=True)
class Mark:
    """A name under the charts, at the job it belongs to."""

    x: float
    text: str


@dataclass(frozen=True)
class TimesChart:
    """The three charts over one axis. ``base_x`` is where the jobs end that the limits come from, if not at the end."""

    width: int
    height: int
    plot: float
    words: str
    panels: tuple[TimesPanel, ...]
    marks: tuple[Mark, ...]
    base_x: float | None
    base_words: str


def times_chart(
    names: Sequence[str], days: Sequence[date], values: Sequence[float], single: Individuals, average: Ewma, base: int
) -> TimesChart:
    """Return the charts. ``values`` are logarithms of actual over expected time, ``names`` the jobs' numbers."""
    plot = WIDTH - LABELS
    slot = plot / len(values)
    places = [round((n + 0.5) * slot, 1) for n in range(len(values))]
    panels = (
        _panel(
            "Time taken, of what was expected", 34, 214, places, names, values, single.outside, percent,
            (("upper limit", single.upper), ("typical", single.mean), ("lower limit", single.lower)),
        ),
        _panel(
            "Change from the job before", 262, 342, places[1:], names[1:], single.ranges,
            [n - 1 for n in single.jumps], times, (("limit", single.range_upper), ("typical", single.mean_range)),
            floor=0.0, named=False,
        ),
        _panel(
            "Average of the latest jobs, the newest counting most", 390, 490, places, names, average.points,
            average.outside, percent,
            (("upper limit", average.upper[-1]), ("typical", average.middle), ("lower limit", average.lower[-1])),
            bends=(average.upper, average.lower), named=False,
        ),
    )  # fmt: skip
    words = (
        f"{len(values)} jobs from {days[0]:%-d %b %Y} to {days[-1]:%-d %b %Y}. They typically took "
        f"{percent(single.mean)} of what was expected; {len(single.outside)} lie beyond the limits "
        f"{percent(single.lower)} and {percent(single.upper)}. The table below has the same figures."
    )
    half_way = base < len(values)
    return TimesChart(
        width=WIDTH,
        height=526,
        plot=plot,
        words=words,
        panels=panels,
        marks=_marks(days, places),
        base_x=round(base * slot, 1) if half_way else None,
        base_words=f"limits from the first {base} jobs" if half_way else "",
    )


def percent(value: float) -> str:
    """Return a logarithm of actual over expected in per cent of what was expected."""
    return f"{100 * exp(value):.0f} %"


def times(value: float) -> str:
    """Return a difference of logarithms as a factor."""
    return f"× {exp(value):.2f}"


def _panel(
    title: str,
    top: float,
    foot: float,
    places: Sequence[float],
    names: Sequence[str],
    values: Sequence[float],
    outside: Sequence[int],
    say: Callable[[float], str],
    lines: Sequence[tuple[str, float]],
    *,
    floor: float | None = None,
    bends: Sequence[Sequence[float]] = (),
    named: bool = True,
) -> TimesPanel:
    drawn = [*values, *(value for _words, value in lines)]
    low, high = min(drawn) if floor is None else floor, max(drawn)
    scale = (foot - top - 2 * PAD) / (high - low) if high > low else 0.0

    def place(value: float) -> float:
        return round(foot - PAD - (value - low) * scale, 1)

    out = set(outside)
    sides = _sides(places, outside) if named else {}
    dots = tuple(
        Dot(
            x, place(value), n in out, f"{names[n]}: {say(value)}",
            names[n] if n in sides else "", sides.get(n, "start"),
        )
        for n, (x, value) in enumerate(zip(places, values, strict=True))
    )  # fmt: skip
    return TimesPanel(
        title,
        top,
        foot,
        dots,
        " ".join(f"{dot.x},{dot.y}" for dot in dots),
        _rules(lines, place, say, straight=not bends),
        tuple(" ".join(f"{x},{place(value)}" for x, value in zip(places, edge, strict=True)) for edge in bends),
    )


def _sides(places: Sequence[float], outside: Sequence[int]) -> dict[int, Literal["start", "end"]]:
    """Return on which side of the dots outside there is room for a name; those without room are left out."""
    found: dict[int, Literal["start", "end"]] = {}
    free_from = 0.0
    for k, n in enumerate(outside):
        right = places[outside[k + 1]] if k + 1 < len(outside) else WIDTH - LABELS
        if right - places[n] >= NAME_WIDTH:
            found[n] = "start"
            free_from = places[n] + NAME_WIDTH
        elif places[n] - free_from >= NAME_WIDTH:
            found[n] = "end"
            free_from = places[n]
        else:
            free_from = places[n]
    return found


def _rules(
    lines: Sequence[tuple[str, float]], place: Callable[[float], float], say: Callable[[float], str], *, straight: bool
) -> tuple[Rule, ...]:
    """Return named lines from above to below; names that would meet are moved down, bent limits are named only."""
    found: list[Rule] = []
    limit: Literal["limit", "name"] = "limit" if straight else "name"
    for words, value in sorted(lines, key=lambda line: -line[1]):
        y = place(value)
        label_y = max(y + 5, found[-1].label_y + LEAST_GAP) if found else y + 5
        kind: Literal["typical", "limit", "name"] = "typical" if words == "typical" else limit
        found.append(Rule(y, round(label_y, 1), f"{words} {say(value)}", kind))
    return tuple(found)


def _marks(days: Sequence[date], places: Sequence[float]) -> tuple[Mark, ...]:
    """Name the month at its first job, where there is room."""
    found: list[Mark] = []
    for n, day in enumerate(days):
        new = n == 0 or (day.year, day.month) != (days[n - 1].year, days[n - 1].month)
        if new and (not found or places[n] - found[-1].x >= 70):
            with_year = not found or day.year != days[n - 1].year
            found.append(Mark(places[n], f"{day:%b %Y}" if with_year else f"{day:%b}"))
    return tuple(found)
