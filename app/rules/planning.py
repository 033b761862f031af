"""From targets to a plan: the fewest steps, their order down and up, the tray and the kit.

The plan of a job is the targets' steps and everything that must come before them, nothing else.
The way back is the same steps in reverse. All of it is known before anything is opened.
"""

from bisect import insort
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from app.rules.precedence import ancestors, ancestors_in, cycles, predecessors
from app.rules.sheet import ReuseClass, Sheet, Step, Unit
from app.rules.sheet_check import Finding, check_sheet
from app.rules.verdict import Refused

__all__ = ["Finding", "KitLine", "KitUse", "Plan", "Pocket", "ancestors", "check_sheet", "make_plan"]


@dataclass(frozen=True, slots=True)
class Pocket:
    """A numbered pocket of the tray: ``count`` pieces of one fixing wait there for the refit."""

    number: int
    step: str
    fixing: str
    count: int


@dataclass(frozen=True, slots=True)
class KitUse:
    """Where a kit part goes. ``item`` is a fixing's id, ``unit:<unit>`` or ``fit:<n>`` (n from 0)."""

    step: str
    item: str
    count: int

    @property
    def key(self) -> str:
        """The item's key in the closing count."""
        return f"{self.step}/{self.item}"


@dataclass(frozen=True, slots=True)
class KitLine:
    """One part of the kit; ``count`` is the sum of its uses, in stock units."""

    part: str
    count: int
    uses: tuple[KitUse, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """The steps of one job and what they need.

    ``targets`` are unit ids in the sheet's order. ``teardown_s`` and ``refit_s`` are hands-on
    seconds (pressing counts, as the hands are on it); ``wait_s`` is the sum of the cures.
    ``needed_by`` names for each planned step the targets that need it; ``left_closed`` are the
    steps that stay untouched, in the author's order.
    """

    targets: tuple[str, ...]
    teardown: tuple[str, ...]
    refit: tuple[str, ...]
    pockets: tuple[Pocket, ...]
    kit: tuple[KitLine, ...]
    teardown_s: int
    refit_s: int
    wait_s: int
    needed_by: Mapping[str, tuple[str, ...]]
    left_closed: tuple[str, ...]


def make_plan(sheet: Sheet, targets: Collection[str]) -> Plan:
    """Plan the work that reaches all target units of a sheet.

    The same set of targets gives the same plan, whatever order they are named in. Raises Refused
    when no target is given, a target is unknown or no step frees it, or the sheet itself is unsound
    in a way that would make the plan wrong (a circle, an unknown step, a single-use fixing without
    a part number); ``check_sheet`` tells more about an unsound sheet.
    """
    chosen = _chosen_units(sheet, targets)
    before = predecessors(sheet.steps)
    _refuse_unsound_order(sheet, before)
    freed_by = {step.frees: step.id for step in reversed(sheet.steps) if step.frees}
    reach: dict[str, frozenset[str]] = {}
    for unit in chosen:
        goal = freed_by[unit.id]
        reach[unit.id] = ancestors_in(before, (goal,)) | {goal}
    needed = frozenset[str]().union(*reach.values())

    by_id = {step.id: step for step in sheet.steps}
    teardown = tuple(by_id[name] for name in teardown_order(sheet.steps, needed))
    refit = tuple(step for step in reversed(teardown) if step.refit is not None)
    return Plan(
        targets=tuple(unit.id for unit in chosen),
        teardown=tuple(step.id for step in teardown),
        refit=tuple(step.id for step in refit),
        pockets=_pockets(teardown),
        kit=_kit(teardown, {unit.id: unit for unit in chosen}),
        teardown_s=sum(step.time_s for step in teardown),
        refit_s=sum(step.refit.time_s + step.refit.press_s for step in refit if step.refit),
        wait_s=sum(step.refit.cure_s for step in refit if step.refit),
        needed_by=MappingProxyType(
            {step.id: tuple(unit for unit, names in reach.items() if step.id in names) for step in teardown}
        ),
        left_closed=tuple(step.id for step in sheet.steps if step.id not in needed),
    )


def teardown_order(steps: Sequence[Step], needed: Collection[str]) -> tuple[str, ...]:
    """Put the needed steps in an order that keeps precedence and, as far as it can, the author's order.

    The author's first ready step goes next. One exception saves a change of tools: when that step
    needs a tool that is not in hand, the first ready step that uses exactly the tools in hand goes
    before it. A step without tools leaves the tools in hand as they are. ``needed`` must be closed
    under precedence and free of circles, which ``make_plan`` sees to.
    """
    wanted = frozenset(needed)
    chosen = [step for step in steps if step.id in wanted]
    uses = [frozenset(step.tools) for step in chosen]
    before = predecessors(chosen)
    waits = [len(before[step.id]) for step in chosen]
    followers: dict[str, list[int]] = {step.id: [] for step in chosen}
    for index, step in enumerate(chosen):
        for name in before[step.id]:
            followers[name].append(index)
    ready = [index for index, count in enumerate(waits) if count == 0]
    hand: frozenset[str] = frozenset()
    order: list[str] = []
    while ready:
        pick = ready[0]
        if not uses[pick] <= hand:
            keeps = (index for index in ready if uses[index] and uses[index] == hand)
            pick = next(keeps, pick)
        ready.remove(pick)
        step = chosen[pick]
        order.append(step.id)
        hand = uses[pick] or hand
        for index in followers[step.id]:
            waits[index] -= 1
            if waits[index] == 0:
                insort(ready, index)
    return tuple(order)


def _chosen_units(sheet: Sheet, targets: Collection[str]) -> tuple[Unit, ...]:
    """Return the targets as units, in the sheet's order, or refuse naming what can be chosen."""
    if not targets:
        raise Refused("Choose at least one unit to exchange.", "targets")
    known = {unit.id for unit in sheet.units}
    freed = {step.frees for step in sheet.steps if step.frees}
    for target in targets:
        if target not in known:
            names = ", ".join(unit.id for unit in sheet.units if unit.id in freed)
            raise Refused(f"This procedure has no unit “{target}”. It can reach: {names}.", "targets")
        if target not in freed:
            raise Refused(f"No step of this procedure frees the unit “{target}”, so it cannot be a target.", "targets")
    return tuple(unit for unit in sheet.units if unit.id in set(targets))


def _refuse_unsound_order(sheet: Sheet, before: Mapping[str, Sequence[str]]) -> None:
    for step in sheet.steps:
        for name in step.after:
            if name not in before:
                raise Refused(f"Step “{step.id}” waits for “{name}”, and there is no such step.")
    for circle in cycles(before):
        raise Refused(f"These steps wait for each other, so none can be first: {', '.join(circle)}.")


def _pockets(teardown: Sequence[Step]) -> tuple[Pocket, ...]:
    loose = [(step.id, fixing) for step in teardown for fixing in step.releases if fixing.goes_to_tray]
    return tuple(Pocket(number, step, fixing.id, fixing.count) for number, (step, fixing) in enumerate(loose, start=1))


def _kit(teardown: Sequence[Step], targets: Mapping[str, Unit]) -> tuple[KitLine, ...]:
    """Collect what the plan takes from the shelf, a line a part, in the order of first use."""
    uses: dict[str, list[KitUse]] = {}
    for step in teardown:
        for fixing in step.releases:
            if fixing.reuse is not ReuseClass.SINGLE_USE:
                continue
            if fixing.part is None:
                raise Refused(
                    f"“{fixing.name}” in step “{step.id}” is single-use and has no part number, "
                    "so no new one can be put in the kit."
                )
            uses.setdefault(fixing.part, []).append(KitUse(step.id, fixing.id, fixing.count))
        if step.frees is not None and step.frees in targets:
            unit = targets[step.frees]
            uses.setdefault(unit.part, []).append(KitUse(step.id, f"unit:{unit.id}", 1))
        for n, new in enumerate(step.refit.fits if step.refit else ()):
            uses.setdefault(new.part, []).append(KitUse(step.id, f"fit:{n}", new.count))
    return tuple(KitLine(part, sum(use.count for use in listed), tuple(listed)) for part, listed in uses.items())
