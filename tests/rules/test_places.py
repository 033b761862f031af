"""Counting place by place: what may be tapped, what it changes; no order of taps and ticks makes or loses a piece."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules import bench, places
from app.rules.bench import LotInHand, Outcome, PartsMissing, Scrapped
from app.rules.bench_marks import marks_of
from app.rules.counting import BenchState, Event, apply, closing_count, fold, items_of, turned_sign
from app.rules.planning import make_plan
from app.rules.taps import NONE, marks
from app.rules.verdict import Refused
from tests.jobs.sheets import placed

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
SHEET = placed()
PLAN = make_plan(SHEET, ["cell"])
ITEMS = items_of(SHEET, PLAN.teardown, PLAN.targets)
NUMBERS = bench.step_numbers(SHEET, PLAN.teardown)
SCREWS, STRIPS = "back/screws", "cell/strips"


class Bench:
    """A pass at the bench by the rules alone: every entry is decided, applied and kept."""

    def __init__(self, lots: int = 20) -> None:
        self.events: list[Event] = []
        self.state = BenchState(at_bench=1)
        baseline = {key: item.baseline for key, item in ITEMS.items()}
        self.add(
            "planned", pass_no=1, targets=list(PLAN.targets), teardown=list(PLAN.teardown), refit=list(PLAN.refit),
            baseline=baseline,
        )  # fmt: skip
        self.lots = {line.part: [LotInHand(n, f"L{n}", lots)] for n, line in enumerate(PLAN.kit, start=1)}

    def add(self, kind: str, step: str | None = None, undoes: str | None = None, **data: Any) -> str:
        event = Event(f"e{len(self.events)}", kind, 1, AT, step, data, undoes)
        self.state = apply(self.state, event)
        self.events.append(event)
        return event.event_id

    def on(self, key: str, place: int, side: str = "down") -> Outcome:
        """Count a place."""
        if side == "down":
            found = places.count_out(SHEET, ITEMS, self.state, key, place)
        else:
            found = places.count_back(SHEET, ITEMS, self.state, key, place, self.lots, AT)
        self.add("place", ITEMS[key].step, side=side, item=key, place=place, on=True, effect=found.effect)
        return found

    def off(self, key: str, place: int, side: str = "down") -> None:
        """Take a place back."""
        entry = places.entry_to_take_back(ITEMS, self.state, key, place, side)
        effect = turned_sign(self.entry(entry).data["effect"])
        self.add("place", ITEMS[key].step, entry, side=side, item=key, place=place, on=False, effect=effect)

    def entry(self, event_id: str) -> Event:
        return next(e for e in self.events if e.event_id == event_id)

    def tick(self) -> None:
        """Tick what is next; the turn too."""
        found = bench.focus(SHEET, self.state)
        if found is None:
            bench.turn(self.state)
            self.add("turned")
            return
        side, step = found
        if side == "down":
            outcome = bench.tick_down(SHEET, ITEMS, self.state, step)
        else:
            outcome = bench.tick_up(SHEET, ITEMS, self.state, step, self.lots, AT)
        self.add("tick", step, side=side, effect=outcome.effect)

    def undo(self) -> None:
        """Take the last tick back."""
        last = self.entry(self.state.ticks[-1].event_id)
        effect = bench.undo_last(self.state, last)
        self.add("undo", last.step, last.event_id, effect=effect, side=last.data.get("side", "turn"))

    def damage(self, key: str, pieces: int = 1) -> str:
        """Report pieces broken."""
        found = bench.damage(ITEMS[key], self.state.items[key], pieces, "F-400")
        return self.add("damage", ITEMS[key].step, item=key, effect=found.effect)

    def take_back(self, report: str) -> None:
        """Take a report back."""
        effect = turned_sign(self.entry(report).data["effect"])
        self.add("undo", undoes=report, effect=effect, report="damage")

    def marks(self, key: str) -> str:
        return " ".join(marks(self.state.items[key], self.state.places.get(key, NONE)))

    def to(self, side: str, step: str) -> "Bench":
        """Tick on until a step is next."""
        while bench.focus(SHEET, self.state) != (side, step):
            self.tick()
        return self


# Out -------------------------------------------------------------------------------------------------------------


def test_a_screw_is_counted_out_of_its_place_and_the_tick_counts_the_rest() -> None:
    work = Bench().to("down", "back")
    assert work.on(SCREWS, 3).effect == {SCREWS: {"out": 1}}
    assert work.marks(SCREWS) == "open open out open"
    assert work.state.items[SCREWS].out == 1
    work.tick()
    assert work.state.items[SCREWS].out == 4
    assert work.events[-1].data["effect"][SCREWS] == {"out": 3}


def test_a_single_use_piece_is_scrapped_with_its_place() -> None:
    work = Bench().to("down", "cell")
    found = work.on(STRIPS, 2)
    assert found.effect == {STRIPS: {"out": 1, "planned": 1}}
    assert found.scrapped == (Scrapped(STRIPS, 1, "planned"),)
    assert work.marks(STRIPS) == "open struck"
    work.off(STRIPS, 2)
    assert work.marks(STRIPS) == "open open"


def test_taking_the_tick_back_leaves_the_places_that_were_counted_before_it() -> None:
    work = Bench().to("down", "back")
    work.on(SCREWS, 3)
    work.on(SCREWS, 1)
    before = work.state
    work.tick()
    work.undo()
    assert work.state == before
    assert work.marks(SCREWS) == "out open out open"


def test_a_place_is_counted_once() -> None:
    work = Bench().to("down", "back")
    work.on(SCREWS, 3)
    with pytest.raises(Refused, match="Back screw 3 of 4 is counted out already"):
        work.on(SCREWS, 3)


@pytest.mark.parametrize(
    ("key", "place", "side", "words"),
    [
        (SCREWS, 5, "down", "there is no place 5"),
        (SCREWS, 0, "down", "there is no place 0"),
        ("back/seal", 1, "down", "marks no places for this item"),
        ("lens/screws", 1, "down", "marks no places for this item"),
        (SCREWS, 1, "over", "out in the teardown or back in the refit"),
    ],
)
def test_only_a_place_of_the_procedure_can_be_tapped(key: str, place: int, side: str, words: str) -> None:
    with pytest.raises(Refused, match=words):
        places.check(ITEMS, key, place, side)


def test_what_refuses_the_tick_refuses_the_place() -> None:
    work = Bench()
    with pytest.raises(Refused, match="First: Warm the edge"):
        work.on(SCREWS, 1)
    work.to("down", "back")
    work.state = replace(work.state, paused="Break")
    with pytest.raises(Refused, match="paused"):
        work.on(SCREWS, 1)


def test_a_ticked_step_keeps_its_places_until_the_tick_is_taken_back() -> None:
    work = Bench().to("down", "back")
    work.on(SCREWS, 3)
    work.tick()
    for act in (work.on, work.off):
        with pytest.raises(Refused, match="This step is ticked"):
            act(SCREWS, 3)


# Trouble ---------------------------------------------------------------------------------------------------------


def test_the_place_of_a_screw_missing_on_arrival_is_not_asked_for() -> None:
    work = Bench().to("down", "back")
    found = bench.absent(ITEMS[SCREWS], work.state.items[SCREWS], 1, None)
    work.add("absent", "back", item=SCREWS, effect=found.effect)
    assert work.marks(SCREWS) == "open open open absent"
    for place in (4, 1, 2):
        work.on(SCREWS, place)
    assert work.marks(SCREWS) == "out out absent out"
    with pytest.raises(Refused, match="all 4 are counted, 3 out and 1 missing on arrival"):
        work.on(SCREWS, 3)
    work.tick()
    assert work.state.items[SCREWS].out == 3


def test_the_place_of_a_broken_screw_is_the_one_tapped_last_and_stays_struck() -> None:
    work = Bench().to("down", "back")
    work.on(SCREWS, 2)
    work.on(SCREWS, 3)
    report = work.damage(SCREWS)
    assert work.marks(SCREWS) == "open out struck open"
    with pytest.raises(Refused, match="Back screw 3 of 4 is reported damaged or lost"):
        work.off(SCREWS, 3)
    work.tick()
    assert work.marks(SCREWS) == "out out struck out"
    work.take_back(report)
    assert work.marks(SCREWS) == "out out out out"


def test_a_screw_that_came_out_broken_needs_no_place() -> None:
    work = Bench().to("down", "back")
    work.on(SCREWS, 1)
    work.damage(SCREWS, 2)
    assert work.state.items[SCREWS].out == 2
    for place in (2, 3):
        work.on(SCREWS, place)
    with pytest.raises(Refused, match="all 4 are counted"):
        work.on(SCREWS, 4)


def test_no_more_can_be_taken_back_than_waits_outside() -> None:
    work = Bench().to("down", "back")
    work.on(SCREWS, 1)
    found = bench.lost(ITEMS[SCREWS], work.state.items[SCREWS], 1)
    work.add("lost", "back", item=SCREWS, effect=found.effect)
    with pytest.raises(Refused, match="reported damaged or lost"):
        work.off(SCREWS, 1)


# Back ------------------------------------------------------------------------------------------------------------


def test_an_original_goes_back_into_its_place() -> None:
    work = Bench().to("up", "back")
    assert work.on(SCREWS, 2, "up").effect == {SCREWS: {"refitted": 1}}
    assert work.marks(SCREWS) == "out back out out"
    work.off(SCREWS, 2, "up")
    assert work.marks(SCREWS) == "out out out out"


def test_a_new_one_is_drawn_from_the_lot_in_hand() -> None:
    work = Bench().to("up", "cell")
    found = work.on(STRIPS, 1, "up")
    assert found.effect == {STRIPS: {"new": 1}}
    (fit,) = found.fitted
    assert (fit.item, fit.part, fit.count) == (STRIPS, "F-320", 1)


def test_originals_go_back_before_a_new_one_is_taken() -> None:
    work = Bench().to("down", "back")
    work.damage(SCREWS)
    work.to("up", "back")
    work.lots["F-400"] = [LotInHand(90, "L90", 5)]
    work.state = replace(work.state, new_part={SCREWS: "F-400"})
    kinds = [next(iter(work.on(SCREWS, n, "up").effect[SCREWS])) for n in (4, 3, 2, 1)]
    assert kinds == ["refitted", "refitted", "refitted", "new"]
    with pytest.raises(Refused, match="is back already"):
        work.on(SCREWS, 1, "up")


def test_a_new_one_that_was_not_handed_out_is_waited_for() -> None:
    work = Bench().to("up", "cell")
    work.lots["F-320"] = []
    with pytest.raises(PartsMissing, match="a new one for Pull strip 1 of 2"):
        work.on(STRIPS, 1, "up")


def test_what_another_item_of_the_step_waits_for_stops_no_screw() -> None:
    work = Bench().to("up", "back")
    work.lots["F-310"] = []
    assert work.on(SCREWS, 1, "up").effect == {SCREWS: {"refitted": 1}}


def test_the_turn_is_not_taken_back_from_under_places_that_are_back() -> None:
    work = Bench().to("up", "cell")
    work.on(STRIPS, 1, "up")
    with pytest.raises(Refused, match="Some places are counted back already"):
        work.undo()
    work.off(STRIPS, 1, "up")
    work.undo()
    assert not work.state.turned


def test_the_count_names_the_place_that_is_not_back() -> None:
    work = Bench().to("up", "back")
    for place in (1, 2, 4):
        work.on(SCREWS, place, "up")
    found = closing_count(ITEMS, work.state, NUMBERS, {SCREWS: 1})
    assert "Back screw 3 of 4 (step 2, tray pocket 1) is not back." in found.problems
    assert not any("neither back nor scrapped" in p for p in found.problems if "Back screw" in p)
    before = closing_count(ITEMS, work.state, NUMBERS, {SCREWS: 1}, before_step="back")
    assert before.balanced, "the screws of the cover itself may wait until it is on"


def test_nothing_is_named_by_place_where_nothing_was_counted_so() -> None:
    work = Bench().to("up", "back")
    found = closing_count(ITEMS, work.state, NUMBERS, {SCREWS: 1})
    assert "4 Back screw (step 2, tray pocket 1) came out and are neither back nor scrapped." in found.problems


def test_a_tap_on_a_place_is_bench_work() -> None:
    (mark,) = marks_of(Event("e", "place", 1, AT, "back", {"on": True}))
    assert mark.kind == "tick"


# All together ----------------------------------------------------------------------------------------------------

PLACED = [(key, n) for key, item in ITEMS.items() for n in range(1, item.places + 1)]
acts = st.lists(
    st.one_of(
        st.tuples(st.sampled_from(("on", "off")), st.sampled_from(PLACED), st.sampled_from(("down", "up"))),
        st.tuples(st.sampled_from(("tick", "tick", "tick", "undo", "back")), st.just(PLACED[0]), st.just("down")),
        st.tuples(st.just("damage"), st.sampled_from(PLACED), st.just("down")),
    ),
    max_size=60,
)


def _act(work: Bench, what: str, which: tuple[str, int], side: str, reports: list[str]) -> None:
    if what in ("on", "off"):
        getattr(work, what)(*which, side)
    elif what == "damage":
        reports.append(work.damage(which[0]))
    elif what == "back" and reports:
        work.take_back(reports.pop())
    elif what == "tick" and not work.state.refitted:
        work.tick()
    elif what == "undo" and work.state.ticks:
        work.undo()


@settings(max_examples=150, deadline=None)
@given(acts)
def test_whatever_is_tapped_the_picture_shows_what_was_counted(
    said: Sequence[tuple[str, tuple[str, int], str]],
) -> None:
    work = Bench()
    work.lots |= {"F-210": [LotInHand(91, "L91", 50)], "F-400": [LotInHand(92, "L92", 50)]}
    reports: list[str] = []
    for what, which, side in said:
        try:
            _act(work, what, which, side, reports)
        except Refused:
            continue
        for key, taps in work.state.places.items():
            count = work.state.items[key]
            borne = marks(count, taps)
            assert len(taps.out) <= count.out
            assert len(taps.back) <= count.refitted + count.new
            assert all(borne[n - 1] == "back" for n in taps.back)
            assert all(borne[n - 1] in ("out", "struck", "back") for n in taps.out)
        assert all(count.fault() is None for count in work.state.items.values())
    again = fold([*work.events])
    assert replace(again, at_bench=1) == work.state
    assert BenchState.from_json(work.state.to_json()) == work.state
