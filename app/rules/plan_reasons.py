"""Why each step of a plan is in, and what is left closed."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.rules.planning import Plan
from app.rules.sheet import Sheet


@dataclass(frozen=True, slots=True)
class StepReason:
    """Why a planned step is in. ``targets`` are the unit ids that need it, ``before`` the planned steps right after it.

    ``frees`` is the unit it sets free, empty for none; ``exchanged`` is whether that unit is a target. ``words`` says
    all of it in a sentence or two.
    """

    step: str
    targets: tuple[str, ...]
    before: tuple[str, ...]
    frees: str
    exchanged: bool
    words: str


@dataclass(frozen=True, slots=True)
class LeftClosed:
    """What a plan does not touch: units that stay in and steps that are not done, in the sheet's order."""

    units: tuple[str, ...]
    steps: tuple[str, ...]
    words: str


def reasons(sheet: Sheet, plan: Plan) -> tuple[StepReason, ...]:
    """Return the reason for each step of a plan, in its order."""
    names = {unit.id: unit.name for unit in sheet.units}
    steps = {step.id: step for step in sheet.steps}
    followers: dict[str, list[str]] = {step: [] for step in plan.teardown}
    for name in plan.teardown:
        for above in dict.fromkeys(steps[name].after):
            followers[above].append(name)
    found = []
    for name in plan.teardown:
        frees = steps[name].frees or ""
        exchanged = frees in plan.targets
        before = tuple(followers[name])
        needed = plan.needed_by[name]
        words = []
        if exchanged:
            words.append(f"Frees what is exchanged: {names[frees]}.")
        elif frees:
            words.append(f"{names[frees]} is in the way and goes back.")
        others = [unit for unit in needed if not (exchanged and unit == frees)]
        if others:
            words.append(f"Needed to reach {_listed([names[unit] for unit in others])}.")
        found.append(StepReason(name, needed, before, frees, exchanged, " ".join(words)))
    return tuple(found)


def left_closed(sheet: Sheet, plan: Plan) -> LeftClosed:
    """Return the units and steps that a plan leaves alone. Units that no step frees are not among them."""
    planned = set(plan.teardown)
    units = tuple(step.frees for step in sheet.steps if step.frees and step.id not in planned)
    units = tuple(unit.id for unit in sheet.units if unit.id in units)
    count = len(plan.left_closed)
    if not count:
        return LeftClosed(units, (), "Every step of the procedure is in the plan.")
    steps = "1 step is" if count == 1 else f"{count} steps are"
    words = f"{steps} left out of {len(sheet.steps)}."
    names = [unit.name for unit in sheet.units if unit.id in units]
    if names:
        stay = "stays where it is" if len(names) == 1 else "stay where they are"
        words += f" {_listed(names)} {stay}."
    return LeftClosed(units, plan.left_closed, words)


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
