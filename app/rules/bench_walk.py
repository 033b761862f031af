"""The walk of a job: what its bench will look like after so many more ticks, when everything is as the sheet says.

The steps are played by the rules of the bench itself, on invented entries: all inspections pass, every cure is waited
out. Nothing here reads a clock or a database.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from app.rules import bench
from app.rules.bench import Fitted, LotInHand, Outcome
from app.rules.counting import BenchState, Event, Item, apply
from app.rules.sheet import Sheet
from app.rules.verdict import Refused

InHand = Mapping[str, Sequence[LotInHand]]
BETWEEN = timedelta(seconds=1)


@dataclass(frozen=True, slots=True)
class Expected:
    """The bench at one point of the walk.

    ``kind``, ``side`` and ``step`` are the tick that leads on from here; ``kind`` is empty where the walk ends, and
    ``blocked`` then says in words what it waits for, or is empty at the closing count. ``wait_s`` is how long what
    the tick before began has to cure until then.
    """

    state: BenchState
    in_hand: InHand
    at: datetime
    kind: str
    side: str
    step: str
    wait_s: int = 0
    blocked: str = ""


def walk(
    sheet: Sheet,
    items: Mapping[str, Item],
    pockets: Mapping[str, int],
    state: BenchState,
    in_hand: InHand,
    at: datetime,
) -> Iterator[Expected]:
    """Yield the bench as it stands at ``at``, then after each expected tick, up to the closing count.

    Cures are waited out before a point is yielded. The last point has no tick: the refit is done, or something
    (new parts above all) cannot be foreseen.
    """
    who, n = state.at_bench, 0
    wait_s, at = cured(sheet, state, at)
    while True:
        kind, side, step = following(sheet, state)
        if not kind:
            yield Expected(state, in_hand, at, "", "", "", wait_s)
            return
        try:
            outcome = _tick(sheet, items, pockets, state, kind, side, step, in_hand, at)
        except Refused as refusal:
            yield Expected(state, in_hand, at, "", side, step, wait_s, refusal.reason)
            return
        yield Expected(state, in_hand, at, kind, side, step, wait_s)
        n += 1
        event = Event(f"walk-{n}", "turned" if kind == "turn" else "tick", who, at, step or None, _data(side, outcome))
        state = apply(state, event)
        in_hand = used_up(in_hand, outcome.fitted)
        wait_s, at = cured(sheet, state, at)
        at += BETWEEN


def following(sheet: Sheet, state: BenchState) -> tuple[str, str, str]:
    """Return (kind, side, step) of the tick that comes next; all empty when the refit is done."""
    if state.torn_down and not state.turned:
        return "turn", "", ""
    focus = bench.focus(sheet, state)
    return ("tick", *focus) if focus else ("", "", "")


def _tick(
    sheet: Sheet,
    items: Mapping[str, Item],
    pockets: Mapping[str, int],
    state: BenchState,
    kind: str,
    side: str,
    step: str,
    in_hand: InHand,
    at: datetime,
) -> Outcome:
    if kind == "turn":
        bench.turn(state)
        return Outcome()
    if side == "down":
        return bench.tick_down(sheet, items, state, step)
    cover = bench.count_before_cover(sheet, items, state, step, pockets)
    return bench.tick_up(sheet, items, state, step, in_hand, at, cover)


def _data(side: str, outcome: Outcome) -> dict[str, Any]:
    data: dict[str, Any] = {"side": side, "effect": outcome.effect}
    if outcome.ready_at is not None:
        data |= {"ready_at": outcome.ready_at.isoformat(), "timer": outcome.timer}
    if outcome.covers:
        data["covers"] = True
    return data


def cured(sheet: Sheet, state: BenchState, at: datetime) -> tuple[int, datetime]:
    """Return how many seconds what cures now still takes, and the time when nothing cures or is pressed any more.

    Only a cure keeps the next tick waiting; a press ends with the others, so that no clock of a guess is shown.
    """
    ends = {step: datetime.fromisoformat(ready) for step, ready in state.timers.items()}
    cures = [ends[step] for step in ends if (refit := sheet.step(step).refit) and refit.cure_s]
    longest = max((end - at for end in cures if end > at), default=timedelta(0))
    wait_s = -(-longest // timedelta(seconds=1))  # Rounded up.
    return wait_s, max([at, *(end + BETWEEN for end in ends.values() if end >= at)])


def used_up(in_hand: InHand, fitted: Sequence[Fitted]) -> InHand:
    """Return the lots in hand without what was fitted from them."""
    if not fitted:
        return in_hand
    gone: dict[int, int] = {}
    stood_in: dict[tuple[str, str], int] = {}
    serials = {fit.serial for fit in fitted if fit.serial}
    for fit in fitted:
        gone[fit.lot_id] = gone.get(fit.lot_id, 0) + fit.count
        pair = (fit.instead_of, fit.part)
        stood_in[pair] = stood_in.get(pair, 0) + fit.count
    return {
        part: tuple(
            replace(
                lot,
                free=lot.free - gone.get(lot.lot_id, 0),
                serials=tuple(s for s in lot.serials if s not in serials),
                most=max(lot.most - stood_in.get((part, lot.part), 0), 0),
            )
            for lot in lots
        )
        for part, lots in in_hand.items()
    }


def taken_back(state: BenchState, last: Event) -> BenchState | None:
    """Return the state with its last tick taken back; None where that cannot be foreseen."""
    if not state.ticks or state.ticks[-1].event_id != last.event_id or last.kind not in ("tick", "turned"):
        return None
    try:
        effect = bench.undo_last(state, last)
        return apply(
            state, Event("walk-back", "undo", last.person, last.at, last.step, {"effect": effect}, last.event_id)
        )
    except Refused:
        return None


def handed_back(in_hand: InHand, last: Event) -> InHand:
    """Return the lots in hand with what a tick had fitted from them free again."""
    found = {part: list(lots) for part, lots in in_hand.items()}
    for _item, part, lot_id, code, count, serial in last.data.get("fitted", ()):
        more = (serial,) if serial else ()
        if not any(lot.lot_id == lot_id for lot in found.get(part, ())):
            found.setdefault(part, []).append(LotInHand(lot_id, code, 0))
        for lots in found.values():
            lots[:] = [
                replace(lot, free=lot.free + count, serials=(*more, *lot.serials)) if lot.lot_id == lot_id else lot
                for lot in lots
            ]
    for wanted, part, count in last.data.get("in_place", ()):
        lots = found.get(wanted, [])
        lots[:] = [replace(lot, most=lot.most + count) if lot.part == part else lot for lot in lots]
    return found
