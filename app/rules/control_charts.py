"""Control charts: whether a row of figures wanders only as it always did, jumped, or drifts.

Three charts of the same figures in their order. *Individuals* and *moving range* find what stands out by itself
(W. A. Shewhart; NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2). The *exponentially weighted moving
average* finds a small change that stays (S. W. Roberts 1959; the same handbook, 6.3.2.4).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import pi, sqrt
from typing import Final

D2: Final = 2 / sqrt(pi)
"""The mean range of two normal values, in standard deviations: exact, where tables say 1.128."""
D3: Final = sqrt(2 - 4 / pi)
"""The standard deviation of that range, in standard deviations: exact, where tables say 0.853."""
WIDTH: Final = 3
"""How many standard deviations the limits lie from the middle."""
WEIGHT: Final = 0.2
"""The weight of the newest figure in the moving average; 0.2 to 0.3 is usual (J. S. Hunter 1986)."""


@dataclass(frozen=True, slots=True)
class Individuals:
    """The chart of single values and of their moving ranges, all in the unit of the values.

    ``ranges`` has a range for each value but the first. ``sigma`` is the standard deviation by the mean range.
    ``outside`` are places of values beyond their limits, ``jumps`` places of values that lie too far from the one
    before; places count from 0.
    """

    mean: float
    sigma: float
    lower: float
    upper: float
    ranges: tuple[float, ...]
    mean_range: float
    range_upper: float
    outside: tuple[int, ...]
    jumps: tuple[int, ...]


def individuals(values: Sequence[float], base: int | None = None, d2: float = D2) -> Individuals:
    """Return the chart of values in their order, its limits from the first ``base`` of them, or from all.

    ``d2`` is for comparison with tables that round it. Raises ValueError for fewer than two values to work from.
    """
    known = values if base is None else values[:base]
    if len(known) < 2:
        raise ValueError("a control chart needs two values at least")
    ranges = tuple(abs(later - earlier) for earlier, later in pairwise(values))
    mean = sum(known) / len(known)
    mean_range = sum(ranges[: len(known) - 1]) / (len(known) - 1)
    sigma = mean_range / d2
    lower, upper = mean - WIDTH * sigma, mean + WIDTH * sigma
    slack = _slack(values)
    range_upper = mean_range * (1 + WIDTH * D3 / d2)
    return Individuals(
        mean=mean,
        sigma=sigma,
        lower=lower,
        upper=upper,
        ranges=ranges,
        mean_range=mean_range,
        range_upper=range_upper,
        outside=tuple(n for n, value in enumerate(values) if not lower - slack <= value <= upper + slack),
        jumps=tuple(n for n, wide in enumerate(ranges, start=1) if wide > range_upper + slack),
    )


@dataclass(frozen=True, slots=True)
class Ewma:
    """The chart of the weighted average after each value, with its limits there; ``outside`` as in ``Individuals``."""

    middle: float
    points: tuple[float, ...]
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    outside: tuple[int, ...]


def ewma(values: Sequence[float], middle: float, sigma: float, weight: float = WEIGHT) -> Ewma:
    """Return the weighted average, begun at ``middle``: each point is ``weight`` times the value, the rest the last.

    The limits widen from the first value on toward their steady width, ``3 sigma sqrt(weight / (2 - weight))``.
    Raises ValueError for a weight that is not above 0 and at most 1, or a standard deviation below 0.
    """
    if not 0 < weight <= 1 or sigma < 0:
        raise ValueError("the weight lies above 0 and up to 1, and a standard deviation is not negative")
    points, halves, slack = [], [], _slack(values)
    last = middle
    for n, value in enumerate(values, start=1):
        last = weight * value + (1 - weight) * last
        points.append(last)
        halves.append(WIDTH * sigma * sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * n))))
    return Ewma(
        middle=middle,
        points=tuple(points),
        lower=tuple(middle - half for half in halves),
        upper=tuple(middle + half for half in halves),
        outside=tuple(
            n for n, (point, half) in enumerate(zip(points, halves, strict=True)) if abs(point - middle) > half + slack
        ),
    )


def _slack(values: Sequence[float]) -> float:
    """Return what rounding may make of equal values, so that these are not told apart."""
    return 1e-9 * max((abs(value) for value in values), default=0.0)
