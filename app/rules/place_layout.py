"""Where the numbered marks of places stand on a drawing, and how large each may be touched, in the drawing's units."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot
from typing import Final

Box = tuple[float, float, float, float]
"""A drawing's view box: left, top, width, height."""

# The bench page shows a drawing some 515 px wide on a tablet of 1180 × 820, upright or across. 15 mm are 56.7 px
# at 96 px an inch, as CSS counts them; 24 px are the least of WCAG 2.2, success criterion 2.5.8.
SHOWN_PX: Final = 515
_TARGET: Final = 58 / SHOWN_PX
_LEAST: Final = 25 / SHOWN_PX
_RADIUS: Final = 0.026
_LETTER: Final = 0.036
_NAMES: Final = ("x", "y", "r", "target", "label_x", "label_y", "letter")


@dataclass(frozen=True, slots=True)
class Spot:
    """One place on the drawing: its centre, the radius of its mark, the side of its target, where its number stands.

    ``close`` when others are so near that its target is smaller than 15 mm.
    """

    x: float
    y: float
    r: float
    target: float
    label_x: float
    label_y: float
    letter: float
    close: bool = False


def lay_out(points: Sequence[tuple[float, float]], box: Box) -> tuple[Spot, ...]:
    """Lay marks out at points given as fractions of the picture.

    Targets are squares that do not overlap: as large as a thumb where there is room, never below the least size.
    Numbers stand beside their mark, on the side with the most room.
    """
    left, top, width, height = box
    at = [(left + x * width, top + y * height) for x, y in points]
    found: list[Spot] = []
    labels: list[tuple[float, float]] = []
    for n, (x, y) in enumerate(at):
        others = [p for m, p in enumerate(at) if m != n]
        room = min((max(abs(x - a), abs(y - b)) for a, b in others), default=width)
        target = max(min(_TARGET * width, room), _LEAST * width)
        r = max(min(_RADIUS * width, room * 0.46), 0.016 * width)
        letter = _LETTER * width if room > 0.07 * width else 0.028 * width
        label = _label((x, y), r + letter * 0.62, [*others, *labels], box)
        labels.append(label)
        close = target < _TARGET * width
        values = dict(zip(_NAMES, (x, y, r, target, *label, letter), strict=True))
        found.append(Spot(**{name: round(value, 1) for name, value in values.items()}, close=close))
    return tuple(found)


_WAYS: Final = ((1, -0.75), (-1, -0.75), (1, 0.75), (-1, 0.75), (1.15, 0), (-1.15, 0), (0, -1.1), (0, 1.1))


def _label(
    centre: tuple[float, float], reach: float, taken: Sequence[tuple[float, float]], box: Box
) -> tuple[float, float]:
    """Return where a number stands: the first way out that keeps clear, else the one with the most room."""
    left, top, width, height = box

    def clear(x: float, y: float) -> float:
        edge = min(x - left, left + width - x, y - top, top + height - y)
        return min([edge, *(hypot(x - a, y - b) for a, b in taken)])

    spots = [(centre[0] + dx * reach, centre[1] + dy * reach) for dx, dy in _WAYS]
    return next((spot for spot in spots if clear(*spot) > reach * 1.6), max(spots, key=lambda spot: clear(*spot)))
