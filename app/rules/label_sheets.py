"""Sheets of labels: how many labels of which size stand where, in millimetres, and which label goes where.

The sizes are those that label paper is sold in everywhere; the figures are the paper's, measured from its upper
left corner. The style sheet ``static/css/labels.css`` has the same figures, and a test compares the two.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

from app.rules.verdict import Refused

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """A sheet of ``columns`` × ``rows`` labels; all lengths in mm. A roll is a sheet with one label."""

    key: str
    words: str
    page_w: float
    page_h: float
    columns: int
    rows: int
    label_w: float
    label_h: float
    left: float = 0
    top: float = 0
    gap_x: float = 0
    gap_y: float = 0

    @property
    def places(self) -> int:
        """How many labels a sheet has."""
        return self.columns * self.rows


SHEETS: tuple[LabelSheet, ...] = (
    LabelSheet("roll-62", "Roll, one label of 62 × 29 mm", 62, 29, 1, 1, 62, 29),
    LabelSheet("roll-50", "Roll, one label of 50 × 25 mm", 50, 25, 1, 1, 50, 25),
    LabelSheet("a4-24", "A4, 24 labels of 70 × 37 mm", 210, 297, 3, 8, 70, 37, 0, 0.5),
    LabelSheet("a4-21", "A4, 21 labels of 63.5 × 38.1 mm", 210, 297, 3, 7, 63.5, 38.1, 7.25, 15.15, 2.5, 0),
    LabelSheet("letter-30", "Letter, 30 labels of 66.7 × 25.4 mm", 215.9, 279.4, 3, 10, 66.7, 25.4, 4.7, 12.7, 3.2, 0),
    LabelSheet("letter-10", "Letter, 10 labels of 101.6 × 50.8 mm", 215.9, 279.4, 2, 5, 101.6, 50.8, 4, 12.7, 4.7, 0),
)
"""The sheets that are offered; the first is the one nobody has to choose."""


def label_sheet(key: str) -> LabelSheet:
    """Return the sheet of that name; the first where there is none of it."""
    return next((sheet for sheet in SHEETS if sheet.key == key), SHEETS[0])


def lay_out(labels: Sequence[T], sheet: LabelSheet, start: int = 1) -> tuple[tuple[T | None, ...], ...]:
    """Return the sheets to print: for each the labels in reading order, None for a place that stays empty.

    ``start`` is the first free label of a sheet that was used before, counted from 1. Raises Refused when the
    sheet has no such label.
    """
    if not 1 <= start <= sheet.places:
        raise Refused(f"A sheet has {sheet.places} labels: begin with one of 1 to {sheet.places}.", "start")
    filled: list[T | None] = [None] * (start - 1) + list(labels)
    return tuple(tuple(filled[at : at + sheet.places]) for at in range(0, len(filled), sheet.places)) if labels else ()
