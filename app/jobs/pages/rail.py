"""The descent of a job, with links to its steps at the bench."""

from collections.abc import Mapping

from app.rules import descent
from app.rules.counting import BenchState, Item
from app.rules.descent import Rail
from app.rules.sheet import Sheet

__all__ = ["Rail", "rail_of"]


def rail_of(
    sheet: Sheet, state: BenchState, items: Mapping[str, Item], pockets: Mapping[str, int], number: str
) -> Rail:
    """Return the descent of a job's present pass; each level links to its step on the bench page."""
    return descent.rail_of(sheet, state, items, pockets, f"/jobs/{number}/bench?step=")
