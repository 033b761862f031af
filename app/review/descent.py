"""The descent of each pass of a job, made again from its entries."""

from collections.abc import Iterable
from dataclasses import dataclass

from app.review.queries.record import Linked
from app.rules import bench
from app.rules.counting import BenchState, Item, ItemCount, apply, items_of
from app.rules.sheet import Sheet
from app.rules.verdict import Refused


@dataclass(frozen=True)
class RailItem:
    """One item that hangs at a level; counts as in the closing count."""

    label: str
    pocket: int | None
    total: int
    out: int
    back: int
    scrapped: int
    new: int
    kind: str


@dataclass(frozen=True)
class RailLevel:
    """One step: its teardown on the left, its refit on the right, its items between them."""

    step_no: int
    title: str
    up_title: str
    down: str
    up: str
    items: tuple[RailItem, ...]
    href: str | None = None


@dataclass(frozen=True)
class Rail:
    """A whole descent, as the macro draws it; ``pass_no`` is the pass of the job it belongs to."""

    pass_no: int
    targets: tuple[str, ...]
    turned: bool
    levels: tuple[RailLevel, ...]


def rails(entries: Iterable[Linked], sheet: Sheet) -> tuple[Rail, ...]:
    """Return the descent of each pass that has a plan, in order.

    An entry that does not add up, which only a record that was tampered with has, ends the making: what came
    before it is shown.
    """
    states: dict[int, BenchState] = {}
    state = BenchState()
    for entry in entries:
        try:
            state = apply(state, entry.event)
        except (Refused, KeyError, ValueError):
            break
        if state.teardown:
            states[state.pass_no] = state
    return tuple(_rail(sheet, states[n]) for n in sorted(states))


def _rail(sheet: Sheet, state: BenchState) -> Rail:
    steps = {step.id: step for step in sheet.steps}
    known = [s for s in state.teardown if s in steps]
    items = items_of(sheet, known, state.targets)
    focus = bench.focus(sheet, state)
    pockets = _pockets(sheet, known)
    levels = []
    for number, step_id in enumerate(known, start=1):
        step = steps[step_id]
        hung = tuple(
            _item(one, state.items.get(key, ItemCount(one.baseline)), pockets.get(key))
            for key, one in items.items()
            if one.step == step_id
        )
        levels.append(
            RailLevel(
                number,
                step.title,
                step.refit.title if step.refit else "",
                "done" if step_id in state.down else "now" if focus == ("down", step_id) else "todo",
                _up(state, step_id, step.refit is not None, focus),
                hung,
            )
        )
    names = tuple(unit.name for unit in sheet.units if unit.id in state.targets)
    return Rail(state.pass_no, names, state.turned, tuple(levels))


def _up(state: BenchState, step_id: str, has_refit: bool, focus: tuple[str, str] | None) -> str:
    if not has_refit:
        return "none"
    if step_id in state.up:
        return "done"
    return "now" if focus == ("up", step_id) else "todo"


def _item(item: Item, count: ItemCount, pocket: int | None) -> RailItem:
    return RailItem(
        item.name, pocket, count.baseline, count.out, count.refitted, count.scrapped, count.new, _sort(item.kind)
    )


def _sort(kind: str) -> str:
    return kind if kind in ("unit", "fit") else "fixing"


def _pockets(sheet: Sheet, teardown: Iterable[str]) -> dict[str, int]:
    found: dict[str, int] = {}
    for step_id in teardown:
        for fixing in sheet.step(step_id).releases:
            if fixing.goes_to_tray:
                found[f"{step_id}/{fixing.id}"] = len(found) + 1
    return found
