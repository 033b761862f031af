"""The count: what the fold makes of entries, what balances, and what is said when it does not."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules import bench
from app.rules.counting import (
    BenchState,
    ClosingCount,
    Event,
    Item,
    ItemCount,
    Tick,
    apply,
    closing_count,
    fold,
    items_of,
    next_pass,
    turned_sign,
    with_effect,
)
from app.rules.planning import make_plan
from app.rules.sheet import ReuseClass
from app.rules.verdict import Refused
from tests.jobs.sheets import recorder

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
SHEET = recorder()
PLAN = make_plan(SHEET, ["cell", "speaker"])
ITEMS = items_of(SHEET, PLAN.teardown, PLAN.targets)
NUMBERS = bench.step_numbers(SHEET, PLAN.teardown)
POCKETS = {f"{p.step}/{p.fixing}": p.number for p in PLAN.pockets}


def event(kind: str, n: int = 1, step: str | None = None, undoes: str | None = None, **data: Any) -> Event:
    return Event(f"e{n}", kind, 1, AT, step, data, undoes)


def planned() -> BenchState:
    return apply(BenchState(at_bench=1), event("planned", **_plan_data()))


def finished(**counts: ItemCount) -> BenchState:
    """All steps ticked, every count as it should be, but for those given by item key (``__`` for the slash)."""
    items = {}
    for key, item in ITEMS.items():
        n = item.baseline
        if item.kind == "fit":
            items[key] = ItemCount(n, new=n)
        elif item.reuse is ReuseClass.SINGLE_USE:
            items[key] = ItemCount(n, out=n, planned=n, new=n)
        else:
            items[key] = ItemCount(n, out=n, refitted=n)
    items |= {key.replace("__", "/"): count for key, count in counts.items()}
    return replace(planned(), down=PLAN.teardown, up=PLAN.refit, turned=True, items=items)


def count(state: BenchState, before: str | None = None) -> ClosingCount:
    return closing_count(ITEMS, state, NUMBERS, POCKETS, before)


# Items -----------------------------------------------------------------------------------------------------------


def test_every_fixing_unit_and_refit_part_of_the_planned_steps_is_an_item() -> None:
    assert list(ITEMS) == [
        "back/screws", "back/seal", "shield/lid", "shield/locked", "plug/plug", "cell/strips", "cell/unit:cell",
        "cell/fit:0", "flex/ribbon", "gasket/clips", "speaker/screws", "speaker/unit:speaker", "speaker/fit:0",
    ]  # fmt: skip
    assert ITEMS["cell/unit:cell"].target
    assert ITEMS["cell/unit:cell"].reuse is ReuseClass.SINGLE_USE


def test_a_unit_that_is_only_in_the_way_goes_back() -> None:
    items = items_of(SHEET, ["warm", "back", "plug", "cell"], ["speaker"])
    assert items["cell/unit:cell"].reuse is ReuseClass.REUSABLE
    assert not items["cell/unit:cell"].target


def test_a_piece_without_a_part_number_is_replaced_by_what_its_inspection_adds() -> None:
    assert ITEMS["shield/lid"].part == "F-220"
    assert ITEMS["gasket/clips"].part is None


def test_an_inspection_at_the_refit_names_the_new_part_too() -> None:
    data = SHEET.model_dump(mode="json")
    step = next(s for s in data["steps"] if s["id"] == "gasket")
    step["refit"]["inspect"] = [
        {"id": "whole", "ask": "Whole?", "of": "clips",
         "on_reject": {"say": "New ones.", "add": [{"part": "F-400", "name": "Clip", "count": 2}]}}
    ]  # fmt: skip
    items = items_of(type(SHEET).model_validate(data), ["gasket"], [])
    assert items["gasket/clips"].part == "F-400"


# Effects ---------------------------------------------------------------------------------------------------------

FIELDS = ("absent", "out", "planned", "damaged", "refitted", "new", "spoiled", "lost")
changes = st.dictionaries(st.sampled_from(FIELDS), st.integers(-3, 6), max_size=4)
effects = st.dictionaries(st.sampled_from(sorted(ITEMS)), changes, max_size=3)


@given(effects)
def test_no_effect_makes_a_count_that_cannot_be(effect: dict[str, dict[str, int]]) -> None:
    before = planned().items
    try:
        after = with_effect(before, effect)
    except Refused:
        return
    for found in after.values():
        assert min(getattr(found, name) for name in FIELDS) >= 0
        assert found.out + found.absent <= found.baseline
        assert found.scrapped + found.refitted + found.lost <= found.out
        assert found.refitted + found.new <= found.baseline
        assert found.waiting >= 0
        assert found.missing >= 0


@given(effects)
def test_an_effect_with_its_sign_turned_takes_it_back_exactly(effect: dict[str, dict[str, int]]) -> None:
    before = planned().items
    try:
        after = with_effect(before, effect)
    except Refused:
        return
    assert with_effect(after, turned_sign(effect)) == before
    assert turned_sign(turned_sign(effect)) == effect


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"out": 5}, "more would be out than belongs in the device"),
        ({"out": 3, "absent": 2}, "more would be out than belongs in the device"),
        ({"out": 1, "damaged": 2}, "more would be accounted for than came out"),
        ({"out": 1, "refitted": 1, "lost": 1}, "more would be accounted for than came out"),
        ({"new": 5}, "more would be fitted than there are places"),
        ({"out": -1}, "a count would fall below zero"),
    ],
)
def test_an_impossible_count_is_refused_in_words(change: dict[str, int], words: str) -> None:
    with pytest.raises(Refused, match=words):
        with_effect(planned().items, {"back/screws": change})


def test_an_item_of_another_plan_is_refused() -> None:
    with pytest.raises(Refused, match="lens/screws is not part of this job's plan"):
        with_effect(planned().items, {"lens/screws": {"out": 1}})


# The fold --------------------------------------------------------------------------------------------------------

names = st.sampled_from(PLAN.teardown)
kinds = st.one_of(
    st.builds(lambda s, n: ("tick", s, {"side": n}), names, st.sampled_from(("down", "up"))),
    st.builds(lambda k: (k, None, {}), st.sampled_from(("turned", "opened", "count", "recount", "booked", "strange"))),
    st.builds(lambda r: ("paused", None, {"reason": r}), st.sampled_from(("lunch", ""))),
    st.builds(lambda d: ("takeover", None, {"from": 2, "recount_due": d}), st.booleans()),
    st.builds(lambda n: ("leftover", None, {"leftover": n}), st.integers(1, 3)),
    st.builds(lambda t, p: ("test", None, {"test": t, "passed": p}), st.sampled_from(("power", "leak")), st.booleans()),
    st.builds(lambda s: ("override", None, {"scope": s}), st.sampled_from(("cover", "final"))),
    st.builds(lambda p: ("damage", None, {"item": "back/screws", "part": p}), st.sampled_from(("F-210", "F-400"))),
)


@given(st.lists(kinds, max_size=25))
def test_the_fold_is_the_state_after_each_entry_and_survives_json(said: list[tuple[str, str | None, Any]]) -> None:
    first = event("planned", 0, **_plan_data())
    events = [first]
    state = apply(BenchState(), first)
    for n, (kind, step, data) in enumerate(said, start=1):
        events.append(event(kind, n, step, **data))
        state = apply(state, events[-1])
        assert fold(events) == state
        assert BenchState.from_json(state.to_json()) == state
        assert BenchState.from_json(state.to_json()).to_json() == state.to_json()


def _plan_data() -> dict[str, Any]:
    return {
        "pass_no": 1,
        "targets": list(PLAN.targets),
        "teardown": list(PLAN.teardown),
        "refit": list(PLAN.refit),
        "baseline": {key: item.baseline for key, item in ITEMS.items()},
    }


def test_nothing_stored_is_the_state_before_anything_happened() -> None:
    assert BenchState.from_json({}) == BenchState()
    assert BenchState.from_json(BenchState().to_json()) == BenchState()


def test_taking_a_tick_back_restores_the_state_before_it() -> None:
    before = planned()
    effect = {"back/screws": {"out": 4}, "back/seal": {"out": 1, "planned": 1}}
    ticked = apply(before, event("tick", 2, "back", side="down", effect=effect))
    assert ticked.down == ("back",)
    assert ticked.ticks == (Tick("e2", "down", "back"),)
    back = apply(ticked, event("undo", 3, "back", undoes="e2", effect=turned_sign(effect), side="down"))
    assert back == before


def test_taking_a_refit_tick_back_stops_its_timer_and_uncovers_it() -> None:
    before = finished()
    before = replace(before, up=before.up[:-1])
    ready = "2026-03-02T09:00:00+00:00"
    ticked = apply(before, event("tick", 2, "back", side="up", ready_at=ready, covers=True))
    assert ticked.timers == {"back": ready}
    assert ticked.covered == ("back",)
    assert apply(ticked, event("undo", 3, "back", undoes="e2", side="up")) == before


def test_taking_the_turn_back_restores_the_teardown() -> None:
    before = replace(planned(), down=PLAN.teardown)
    turned = apply(before, event("turned", 2))
    assert turned.turned
    assert apply(turned, event("undo", 3, undoes="e2", side="turn")) == before


def test_taking_a_report_back_opens_a_signed_count_and_its_tests_again() -> None:
    state = replace(finished(), counted=True, tests={"power": True}, leftover=2, rejects=("back/flush",))
    back = apply(state, event("undo", 9, undoes="e5", leftover=2, reject="back/flush", report="leftover"))
    assert (back.counted, back.leftover, back.rejects, back.tests) == (False, 0, (), {})


def test_taking_a_report_back_keeps_the_part_that_another_report_chose() -> None:
    state = apply(planned(), event("damage", 2, item="gasket/clips", part="F-400"))
    state = apply(state, event("damage", 3, item="gasket/clips", part="F-210"))
    state = apply(state, event("undo", 4, undoes="e3", new_part_of="gasket/clips", new_part="F-400"))
    assert state.new_part == {"gasket/clips": "F-400"}
    state = apply(state, event("undo", 5, undoes="e2", new_part_of="gasket/clips"))
    assert state.new_part == {}


def test_trouble_opens_a_signed_count_again() -> None:
    state = replace(finished(), counted=True, tests={"power": True})
    for kind in ("damage", "absent", "lost", "leftover", "spoiled", "reject"):
        after = apply(state, event(kind, 9))
        assert not after.counted
        assert after.tests == {}


def test_a_new_plan_starts_from_nothing_but_who_is_at_the_bench() -> None:
    before = replace(finished(), counted=True, override="e8", leftover=1, paused="lunch")
    assert next_pass(before) == 2
    after = apply(before, event("planned", 9, **{**_plan_data(), "pass_no": 2}))
    assert after.pass_no == 2
    assert (after.down, after.up, after.ticks, after.leftover, after.counted) == ((), (), (), 0, False)
    assert after.at_bench == 1
    assert after.paused == "lunch"
    assert after.items == planned().items
    assert next_pass(after) == 2


def test_an_override_belongs_to_its_pass() -> None:
    before = apply(finished(), event("override", 8, scope="final"))
    assert before.counted
    assert before.override == "e8"
    assert apply(before, event("planned", 9, **{**_plan_data(), "pass_no": 2})).override is None


def test_an_override_before_a_cover_signs_nothing() -> None:
    state = apply(finished(), event("override", 8, scope="cover"))
    assert not state.counted


# The closing count -----------------------------------------------------------------------------------------------


def test_a_pass_without_trouble_balances() -> None:
    found = count(finished())
    assert found.balanced
    assert [row.item.key for row in found.rows] == list(ITEMS)


@st.composite
def counts(draw: st.DrawFn, item: Item) -> ItemCount:
    """Any possible count of an item."""
    n = item.baseline
    if item.kind == "fit":
        return ItemCount(n, new=draw(st.integers(0, n)))
    absent = draw(st.integers(0, 1))
    out = draw(st.integers(0, n - absent))
    damaged = draw(st.integers(0, out))
    planned_ = draw(st.integers(0, out - damaged))
    lost = draw(st.integers(0, out - damaged - planned_))
    refitted = draw(st.integers(0, out - damaged - planned_ - lost))
    new = draw(st.integers(0, n - refitted))
    return ItemCount(n, absent, out, planned_, damaged, refitted, new, 0, lost)


@given(st.data())
def test_it_balances_exactly_when_the_equations_hold(data: st.DataObject) -> None:
    key = data.draw(st.sampled_from(sorted(ITEMS)))
    found = data.draw(counts(ITEMS[key]))
    assert found.fault() is None
    out_is_accounted = found.out == found.refitted + found.scrapped
    all_places_full = found.baseline == found.refitted + found.new
    all_counted = ITEMS[key].kind == "fit" or found.baseline == found.out + found.absent
    state = finished(**{key.replace("/", "__"): found})
    assert count(state).balanced == (out_is_accounted and all_places_full and all_counted)


@pytest.mark.parametrize(
    ("key", "found", "words"),
    [
        ("back__screws", ItemCount(4, out=3, refitted=3),
         "1 of 4 Back screw (step 2, tray pocket 1) was never counted out."),
        ("back__screws", ItemCount(4, out=4, refitted=3),
         "1 Back screw (step 2, tray pocket 1) came out and is neither back nor scrapped."),
        ("back__screws", ItemCount(4, out=4, refitted=3, damaged=1),
         "1 Back screw (step 2, tray pocket 1) is missing: no new one is recorded as fitted."),
        ("back__screws", ItemCount(4, out=4, refitted=3, lost=1, new=1),
         "1 Back screw (step 2, tray pocket 1) is reported lost. "
         "Search the device and the bench, or ask for an override."),
        ("cell__fit:0", ItemCount(1), "1 Wipe (step {cell}) is missing: no new one is recorded as fitted."),
    ],
)  # fmt: skip
def test_what_does_not_balance_is_said_in_words_with_its_step(key: str, found: ItemCount, words: str) -> None:
    assert count(finished(**{key: found})).problems == (words.format(cell=NUMBERS["cell"]),)


def test_a_piece_left_over_a_step_not_done_and_a_recount_due_are_named() -> None:
    state = replace(finished(), leftover=1, recount_due=True, up=PLAN.refit[:-1])
    assert count(state).problems == (
        "Step 2 is not refitted.",
        "1 piece left over on the bench. Find where it belongs before anything is closed.",
        "A recount is due because another technician took over.",
    )


def test_before_a_cover_what_belongs_above_it_may_still_wait() -> None:
    state = finished(back__screws=ItemCount(4, out=4), back__seal=ItemCount(1, out=1, planned=1))
    state = replace(state, up=PLAN.refit[:-1])
    assert PLAN.refit[-1] == "back"
    assert count(state, before="back").balanced
    assert not count(state).balanced


def test_before_a_cover_a_lost_piece_and_one_that_waits_underneath_block() -> None:
    state = replace(finished(flex__ribbon=ItemCount(1, out=1)), up=PLAN.refit[:-1])
    assert count(state, before="back").problems == (
        f"1 Keypad flex (step {NUMBERS['flex']}) came out and is neither back nor scrapped.",
    )
    lost = finished(back__screws=ItemCount(4, out=4, lost=1))
    assert not count(replace(lost, up=PLAN.refit[:-1]), before="back").balanced
