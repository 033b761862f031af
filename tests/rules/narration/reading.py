"""Shorthand of the narration tests: a sentence in, what was read out."""

from app.rules.narration import Draft, draft_from, read_source
from app.rules.narration.shapes import DraftStep
from app.rules.sheet import ReuseClass


def drafted(text: str, name: str = "words.txt") -> Draft:
    """Return the draft of a text."""
    return draft_from(read_source(name, text.encode()))


def only_step(text: str) -> DraftStep:
    """Return the one step of a text; fails when there are more or none."""
    steps = drafted(text).steps
    assert len(steps) == 1, [step.text for step in steps]
    return steps[0]


def released(text: str) -> list[tuple[str, int | None]]:
    """Return (kind, count) of all fixings in order."""
    return [(f.kind.value, f.count) for step in drafted(text).steps for f in step.fixings]


def scrapped(text: str) -> list[str]:
    """Return the names of all fixings that are scrapped."""
    return [f.name for step in drafted(text).steps for f in step.fixings if f.reuse is ReuseClass.SINGLE_USE]


def sizes(text: str) -> list[str | None]:
    """Return all driver sizes in order."""
    return [tool.size for step in drafted(text).steps for tool in step.drivers]


def freed(text: str) -> list[str]:
    """Return the names of all units freed."""
    return [unit.name for step in drafted(text).steps for unit in step.frees]
