"""The places of a step's fixings on its drawing, numbered: for the procedure page, and a base for the bench page."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from string import ascii_lowercase

from app.rules.place_layout import Box, Spot, lay_out
from app.rules.sheet import Fixing, Step
from app.rules.taps import Mark

_BOX = re.compile(r'viewBox="([-+0-9.eE, ]+)"')


@dataclass(frozen=True)
class PlacedSpot:
    """A numbered place: of which fixing, where on the drawing, what it bears, and what stands beside it.

    ``label`` is the number, with a letter before it where the step has places of several fixings; ``of`` is how
    many the fixing has.
    """

    fixing: str
    name: str
    number: int
    of: int
    label: str
    spot: Spot
    mark: Mark = "open"


def view_box(svg: str | None) -> Box | None:
    """Return the view box of a drawing; None without a drawing, or when it cannot be read."""
    found = _BOX.search(svg or "")
    numbers = found.group(1).replace(",", " ").split() if found else []
    if len(numbers) != 4:
        return None
    left, top, width, height = (float(n) for n in numbers)
    return (left, top, width, height) if width > 0 and height > 0 else None


def letters(fixings: Sequence[Fixing]) -> dict[str, str]:
    """Return the letter of each fixing with places; empty letters where only one has any."""
    placed = [fixing.id for fixing in fixings if fixing.places]
    if len(placed) < 2:
        return dict.fromkeys(placed, "")
    return {name: ascii_lowercase[n % 26] for n, name in enumerate(placed)}


def placed_spots(step: Step, box: Box, marks: Mapping[str, Sequence[Mark]] | None = None) -> tuple[PlacedSpot, ...]:
    """Return all places of a step in the order of its fixings; ``marks`` by fixing, open where none are given."""
    letter = letters(step.releases)
    pieces = [(fixing, n) for fixing in step.releases for n in range(len(fixing.places))]
    laid = lay_out([(float(f.places[n].x), float(f.places[n].y)) for f, n in pieces], box)
    return tuple(
        PlacedSpot(
            fixing=fixing.id,
            name=fixing.name,
            number=n + 1,
            of=len(fixing.places),
            label=_label(letter[fixing.id], n + 1, len(fixing.places)),
            spot=spot,
            mark=marks[fixing.id][n] if marks and fixing.id in marks else "open",
        )
        for (fixing, n), spot in zip(pieces, laid, strict=True)
    )


def _label(letter: str, number: int, of: int) -> str:
    return letter if letter and of == 1 else f"{letter}{number}"
