"""Decisions at the bench: what a tick, an undo or a report of trouble does to the count.

Each function takes the sheet, the present state and what the technician says, and returns an Outcome, or
raises Refused with a reason in the technician's words. Nothing here reads a clock or a database.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from app.rules.counting import BenchState, ClosingCount, Event, Item, ItemCount, closing_count, turned_sign
from app.rules.fitting import Fitted, LotInHand, Taken, check_not_aside, draw
from app.rules.sheet import Inspection, ReuseClass, Sheet
from app.rules.verdict import Refused

InHand = Mapping[str, Sequence[LotInHand]]
"""Free lots of the kit by part number, in the order in which they are fitted."""

__all__ = [
    "Fitted", "LotInHand", "Missing", "Outcome", "PartsMissing", "Scrapped", "absent", "at_work", "count_before_cover",
    "damage", "draw", "focus", "lost", "ready_down", "ready_up", "reject", "spoiled", "step_numbers", "tick_down",
    "tick_up", "turn", "undo_last", "waived", "wanted",
]  # fmt: skip

TAKE_BACK = "Take the ticks back down to that step first, so that the sheet knows it is open again."


@dataclass(frozen=True, slots=True)
class Scrapped:
    """Pieces scrapped; ``reason`` is planned, damaged or spoiled."""

    item: str
    count: int
    reason: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What an entry changes: counts, scrap, new parts, what the kit needs in addition, when a timer is ready."""

    effect: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    scrapped: tuple[Scrapped, ...] = ()
    fitted: tuple[Fitted, ...] = ()
    needs: Mapping[str, int] = field(default_factory=dict)
    ready_at: datetime | None = None
    timer: str = ""
    covers: bool = False


@dataclass(frozen=True, slots=True)
class Missing:
    """A new part that a refit step needs and the job has not been handed."""

    item: str
    name: str
    part: str | None
    count: int


class PartsMissing(Refused):
    """A refit step waits for new parts; ``missing`` lists them."""

    def __init__(self, reason: str, missing: tuple[Missing, ...]) -> None:
        super().__init__(reason)
        self.missing = missing


def ready_down(sheet: Sheet, state: BenchState) -> tuple[str, ...]:
    """Return the teardown steps whose predecessors are done, in plan order."""
    done = set(state.down)
    return tuple(s for s in state.teardown if s not in done and set(sheet.step(s).after) <= done)


def ready_up(sheet: Sheet, state: BenchState) -> tuple[str, ...]:
    """Return the refit steps that nothing still open stands above, in plan order.

    A step can be refitted when every planned step that came after it, directly or through steps without
    refit work, is back.
    """
    if not state.turned:
        return ()
    open_steps = {s for s in state.refit if s not in state.up}
    blocked: set[str] = set()
    stack = list(open_steps)
    # Everything that an open step stands on (its ancestors) has to wait for it.
    seen: set[str] = set()
    while stack:
        for above in sheet.step(stack.pop()).after:
            if above not in seen:
                seen.add(above)
                blocked.add(above)
                stack.append(above)
    return tuple(s for s in state.refit if s in open_steps and s not in blocked)


def focus(sheet: Sheet, state: BenchState) -> tuple[str, str] | None:
    """Return (side, step) of the step in focus: the first ready one; None when a pass side is done."""
    if not state.turned:
        ready = ready_down(sheet, state)
        return ("down", ready[0]) if ready else None
    ready = ready_up(sheet, state)
    return ("up", ready[0]) if ready else None


def tick_down(sheet: Sheet, items: Mapping[str, Item], state: BenchState, step_id: str) -> Outcome:
    """Tick a teardown step as described: everything counted out, single-use items scrapped as planned."""
    at_work(state)
    if state.turned:
        raise Refused("The refit has begun. Take the turn back first if something still has to come out.")
    if step_id in state.down:
        raise Refused("This step is already ticked.")
    if step_id not in state.teardown:
        raise Refused("This step is not part of the job's plan.")
    missing = [s for s in sheet.step(step_id).after if s not in state.down]
    if missing:
        raise Refused(f"First: {sheet.step(missing[0]).title}. The order protects what lies underneath.")
    effect: dict[str, dict[str, int]] = {}
    scrapped = []
    for key, item in items.items():
        if item.step != step_id or item.kind == "fit":
            continue
        count = state.items[key]
        out = count.baseline - count.absent - count.out
        change = {"out": out} if out else {}
        if item.reuse is ReuseClass.SINGLE_USE:
            planned = count.out + out - count.scrapped - count.lost
            if planned:
                change["planned"] = planned
                scrapped.append(Scrapped(key, planned, "planned"))
        if change:
            effect[key] = change
    return Outcome(effect=effect, scrapped=tuple(scrapped))


def turn(state: BenchState) -> None:
    """Check that the teardown is done and the way back may begin; raises Refused."""
    at_work(state)
    if state.turned:
        raise Refused("The refit has already begun.")
    if not state.torn_down:
        left = len(state.teardown) - len(state.down)
        raise Refused(f"{left} teardown steps are still to do before the refit can begin.")


def tick_up(
    sheet: Sheet,
    items: Mapping[str, Item],
    state: BenchState,
    step_id: str,
    in_hand: Mapping[str, Sequence[LotInHand]],
    at: datetime,
    cover_count: ClosingCount | None = None,
) -> Outcome:
    """Tick a refit step: originals go back, the rest is fitted new from the lots in hand.

    ``in_hand`` maps part numbers to lots in the order they are to be used. ``cover_count`` is the count before
    a cavity closes; it must balance unless it was overridden. Raises PartsMissing when new parts are not there.
    """
    at_work(state)
    step = sheet.step(step_id)
    refit = step.refit
    if refit is None or step_id not in state.refit:
        raise Refused("This step has no refit in the job's plan.")
    if step_id in state.up:
        raise Refused("This refit step is already ticked.")
    if step_id not in ready_up(sheet, state):
        raise Refused("Another step has to go back first: what lies underneath comes before what covers it.")
    _cured(sheet, state, at)
    if refit.closes and cover_count is not None and not set(cover_count.problems) <= set(waived(state, step_id)):
        raise Refused("The count before closing does not agree: " + " ".join(cover_count.problems))
    effect, fitted = _fit(items, state, step_id, in_hand)
    # A unit that a later plan made a target came out before that: it is scrapped as its new one goes in.
    old = tuple(
        Scrapped(key, state.items[key].waiting, "planned")
        for key, item in items.items()
        if item.step == step_id and item.target and state.items[key].waiting > 0
    )
    for scrap in old:
        effect.setdefault(scrap.item, {})["planned"] = scrap.count
    timer = "cure" if refit.cure_s else "press" if refit.press_s else ""
    ready_at = at + timedelta(seconds=refit.cure_s or refit.press_s) if timer else None
    return Outcome(
        effect=effect, scrapped=old, fitted=tuple(fitted), ready_at=ready_at, timer=timer, covers=refit.closes
    )


def waived(state: BenchState, step_id: str) -> tuple[str, ...]:
    """Return the problems that a supervisor overrode before this step closes its cavity: these, and no others."""
    return tuple(state.waived.get(step_id, ()))


def _fit(
    items: Mapping[str, Item], state: BenchState, step_id: str, in_hand: Mapping[str, Sequence[LotInHand]]
) -> tuple[dict[str, dict[str, int]], list[Fitted]]:
    effect: dict[str, dict[str, int]] = {}
    fitted: list[Fitted] = []
    missing: list[Missing] = []
    taken: Taken = {}
    for key, item in items.items():
        if item.step != step_id:
            continue
        back, new = wanted(item, state.items[key])
        change = {"refitted": back} if back else {}
        if new:
            part = state.new_part.get(key) or item.part
            lots = in_hand.get(part, ()) if part else ()
            found = draw(key, part or "", new, lots, taken)
            check_not_aside(found, lots)
            short = new - sum(f.count for f in found)
            if short:
                missing.append(Missing(key, item.name, part, short))
            fitted += found
            change["new"] = new
        if change:
            effect[key] = change
    if missing:
        words = "; ".join(f"{m.count} × {m.name}" + (f" ({m.part})" if m.part else "") for m in missing)
        unknown = [m.name for m in missing if m.part is None]
        do = "Ask stores, or pause the job."
        if unknown:
            do = f"{unknown[0]} has no part number: take its report back and report it again with the new part."
        raise PartsMissing(f"Not handed out yet: {words}. {do}", tuple(missing))
    return effect, fitted


def wanted(item: Item, count: ItemCount) -> tuple[int, int]:
    """Return (originals to put back, new ones to fit) for an item at its refit."""
    places = count.baseline - count.refitted - count.new
    back = 0 if item.kind == "fit" or item.target else min(max(count.waiting, 0), places)
    return back, places - back


def at_work(state: BenchState) -> None:
    """Refuse work while a recount is due, while the job is paused, and after the closing count is signed."""
    if state.recount_due:
        raise Refused("Another technician took over. Recount the tray pockets first.")
    if state.paused is not None:
        raise Refused("The job is paused. Resume it first so that the bench time is right.")
    if state.counted:
        raise Refused(f"The closing count is signed. {TAKE_BACK}")


def _cured(sheet: Sheet, state: BenchState, at: datetime) -> None:
    for step_id, ready in state.timers.items():
        refit = sheet.step(step_id).refit
        if refit and refit.cure_s and at < datetime.fromisoformat(ready):
            left = -((at - datetime.fromisoformat(ready)) // timedelta(minutes=1))  # Rounded up.
            raise Refused(f"{refit.title}: curing for another {left} min. Pause the job or wait.")


def undo_last(state: BenchState, last: Event | None) -> Mapping[str, Mapping[str, int]]:
    """Return the effect that takes the last tick back; ``last`` is that tick's event."""
    if last is None or not state.ticks or state.ticks[-1].event_id != last.event_id:
        raise Refused("There is no tick to take back.")
    if state.ticks[-1].side == "turn" and any(taps.back for taps in state.places.values()):
        raise Refused("Some places are counted back already. Take those back first, on the drawing or in the list.")
    return turned_sign(last.data.get("effect", {}))


def damage(item: Item, count: ItemCount, pieces: int, part: str | None) -> Outcome:
    """Report originals broken: they count as out and scrapped, and a new one is needed for each.

    ``part`` is the catalogue number of the new one where the sheet names none.
    """
    if item.kind == "fit":
        raise Refused("This item is new from stock; report it as spoilt in fitting.", "item")
    usable = count.baseline - count.absent - count.scrapped - count.lost - count.refitted - count.new
    if pieces > usable and count.refitted + count.new:
        raise Refused(f"{item.name} is back in the device. {TAKE_BACK}", "item")
    if pieces < 1 or pieces > usable:
        raise Refused(f"{item.name}: {usable} can be reported damaged, not {pieces}.", "count")
    outward = max(0, pieces - max(count.waiting, 0))
    change = {"damaged": pieces}
    if outward:
        change["out"] = outward
    return Outcome(
        effect={item.key: change},
        scrapped=(Scrapped(item.key, pieces, "damaged"),),
        needs=_needs(item, pieces, part),
    )


def absent(item: Item, count: ItemCount, pieces: int, part: str | None) -> Outcome:
    """Report pieces that were missing when the device was opened; a new one is needed for each."""
    free = count.baseline - count.out - count.absent
    if item.kind == "fit" or pieces < 1 or pieces > free:
        raise Refused(
            f"{item.name}: {free} are not counted out yet, so {pieces} cannot be missing on arrival.", "count"
        )
    return Outcome(effect={item.key: {"absent": pieces}}, needs=_needs(item, pieces, part))


def lost(item: Item, count: ItemCount, pieces: int, part: str | None = None) -> Outcome:
    """Report pieces that came out and cannot be found. Nothing closes until they are found or overridden.

    A new one is needed for each, as the refit leaves no place empty; none where no part number is known yet.
    """
    if pieces < 1 or pieces > count.waiting:
        raise Refused(f"{item.name}: {max(count.waiting, 0)} wait outside, so {pieces} cannot be lost.", "count")
    number = part or item.part
    return Outcome(effect={item.key: {"lost": pieces}}, needs={number: pieces} if number else {})


def spoiled(item: Item, count: ItemCount, pieces: int, part: str | None, lots: Sequence[LotInHand]) -> Outcome:
    """Report new parts spoilt in fitting: drawn from the lots in hand; as many are needed again."""
    number = part or item.part
    if number is None:
        raise Refused(f"{item.name} has no part number; nothing new was handed out for it.", "item")
    drawn = draw(item.key, number, pieces, lots, {})
    if pieces < 1 or sum(f.count for f in drawn) < pieces:
        if count.new:
            raise Refused(f"{item.name} is recorded as fitted. {TAKE_BACK}", "item")
        have = sum(lot.free for lot in lots)
        raise Refused(f"{item.name}: {have} new ones are with the job, so {pieces} cannot be spoilt.", "count")
    return Outcome(
        effect={item.key: {"spoiled": pieces}},
        scrapped=(Scrapped(item.key, pieces, "spoiled"),),
        fitted=tuple(drawn),
        needs={number: pieces},
    )


def reject(
    items: Mapping[str, Item], state: BenchState, step_id: str, inspection: Inspection, in_hand: InHand | None = None
) -> Outcome:
    """Record a failed inspection: the piece it looks at is scrapped and its parts join the kit.

    On the way back that piece may be a new one, just laid: it is spoilt, drawn from the lots ``in_hand``.
    """
    name = f"{step_id}/{inspection.id}"
    if name in state.rejects:
        raise Refused("This inspection is already recorded as failed.")
    needs = {p.part: p.count for p in inspection.on_reject.add}
    if inspection.of is None:
        return Outcome(needs=needs)
    item = items[f"{step_id}/{inspection.of}"]
    count = state.items[item.key]
    pieces = count.baseline - count.absent - count.scrapped - count.lost - count.refitted - count.new
    if pieces < 1:
        return _spoilt_as_laid(item, state, needs, in_hand or {})
    broken = damage(item, count, pieces, None)
    return Outcome(effect=broken.effect, scrapped=broken.scrapped, needs=needs or broken.needs)


def _spoilt_as_laid(item: Item, state: BenchState, needs: Mapping[str, int], in_hand: InHand) -> Outcome:
    count, number = state.items[item.key], state.new_part.get(item.key) or item.part or ""
    new = wanted(item, count)[1] if state.turned else 0
    pieces = min(needs.get(number, 0), new)
    lots = in_hand.get(number, ())
    # Nothing new can have been laid before it was handed out.
    if pieces < 1 or sum(lot.free for lot in lots) < pieces:
        return Outcome(needs=needs)
    return replace(spoiled(item, count, pieces, number, lots), needs=needs)


def _needs(item: Item, pieces: int, part: str | None) -> dict[str, int]:
    # A single-use item is replaced anyway: its new one is in the kit already.
    if item.reuse is ReuseClass.SINGLE_USE:
        return {}
    number = part or item.part
    if number is None:
        raise Refused(
            f"{item.name} has no part number in the procedure. Choose the new part from the catalogue.",
            "part",
        )
    return {number: pieces}


def count_before_cover(
    sheet: Sheet, items: Mapping[str, Item], state: BenchState, step_id: str, pockets: Mapping[str, int]
) -> ClosingCount | None:
    """Return the count that must agree before this refit step closes a cavity; None for other steps."""
    refit = sheet.step(step_id).refit
    if refit is None or not refit.closes:
        return None
    return closing_count(items, state, step_numbers(sheet, state.teardown), pockets, before_step=step_id)


def step_numbers(sheet: Sheet, teardown: Collection[str]) -> dict[str, int]:
    """Number the planned steps from 1 in plan order, the numbers that pages and messages use."""
    return {step_id: n for n, step_id in enumerate(teardown, start=1)}
