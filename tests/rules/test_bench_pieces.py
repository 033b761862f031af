"""To the piece: what may be reported of an item, what its refit fits, which lots go in, in every state it can be in."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules import bench
from app.rules.bench import LotInHand, PartsMissing
from app.rules.counting import BenchState, Event, ItemCount
from app.rules.fitting import Fitted, SetAside, check_not_aside, draw, with_alternates
from app.rules.items import Item, items_of, with_effect
from app.rules.planning import make_plan
from app.rules.scanned import lots_first
from app.rules.sheet import ReuseClass, WasteStream
from app.rules.verdict import Refused
from tests.rules.sheets import fixing, sheet, step, unit
from tests.rules.test_counting import counts as counts_of

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
SCREW = Item("back/screw", "back", "Screw", "screw", 6, ReuseClass.REUSABLE, "SCRW", WasteStream.METAL)
counts = counts_of(SCREW)


def may(report: Any, item: Item, count: ItemCount, pieces: int) -> bool:
    """Say whether a report is taken; one that is taken must make a possible count."""
    try:
        outcome = report(item, count, pieces, None)
    except Refused:
        return False
    with_effect({item.key: count}, outcome.effect)
    return True


@given(counts, st.integers(-1, 8))
def test_originals_may_be_reported_as_far_as_they_are_there(count: ItemCount, pieces: int) -> None:
    inside = 6 - count.absent - count.out
    outside = count.out - count.scrapped - count.lost - count.refitted
    # A piece is broken while it is in the device for the first time or waits outside, and not once all is closed.
    usable = inside + outside - count.new
    assert may(bench.damage, SCREW, count, pieces) == (1 <= pieces <= usable)
    assert may(bench.absent, SCREW, count, pieces) == (1 <= pieces <= inside)
    assert may(bench.lost, SCREW, count, pieces) == (1 <= pieces <= outside)


def test_pieces_broken_outside_are_not_counted_out_again_and_those_inside_are() -> None:
    # Two wait outside, two are still in: three broken ones are the two and one more.
    broken = bench.damage(SCREW, ItemCount(6, out=4, damaged=2), 3, None)
    assert broken.effect == {"back/screw": {"damaged": 3, "out": 1}}
    assert bench.damage(SCREW, ItemCount(6, out=4), 3, None).effect == {"back/screw": {"damaged": 3}}


def test_a_lost_piece_takes_the_part_that_was_chosen_before_the_sheets() -> None:
    waiting = ItemCount(6, out=6)
    assert bench.lost(SCREW, waiting, 2, None).needs == {"SCRW": 2}
    assert bench.lost(SCREW, waiting, 2, "OTHER").needs == {"OTHER": 2}
    assert bench.lost(replace(SCREW, part=None), waiting, 2, None).needs == {}
    assert bench.lost(replace(SCREW, part=None), waiting, 2, "OTHER").needs == {"OTHER": 2}


@pytest.mark.parametrize("pieces", [0, -1, 4])
def test_no_more_is_spoilt_than_is_in_hand_and_at_least_one(pieces: int) -> None:
    lots = [LotInHand(1, "L1", 2), LotInHand(2, "L2", 1)]
    with pytest.raises(Refused, match="3 new ones are with the job"):
        bench.spoiled(SCREW, ItemCount(6, out=6), pieces, None, lots)
    assert bench.spoiled(SCREW, ItemCount(6, out=6), 3, None, lots).needs == {"SCRW": 3}


@given(counts)
def test_a_refit_fills_every_place_and_puts_originals_back_first(count: ItemCount) -> None:
    back, new = bench.wanted(SCREW, count)
    assert back + new == 6 - count.refitted - count.new
    assert back == min(max(count.out - count.scrapped - count.lost - count.refitted, 0), back + new)
    assert bench.wanted(replace(SCREW, kind="fit"), count) == (0, back + new)
    assert bench.wanted(replace(SCREW, kind="unit", target=True), count) == (0, back + new)


# Steps -----------------------------------------------------------------------------------------------------------

DEVICE = sheet(
    [
        step("off", refit=False),
        step("lid", "off", releases=[fixing("screw", 4, part="SCRW")], refit={"press_s": 60}),
        step("frame", "lid", releases=[fixing("tape", reuse="single-use", part="TAPE")], refit={"cure_s": 600}),
        step("shim", "frame", refit=False),
        step("cell", "shim", frees="cell", refit={"fits": [{"part": "PAD", "name": "Pad", "count": 2}]}),
        step("plug", "lid", frees="plug"),
    ],
    [unit("cell"), unit("plug")],
)


def torn_down(targets: tuple[str, ...] = ("cell", "plug")) -> tuple[BenchState, dict[str, Item]]:
    """Return the state at the turn, everything out as planned, and the items."""
    plan = make_plan(DEVICE, targets)
    items = items_of(DEVICE, plan.teardown, plan.targets)
    done = {
        key: ItemCount(item.baseline, out=item.baseline, planned=item.baseline)
        if item.reuse is ReuseClass.SINGLE_USE and item.kind != "fit"
        else ItemCount(item.baseline, out=0 if item.kind == "fit" else item.baseline)
        for key, item in items.items()
    }
    state = BenchState(
        targets=plan.targets, teardown=plan.teardown, refit=plan.refit, down=plan.teardown, turned=True,
        items=done, at_bench=1,
    )  # fmt: skip
    return state, items


def hand(**free: int) -> dict[str, list[LotInHand]]:
    return {part: [LotInHand(n, f"L{n}", count)] for n, (part, count) in enumerate(free.items(), start=1)}


PLENTY = hand(SCRW=9, TAPE=9, CELL=9, PAD=9, PLUG=9)


def test_a_step_below_one_without_a_way_back_waits_for_what_lies_under_that() -> None:
    state, items = torn_down()
    # The shim has no refit; the frame above it still waits for the cell beneath it.
    assert set(bench.ready_up(DEVICE, state)) == {"cell", "plug"}
    with pytest.raises(Refused, match="Another step has to go back first"):
        bench.tick_up(DEVICE, items, state, "frame", PLENTY, AT)
    assert set(bench.ready_up(DEVICE, replace(state, up=("cell",)))) == {"frame", "plug"}
    assert set(bench.ready_up(DEVICE, replace(state, up=("cell", "plug", "frame")))) == {"lid"}


def test_a_step_comes_down_when_all_before_it_are_down() -> None:
    plan = make_plan(DEVICE, ["cell", "plug"])
    state = BenchState(teardown=plan.teardown, down=("off", "lid"), at_bench=1)
    assert set(bench.ready_down(DEVICE, state)) == {"frame", "plug"}
    assert bench.ready_down(DEVICE, replace(state, down=())) == ("off",)


def test_a_step_that_is_not_on_the_way_back_has_no_refit_tick() -> None:
    state, items = torn_down(("plug",))
    for name in ("off", "cell"):
        with pytest.raises(Refused, match="no refit in the job's plan"):
            bench.tick_up(DEVICE, items, state, name, PLENTY, AT)


def test_only_a_cure_holds_the_next_step_up() -> None:
    state, items = torn_down(("plug",))
    ends = (AT + timedelta(seconds=90)).isoformat()
    pressing = replace(state, timers={"lid": ends})
    assert bench.tick_up(DEVICE, items, pressing, "plug", PLENTY, AT).timer == ""
    curing = replace(state, timers={"frame": ends})
    with pytest.raises(Refused, match="curing for another 2 min"):
        bench.tick_up(DEVICE, items, curing, "plug", PLENTY, AT)
    assert bench.tick_up(DEVICE, items, curing, "plug", PLENTY, AT + timedelta(seconds=90)).fitted


def test_the_timer_of_a_refit_tick_is_that_of_its_sheet() -> None:
    state, items = torn_down()
    done = replace(state, up=("cell", "plug"))
    cure = bench.tick_up(DEVICE, items, done, "frame", PLENTY, AT)
    assert (cure.timer, cure.ready_at) == ("cure", AT + timedelta(seconds=600))
    press = bench.tick_up(DEVICE, items, replace(done, up=("cell", "plug", "frame")), "lid", PLENTY, AT)
    assert (press.timer, press.ready_at) == ("press", AT + timedelta(seconds=60))
    none = bench.tick_up(DEVICE, items, state, "cell", PLENTY, AT)
    assert (none.timer, none.ready_at, none.covers) == ("", None, False)


def test_a_unit_that_became_a_target_after_it_came_out_is_scrapped_at_its_refit_and_no_other() -> None:
    state, items = torn_down()
    waits = replace(state, items={**state.items, "cell/unit:cell": ItemCount(1, out=1)})
    late = bench.tick_up(DEVICE, items, waits, "cell", PLENTY, AT)
    assert [(s.item, s.count, s.reason) for s in late.scrapped] == [("cell/unit:cell", 1, "planned")]
    assert late.effect["cell/unit:cell"] == {"new": 1, "planned": 1}
    assert bench.tick_up(DEVICE, items, state, "cell", PLENTY, AT).scrapped == ()
    # Of another step, or only in the way: it stays as it is.
    assert bench.tick_up(DEVICE, items, waits, "plug", PLENTY, AT).scrapped == ()
    way, way_items = torn_down(("cell",))
    assert bench.tick_up(DEVICE, way_items, replace(way, up=("cell", "frame")), "lid", PLENTY, AT).scrapped == ()


def test_a_refit_changes_the_items_of_its_step_and_only_where_something_is_to_do() -> None:
    state, items = torn_down()
    ticked = bench.tick_up(DEVICE, items, state, "cell", PLENTY, AT)
    assert ticked.effect == {"cell/unit:cell": {"new": 1}, "cell/fit:0": {"new": 2}}
    full = replace(state, items={**state.items, "cell/fit:0": ItemCount(2, new=2)})
    assert bench.tick_up(DEVICE, items, full, "cell", PLENTY, AT).effect == {"cell/unit:cell": {"new": 1}}


def test_a_lot_set_aside_is_not_fitted_and_a_part_chosen_for_a_place_goes_before_the_sheets() -> None:
    state, items = torn_down()
    aside = {**PLENTY, "PAD": [LotInHand(4, "L4", 9, aside="Notice 14.")]}
    with pytest.raises(SetAside, match="Lot L4 of PAD was set aside"):
        bench.tick_up(DEVICE, items, state, "cell", aside, AT)
    broken = replace(
        state, up=("cell", "plug", "frame"), new_part={"lid/screw": "OTHER"},
        items={**state.items, "lid/screw": ItemCount(4, out=4, damaged=1)},
    )  # fmt: skip
    with pytest.raises(PartsMissing, match=r"1 × Screw screw \(OTHER\)"):
        bench.tick_up(DEVICE, items, broken, "lid", PLENTY, AT)
    fitted = bench.tick_up(DEVICE, items, broken, "lid", {**PLENTY, **hand(OTHER=1)}, AT).fitted
    assert [(f.part, f.count) for f in fitted] == [("OTHER", 1)]


def test_steps_are_numbered_from_one() -> None:
    assert bench.step_numbers(DEVICE, ("off", "lid")) == {"off": 1, "lid": 2}


def test_taking_back_needs_the_last_tick_and_a_turn_without_places() -> None:
    tick = Event("e1", "tick", 1, AT, "off", {"effect": {}})
    with pytest.raises(Refused, match="no tick to take back"):
        bench.undo_last(BenchState(), tick)


def test_a_piece_takes_the_part_of_the_inspection_that_looks_at_it_and_of_no_other() -> None:
    wipe = {"part": "WIPE", "name": "Wipe", "count": 1}
    look = {"id": "flat", "ask": "Flat?", "of": "lid",
            "on_reject": {"say": "Bent.", "add": [{"part": "LID", "name": "Lid", "count": 1}]}}  # fmt: skip
    loose = {"id": "dry", "ask": "Dry?", "on_reject": {"say": "Dry it.", "add": [wipe]}}
    plain = {"id": "whole", "ask": "Whole?", "of": "clip", "on_reject": {"say": "Take care."}}
    device = sheet(
        [
            step("open", releases=[fixing("lid"), fixing("clip"), fixing("rim")], inspect=[loose, plain, look],
                 frees="cell"),
            step("flap", releases=[fixing("pin")], refit=False),
        ],
        [unit("cell")],
    )  # fmt: skip
    parts = {key: item.part for key, item in items_of(device, ["open", "flap"], ["cell"]).items()}
    assert parts == {
        "open/lid": "LID", "open/clip": None, "open/rim": None, "open/unit:cell": "CELL", "flap/pin": None,
    }  # fmt: skip


# Lots ------------------------------------------------------------------------------------------------------------


@given(st.lists(st.integers(0, 5), max_size=5), st.lists(st.integers(1, 6), min_size=1, max_size=4))
def test_draws_of_one_step_never_take_a_piece_twice_and_keep_the_order_of_lots(
    free: list[int], wants: list[int]
) -> None:
    lots = [LotInHand(n, f"L{n}", count, tuple(f"S{n}-{k}" for k in range(count))) for n, count in enumerate(free)]
    taken: dict[tuple[str, int | str], int] = {}
    serials: list[str] = []
    for place, count in enumerate(wants):
        serials += [fit.serial for fit in draw(f"k{place}", "P", count, lots, taken)]
    everything = [serial for lot in lots for serial in lot.serials]
    assert serials == everything[: sum(wants)]


def test_pieces_without_a_serial_of_a_tracked_lot_are_one_line() -> None:
    lot = LotInHand(1, "L1", 4, ("S1",))
    assert draw("k", "P", 3, [lot], {}) == [Fitted("k", "P", 1, "L1", 1, "S1"), Fitted("k", "P", 1, "L1", 2)]
    assert draw("k", "P", 1, [lot], {}) == [Fitted("k", "P", 1, "L1", 1, "S1")]
    assert draw("k", "P", 1, [LotInHand(1, "L1", 0)], {}) == []


def test_an_alternate_may_stand_in_for_two_items_of_a_step_only_so_often() -> None:
    lots = with_alternates({"A": [LotInHand(2, "L2", 9)]}, {("W", "A"): 3, ("V", "A"): 1})
    taken: dict[tuple[str, int | str], int] = {}
    drawn = [sum(f.count for f in draw(k, p, 2, lots[p], taken)) for k, p in (("a", "W"), ("b", "W"), ("c", "V"))]
    assert drawn == [2, 1, 1]


def test_alternates_stand_in_order_once_each_and_not_for_nothing() -> None:
    in_hand = {"W": [LotInHand(1, "L1", 1)], "B": [LotInHand(3, "L3", 1)], "A": [LotInHand(2, "L2", 1)]}
    found = with_alternates(in_hand, {("W", "B"): 1, ("W", "A"): 1, ("A", "W"): 0})
    assert [(lot.code, lot.part) for lot in found["W"]] == [("L1", ""), ("L2", "A"), ("L3", "B")]
    assert [lot.code for lot in found["A"]] == ["L2"]
    # What stands in for W is no lot of A's own: it is not offered on from there.
    chain = with_alternates(in_hand, {("A", "B"): 1, ("W", "A"): 1})
    assert [(lot.code, lot.part) for lot in chain["W"]] == [("L1", ""), ("L2", "A")]


def test_the_lot_named_instead_is_usable_of_the_same_part_and_not_set_aside() -> None:
    bad = LotInHand(1, "L1", 1, aside="Notice 14")
    others = [LotInHand(2, "L2", 0), LotInHand(3, "L3", 2, aside="Notice 14"), LotInHand(4, "L4", 2, part="A")]
    fitted = [Fitted("k", "W", 1, "L1", 1)]
    with pytest.raises(SetAside, match="Bring it back to stores"):
        check_not_aside(fitted, [bad, *others])
    with pytest.raises(SetAside, match="Scan the label of lot L5"):
        check_not_aside(fitted, [bad, *others, LotInHand(5, "L5", 1)])
    check_not_aside([Fitted("k", "W", 9, "L9", 1)], [bad])


def test_without_a_scan_the_lots_stay_in_their_order() -> None:
    state, items = torn_down()
    assert lots_first(items, state, "cell", PLENTY, ()) == PLENTY
