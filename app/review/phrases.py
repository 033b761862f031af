"""The phrases that the record's words are made of: names of steps, items and units, numbers with nouns, sentences."""

from collections.abc import Mapping, Sequence
from typing import Any

from app.rules.sheet import Sheet, Step

Data = Mapping[str, Any]
Names = Mapping[int, str]


def step_title(sheet: Sheet, step_id: object, *, refit: bool = False) -> str:
    """Return the title of a step, or of its refit; the id itself when the sheet has no such step."""
    step = step_of(sheet, step_id)
    if step is None:
        return str(step_id or "a step")
    return step.refit.title if refit and step.refit else step.title


def item_name(sheet: Sheet, key: object) -> str:
    """Return the name of an item from its key ``step/fixing``, ``step/unit:name`` or ``step/fit:n``."""
    step_id, _, rest = str(key).partition("/")
    step = step_of(sheet, step_id)
    if step is None:
        return str(key)
    sort, _, name = rest.partition(":")
    if sort == "unit":
        return unit_name(sheet, name)
    if sort == "fit" and step.refit and name.isdigit() and int(name) < len(step.refit.fits):
        return step.refit.fits[int(name)].name
    return next((f.name for f in step.releases if f.id == rest), str(key))


def unit_name(sheet: Sheet, unit_id: object) -> str:
    """Return the name of a unit; the id itself when the sheet has no such unit."""
    return next((u.name for u in sheet.units if u.id == unit_id), str(unit_id))


def amount(count: int, one: str, many: str = "") -> str:
    """Return a number with its noun, such as ``1 piece`` or ``4 pieces``."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def step_of(sheet: Sheet, step_id: object) -> Step | None:
    """Return the step of an id, None when the sheet has no such step."""
    return next((s for s in sheet.steps if s.id == step_id), None)


def listed(parts: Sequence[str]) -> str:
    """Join words as a list in a sentence: ``a, b and c``."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}" if parts else ""


def sentences(*parts: str) -> str:
    """Join what is not empty; each part gets its full stop."""
    found = [p.strip().removesuffix(":") for p in parts if p and p.strip()]
    return " ".join(p if p[-1] in ".?!…" else f"{p}." for p in found)


def note_of(data: Data, *fields: str) -> str:
    """Return the first of an entry's fields that says something, its note last; empty when none does."""
    for name in (*fields, "note"):
        if data.get(name):
            return str(data[name])
    return ""


def name_of(names: Names, person: object) -> str:
    """Return somebody's name by the id in an entry's data."""
    return names.get(person, "somebody") if isinstance(person, int) else "somebody"
