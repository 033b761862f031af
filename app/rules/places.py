"""Counting place by place: one screw, clip or connector out of its place, or back into it.

A place is a slice of its step's tick: what refuses the tick refuses the place, and the tick counts the places that
are left. Nothing here reads a clock or a database.
"""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import datetime

from app.rules import bench
from app.rules.bench import LotInHand, Missing, Outcome, PartsMissing, Scrapped
from app.rules.counting import BenchState, ClosingCount
from app.rules.fitting import SetAside, check_not_aside
from app.rules.items import Item
from app.rules.sheet import ReuseClass, Sheet
from app.rules.taps import NONE
from app.rules.verdict import Refused

SIDES = ("down", "up")


def is_on(state: BenchState, key: str, place: int, side: str) -> bool:
    """Whether a place is counted singly on a side."""
    return place in state.places.get(key, NONE).of(side)


def words(item: Item, place: int) -> str:
    """Return a place in words: ``Back screw 3 of 6``, or the name alone where there is but one."""
    return f"{item.name} {place} of {item.places}" if item.places > 1 else item.name


def check(items: Mapping[str, Item], key: str, place: int, side: str) -> Item:
    """Return the item that a place belongs to; Refused when the procedure marks no such place."""
    if side not in SIDES:
        raise Refused("A place is counted out in the teardown or back in the refit.")
    item = items.get(key)
    if item is None or not item.places:
        raise Refused("The drawing marks no places for this item. Tick the whole step.", "item")
    if not 1 <= place <= item.places:
        raise Refused(f"{item.name} has the places 1 to {item.places}, so there is no place {place}.", "place")
    return item


def count_out(sheet: Sheet, items: Mapping[str, Item], state: BenchState, key: str, place: int) -> Outcome:
    """Count one place out; a single-use piece is scrapped as planned with it."""
    item = check(items, key, place, "down")
    _not_ticked(state, item, "down")
    whole = bench.tick_down(sheet, items, state, item.step)
    if is_on(state, key, place, "down"):
        raise Refused(f"{words(item, place)} is counted out already.")
    count = state.items[key]
    if whole.effect.get(key, {}).get("out", 0) < 1:
        raise Refused(
            f"{item.name}: all {item.places} are counted, {count.out} out"
            + (f" and {count.absent} missing on arrival" if count.absent else "")
            + ". Take back what was reported wrongly under Trouble."
        )
    if item.reuse is ReuseClass.SINGLE_USE:
        return Outcome(effect={key: {"out": 1, "planned": 1}}, scrapped=(Scrapped(key, 1, "planned"),))
    return Outcome(effect={key: {"out": 1}})


def count_back(
    sheet: Sheet,
    items: Mapping[str, Item],
    state: BenchState,
    key: str,
    place: int,
    in_hand: Mapping[str, Sequence[LotInHand]],
    at: datetime,
    cover_count: ClosingCount | None = None,
) -> Outcome:
    """Count one place back: an original while any waits outside, else a new one from the lots in hand.

    ``in_hand``, ``at`` and ``cover_count`` are as for ``bench.tick_up``. Raises PartsMissing without a new one.
    """
    item = check(items, key, place, "up")
    _not_ticked(state, item, "up")
    with suppress(PartsMissing, SetAside):  # Checked last; what another item of the step waits for stops no screw.
        bench.tick_up(sheet, items, state, item.step, in_hand, at, cover_count)
    if is_on(state, key, place, "up"):
        raise Refused(f"{words(item, place)} is back already.")
    back, new = bench.wanted(item, state.items[key])
    if back:
        return Outcome(effect={key: {"refitted": 1}})
    if not new:
        raise Refused(f"{item.name}: all {item.places} places are filled.")
    part = state.new_part.get(key) or item.part
    lots = in_hand.get(part, ()) if part else ()
    fitted = tuple(bench.draw(key, part or "", 1, lots, {}))
    check_not_aside(fitted, lots)
    if not fitted:
        lacks = Missing(key, item.name, part, new)
        raise PartsMissing(f"Not handed out yet: a new one for {words(item, place)}. Ask stores.", (lacks,))
    return Outcome(effect={key: {"new": 1}}, fitted=fitted)


def entry_to_take_back(items: Mapping[str, Item], state: BenchState, key: str, place: int, side: str) -> str:
    """Return the id of the entry that counted a place, when it may be taken back; raises Refused."""
    item = check(items, key, place, side)
    bench.at_work(state)
    _not_ticked(state, item, side)
    taps = state.places.get(key, NONE)
    if not is_on(state, key, place, side):
        raise Refused(f"{words(item, place)} is not counted {'back' if side == 'up' else 'out'} by itself.")
    single = item.reuse is ReuseClass.SINGLE_USE
    if side == "down" and (place in taps.struck or (state.items[key].waiting < 1 and not single)):
        raise Refused(f"{words(item, place)} is reported damaged or lost. Take that report back first.")
    return taps.of(side)[place]


def _not_ticked(state: BenchState, item: Item, side: str) -> None:
    if item.step in (state.up if side == "up" else state.down):
        raise Refused("This step is ticked, so all its places are counted. Take the tick back first.")
