"""The descent: the job's own picture as plain data, made from the plan and the count.

Teardown runs down on one side, the refit climbs up on the other, each refit step level with the teardown step
that it answers; what is out of the device hangs between them on its level.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from app.rules import bench
from app.rules.counting import BenchState, Item, ItemCount
from app.rules.planning import Pocket
from app.rules.sheet import Sheet


@dataclass(frozen=True, slots=True)
class RailItem:
    """One item that hangs at a level; counts in pieces, as in ``ItemCount``."""

    label: str
    pocket: int | None
    total: int
    out: int
    back: int
    scrapped: int
    new: int
    kind: str


@dataclass(frozen=True, slots=True)
class RailLevel:
    """One step: its teardown, its refit, and the items between them.

    ``down`` is done, now or todo; ``up`` is done, now, todo or none where the step has no refit work.
    """

    step_no: int
    title: str
    up_title: str
    down: str
    up: str
    items: tuple[RailItem, ...]
    href: str | None = None


@dataclass(frozen=True, slots=True)
class Rail:
    """A whole descent of one pass; ``targets`` are the names of the units exchanged at the bottom."""

    pass_no: int
    targets: tuple[str, ...]
    turned: bool
    levels: tuple[RailLevel, ...]


def pockets_of(sheet: Sheet, teardown: tuple[str, ...]) -> tuple[Pocket, ...]:
    """Number the tray pockets from 1 along the teardown, one for each fixing that waits in the tray."""
    found: list[Pocket] = []
    for step_id in teardown:
        for fixing in sheet.step(step_id).releases:
            if fixing.goes_to_tray:
                found.append(Pocket(len(found) + 1, step_id, fixing.id, fixing.count))
    return tuple(found)


def pocket_numbers(sheet: Sheet, teardown: tuple[str, ...]) -> dict[str, int]:
    """Return the tray pocket of each item that has one, by item key."""
    return {f"{p.step}/{p.fixing}": p.number for p in pockets_of(sheet, teardown)}


def rail_of(
    sheet: Sheet, state: BenchState, items: Mapping[str, Item], pockets: Mapping[str, int], href: str = ""
) -> Rail:
    """Return the descent of a pass; with ``href`` each level links to ``href`` followed by its step's id."""
    focus = bench.focus(sheet, state)
    hung: dict[str, list[RailItem]] = {}
    for key, item in items.items():
        count = state.items.get(key, ItemCount(baseline=item.baseline))
        hung.setdefault(item.step, []).append(
            RailItem(
                item.name,
                pockets.get(key),
                max(item.baseline, 1),
                count.out,
                count.refitted,
                count.scrapped,
                count.new,
                item.kind if item.kind in ("unit", "fit") else "fixing",
            )
        )
    levels = []
    for number, step_id in enumerate(state.teardown, start=1):
        step = sheet.step(step_id)
        levels.append(
            RailLevel(
                number,
                step.title,
                step.refit.title if step.refit else "",
                _state(step_id, state.down, focus, "down"),
                _state(step_id, state.up, focus, "up") if step.refit else "none",
                tuple(hung.get(step_id, ())),
                f"{href}{step_id}" if href else None,
            )
        )
    names = {unit.id: unit.name for unit in sheet.units}
    return Rail(state.pass_no, tuple(names[t] for t in state.targets if t in names), state.turned, tuple(levels))


def _state(step_id: str, done: tuple[str, ...], focus: tuple[str, str] | None, side: str) -> str:
    return "done" if step_id in done else "now" if focus == (side, step_id) else "todo"
