"""The entry that a new plan in mid-work becomes: order, items, tray and kit, or the reason why it cannot be taken.

``replanning`` says what has to be done. This says how the job goes on with it: the steps keep their order and so the
pieces their tray pockets, added steps come after them, and the kit grows by what is needed and what was used up.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from app.rules.counting import BenchState
from app.rules.descent import pocket_numbers
from app.rules.items import Item, ItemCount, items_of
from app.rules.planning import KitLine
from app.rules.replanning import Replan, replan
from app.rules.sheet import ReuseClass, Sheet
from app.rules.verdict import Refused


@dataclass(frozen=True, slots=True)
class Extension:
    """A new plan as it is recorded.

    ``targets`` are the units still to exchange or exchanged under what stays closed; ``exchanged`` were exchanged
    already and come out once more with their steps, so that from now on they go back as they are.
    ``teardown`` holds all steps of the pass, those that are back and stay among them. ``baseline`` are the items that
    begin, in pieces, ``gone`` the keys of those that leave. ``kit`` is what the pass needs in all, by part;
    ``spent`` is what of it was fitted in steps that come down once more. ``added_kit`` and ``dropped_kit`` are the
    differences from the kit before.
    """

    plan: Replan
    targets: tuple[str, ...]
    exchanged: tuple[str, ...]
    teardown: tuple[str, ...]
    refit: tuple[str, ...]
    turned: bool
    baseline: Mapping[str, int]
    gone: tuple[str, ...]
    kit: Mapping[str, int]
    spent: Mapping[str, int]
    added_kit: tuple[KitLine, ...]
    dropped_kit: tuple[KitLine, ...]

    @property
    def data(self) -> dict[str, Any]:
        """What the entry keeps, as plain JSON."""
        return {
            "targets": list(self.targets),
            "exchanged": list(self.exchanged),
            "teardown": list(self.teardown),
            "refit": list(self.refit),
            "turned": self.turned,
            "baseline": dict(self.baseline),
            "gone": list(self.gone),
            "added": list(self.plan.added),
            "again": list(self.plan.again),
            "dropped": list(self.plan.dropped),
            "kit": dict(self.kit),
            "spent": dict(self.spent),
            "added_kit": {line.part: line.count for line in self.added_kit},
            "dropped_kit": {line.part: line.count for line in self.dropped_kit},
            "added_s": self.plan.added_s,
        }

    @property
    def changes(self) -> bool:
        """Whether anything differs from the plan in force."""
        plan = self.plan
        return bool(plan.added or plan.again or plan.dropped or self.added_kit or self.dropped_kit)


def extend(
    sheet: Sheet,
    state: BenchState,
    targets: Collection[str],
    kit: Mapping[str, int] | None = None,
    spent: Mapping[str, int] | None = None,
) -> Extension:
    """Plan for a new set of targets in mid-work, so that it can be recorded.

    ``kit`` is what the pass was planned with so far and ``spent`` what earlier entries of this kind counted so, by
    part. Raises Refused like ``replan``; when a dropped step was begun, when a unit that is scrapped already is left
    out, when a piece is lost under a step that comes down once more, and when a tray pocket in use would change its
    number.
    """
    found = replan(sheet, state, targets)
    titles = {step.id: step.title for step in sheet.steps}
    order = (*(step for step in state.teardown if step not in found.dropped), *found.added)
    frees = {step.frees: step.id for step in reversed(sheet.steps) if step.frees}
    exchanged = tuple(unit for unit in state.targets if unit in found.targets and frees[unit] in found.again
                      and frees[unit] in state.up)  # fmt: skip
    aims = tuple(unit for unit in found.targets if unit not in exchanged)
    items = items_of(sheet, order, aims)
    gone = tuple(key for key in state.items if key.partition("/")[0] in found.dropped)
    _refuse_begun(state, gone, titles)
    _refuse_scrapped(sheet, state, found)
    _refuse_lost(state, found.again, titles)
    _refuse_moved_pockets(sheet, state, order)
    used = dict(spent or {})
    for key, item in items_of(sheet, state.teardown, state.targets).items():
        if item.step in found.again and item.reuse is ReuseClass.SINGLE_USE and item.part:
            fitted = state.items[key].new
            if fitted:
                used[item.part] = used.get(item.part, 0) + fitted
    whole = dict(used)
    for part, count in _needed(items).items():
        whole[part] = whole.get(part, 0) + count
    before = dict(kit or {})
    fresh = {key: item.baseline for key, item in items.items() if item.step in (*found.added, *found.again)}
    steps = {step.id: step for step in sheet.steps}
    return Extension(
        plan=found,
        targets=aims,
        exchanged=exchanged,
        teardown=order,
        refit=tuple(step for step in reversed(order) if steps[step].refit),
        turned=state.turned and not found.to_do,
        baseline=fresh,
        gone=gone,
        kit=whole,
        spent=used,
        added_kit=_more(before, whole, found.added_kit),
        dropped_kit=_more(whole, before, found.dropped_kit),
    )


def _needed(items: Mapping[str, Item]) -> dict[str, int]:
    counts: dict[str, int] = {}
    for item in items.values():
        if item.reuse is ReuseClass.SINGLE_USE and item.part:
            counts[item.part] = counts.get(item.part, 0) + item.baseline
    return counts


def _more(few: Mapping[str, int], many: Mapping[str, int], lines: Collection[KitLine]) -> tuple[KitLine, ...]:
    uses = {line.part: line.uses for line in lines}
    return tuple(
        KitLine(part, count - few.get(part, 0), uses.get(part, ()))
        for part, count in many.items()
        if count > few.get(part, 0)
    )


def _refuse_begun(state: BenchState, gone: Collection[str], titles: Mapping[str, str]) -> None:
    for key in gone:
        count = state.items[key]
        if count != ItemCount(baseline=count.baseline) or key in state.places:
            step = titles[key.partition("/")[0]]
            raise Refused(
                f"“{step}” would be dropped, but something of it is counted or reported already. "
                "Keep the unit it leads to, or take that back first.",
                "targets",
            )


def _refuse_scrapped(sheet: Sheet, state: BenchState, found: Replan) -> None:
    frees = {step.frees: step.id for step in reversed(sheet.steps) if step.frees}
    for unit in sheet.units:
        left_out = unit.id in state.targets and unit.id not in found.targets
        count = state.items.get(f"{frees.get(unit.id)}/unit:{unit.id}")
        if left_out and count is not None and count.scrapped:
            raise Refused(
                f"{unit.name} is out and counted as scrapped. Keep it among the units, "
                "or take that step back at the bench first.",
                "targets",
            )


def _refuse_lost(state: BenchState, again: Collection[str], titles: Mapping[str, str]) -> None:
    for key, count in state.items.items():
        step = key.partition("/")[0]
        if step in again and count.lost:
            raise Refused(
                f"A piece of “{titles[step]}” is reported lost. It may lie in the device: find it and take the report "
                "back before that step comes down once more.",
                "targets",
            )


def _refuse_moved_pockets(sheet: Sheet, state: BenchState, order: tuple[str, ...]) -> None:
    before, after = pocket_numbers(sheet, state.teardown), pocket_numbers(sheet, order)
    for key, number in before.items():
        count = state.items.get(key)
        if count is not None and count.waiting > 0 and after.get(key) != number:
            raise Refused(
                f"Pieces wait in tray pocket {number}, and the new plan would number it {after.get(key)}. "
                "Keep the units that are planned, or take the steps that were done out of turn back first.",
                "targets",
            )
