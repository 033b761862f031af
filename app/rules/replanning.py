"""A new plan from where the device stands: what is done stays done, and what is added is shown before anyone says yes.

The targets are the whole new set. Steps that are down and that the new targets do not need stay down until the refit,
which puts them back with the others. When the refit has begun, steps that are back already and that a unit still to
be exchanged needs come down once more, and their single-use parts are needed once more; what is underneath stays in.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace

from app.rules.counting import BenchState
from app.rules.planning import KitLine, KitUse, Plan, make_plan
from app.rules.precedence import ancestors
from app.rules.quoting import scrap_of
from app.rules.sheet import Sheet, Step, WasteStream
from app.rules.verdict import Refused


@dataclass(frozen=True, slots=True)
class Replan:
    """A plan in mid-work beside the one in force. Step ids are in the order they are done.

    ``plan`` is the plan of the new targets as if nothing were done, for why each step is in. ``teardown`` and
    ``refit`` are what is down now and what still comes down, and the way back of both. ``kept`` is down and stays so;
    ``to_do`` still comes down: of it ``added`` was not in the old plan, ``again`` was back already. ``dropped`` was
    planned, is not done and is needed no more. ``only_back`` is down and needed by no target: it just goes back.

    ``kit`` is the whole new kit; ``added_kit`` and ``dropped_kit`` are what it takes more and fewer of than the old
    plan's, and ``added_scrap`` the pieces scrapped more, by stream. ``added_s`` are standard hands-on seconds more,
    down and up, and ``added_wait_s`` cures more; both are negative when it is less. ``words`` says it in short.
    """

    plan: Plan
    teardown: tuple[str, ...]
    refit: tuple[str, ...]
    kept: tuple[str, ...]
    to_do: tuple[str, ...]
    added: tuple[str, ...]
    again: tuple[str, ...]
    dropped: tuple[str, ...]
    only_back: tuple[str, ...]
    kit: tuple[KitLine, ...]
    added_kit: tuple[KitLine, ...]
    dropped_kit: tuple[KitLine, ...]
    added_scrap: Mapping[WasteStream, int]
    added_s: int
    added_wait_s: int
    words: str

    @property
    def targets(self) -> tuple[str, ...]:
        """The new targets, in the sheet's order."""
        return self.plan.targets


def replan(sheet: Sheet, state: BenchState, targets: Collection[str]) -> Replan:
    """Plan for a new set of targets from where the device stands.

    ``state`` is the job's present pass, with a plan in force. Raises Refused like ``make_plan``, when no plan is in
    force, when the closing count is signed, and when a unit that was exchanged already is left out.
    """
    if not state.teardown:
        raise Refused("This job has no plan yet. Plan it in the usual way.")
    if state.counted:
        raise Refused("The closing count is signed. A new plan begins a new pass from here.")
    old, new = make_plan(sheet, state.targets), make_plan(sheet, targets)
    frees = {step.frees: step.id for step in reversed(sheet.steps) if step.frees}
    exchanged = {unit for unit in state.targets if frees[unit] in state.up}
    _keep_exchanged(sheet, exchanged, new)
    goals = {frees[unit] for unit in new.targets if unit not in exchanged}
    needed = ancestors(sheet.steps, goals) | goals
    down, up = set(state.down), set(state.up)
    again = tuple(step for step in new.teardown if step in needed and step in up)
    to_do = tuple(step for step in new.teardown if step in needed and (step not in down or step in up))
    kept = tuple(step for step in state.down if step not in up)
    added = tuple(step for step in to_do if step not in state.teardown)
    dropped = tuple(step for step in state.teardown if step not in down and step not in to_do)
    steps = {step.id: step for step in sheet.steps}
    teardown = (*kept, *to_do)
    kit, more, fewer = _kits(old, new, down, again)
    only_back = tuple(step for step in kept if step not in new.needed_by)
    added_s = _hands_s(steps, (*added, *again)) - _hands_s(steps, dropped)
    return Replan(
        plan=new,
        teardown=teardown,
        refit=tuple(step for step in reversed(teardown) if steps[step].refit),
        kept=kept,
        to_do=to_do,
        added=added,
        again=again,
        dropped=dropped,
        only_back=only_back,
        kit=kit,
        added_kit=more,
        dropped_kit=fewer,
        added_scrap=scrap_of(sheet, more),
        added_s=added_s,
        added_wait_s=_wait_s(steps, (*added, *again)) - _wait_s(steps, dropped),
        words=_words(added, again, dropped, only_back, more, added_s),
    )


def _keep_exchanged(sheet: Sheet, exchanged: Collection[str], new: Plan) -> None:
    for unit in sheet.units:
        if unit.id in exchanged and unit.id not in new.targets:
            raise Refused(f"{unit.name} is exchanged already. Keep it among the units.", "targets")


def _kits(
    old: Plan, new: Plan, down: Collection[str], again: Collection[str]
) -> tuple[tuple[KitLine, ...], tuple[KitLine, ...], tuple[KitLine, ...]]:
    """Return the whole new kit, what it takes more of than the old plan's, and what fewer."""
    before, after = _uses(old), _uses(new)
    whole = dict(after)
    for key, (part, use) in before.items():
        # What is down is scrapped or open whatever the targets are, but only a target is taken new.
        if use.step in down and not use.item.startswith("unit:"):
            whole.setdefault(key, (part, use))
    more = {key: found for key, found in whole.items() if key not in before}
    fewer = {key: found for key, found in before.items() if key not in whole}
    for key, (part, use) in after.items():
        if use.step in again and not use.item.startswith("unit:"):
            more[key] = (part, use)
            whole[key] = (part, replace(use, count=2 * use.count))
    return _lines(whole.values()), _lines(more.values()), _lines(fewer.values())


def _uses(plan: Plan) -> dict[str, tuple[str, KitUse]]:
    return {use.key: (line.part, use) for line in plan.kit for use in line.uses}


def _lines(uses: Iterable[tuple[str, KitUse]]) -> tuple[KitLine, ...]:
    by_part: dict[str, list[KitUse]] = {}
    for part, use in uses:
        by_part.setdefault(part, []).append(use)
    return tuple(KitLine(part, sum(use.count for use in found), tuple(found)) for part, found in by_part.items())


def _hands_s(steps: Mapping[str, Step], names: Iterable[str]) -> int:
    found = 0
    for name in names:
        step = steps[name]
        found += step.time_s + (step.refit.time_s + step.refit.press_s if step.refit else 0)
    return found


def _wait_s(steps: Mapping[str, Step], names: Iterable[str]) -> int:
    return sum(refit.cure_s for name in names if (refit := steps[name].refit))


def _words(
    added: Collection[str],
    again: Collection[str],
    dropped: Collection[str],
    only_back: Collection[str],
    more: Collection[KitLine],
    added_s: int,
) -> str:
    said = []
    if added:
        said.append(f"{_steps(added)} more to take down.")
    if again:
        said.append(f"{_steps(again)} that {'is' if len(again) == 1 else 'are'} back already must come down once more.")
    if dropped:
        said.append(f"{_steps(dropped)} not needed any more.")
    if only_back:
        said.append(f"{_steps(only_back)} down and needed by no unit now; the refit closes what is open.")
    if more:
        pieces = sum(line.count for line in more)
        said.append(f"{pieces} {'piece' if pieces == 1 else 'pieces'} more from the shelf.")
    if not said:
        return "Nothing is added: what is planned covers it."
    minutes = -(-abs(added_s) // 60)
    said.append(f"Standard time: {minutes} min {'more' if added_s >= 0 else 'less'}.")
    return " ".join(said)


def _steps(names: Collection[str]) -> str:
    return "1 step" if len(names) == 1 else f"{len(names)} steps"
