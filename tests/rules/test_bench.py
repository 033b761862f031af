"""Decisions at the bench: what each entry does, which lots are drawn, and the words of every refusal."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules import bench, tray
from app.rules.bench import LotInHand, Outcome, PartsMissing
from app.rules.counting import BenchState, ClosingCount, Event, ItemCount, apply, closing_count, fold, items_of
from app.rules.planning import make_plan
from app.rules.verdict import Refused
from tests.jobs.sheets import recorder

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
SHEET = recorder()
PLAN = make_plan(SHEET, ["cell", "speaker"])
ITEMS = items_of(SHEET, PLAN.teardown, PLAN.targets)
NUMBERS = bench.step_numbers(SHEET, PLAN.teardown)
KIT = {line.part: line.count for line in PLAN.kit}
Hand = Mapping[str, Sequence[LotInHand]]


@contextmanager
def refused(words: str) -> Iterator[pytest.ExceptionInfo[Refused]]:
    """Expect a refusal with these words in it."""
    with pytest.raises(Refused) as refusal:
        yield refusal
    assert words in refusal.value.reason


class Job:
    """A job as the rules see it: entries, the state they make, and the lots in hand."""

    def __init__(self, **more: int) -> None:
        data: dict[str, Any] = {
            "pass_no": 1,
            "targets": list(PLAN.targets),
            "teardown": list(PLAN.teardown),
            "refit": list(PLAN.refit),
            "baseline": {key: item.baseline for key, item in ITEMS.items()},
        }
        self.events: list[Event] = []
        self.state = BenchState()
        self.now = AT
        self.free = {**KIT, "F-210": 4, "F-220": 1, "F-230": 1, "F-400": 2, **more}
        self.enter("planned", **data)
        self.enter("opened")

    @property
    def hand(self) -> Hand:
        return {part: [LotInHand(n, f"L{n}", free)] for n, (part, free) in enumerate(sorted(self.free.items()))}

    def enter(self, kind: str, step: str | None = None, undoes: str | None = None, **data: Any) -> Event:
        event = Event(f"e{len(self.events)}", kind, 1, self.now, step, data, undoes)
        self.state = apply(self.state, event)
        self.events.append(event)
        return event

    def tick(self, side: str, step: str) -> Event:
        self.now += timedelta(hours=1)
        if side == "turn":
            bench.turn(self.state)
            return self.enter("turned")
        if side == "down":
            out = bench.tick_down(SHEET, ITEMS, self.state, step)
            return self.enter("tick", step, side="down", effect=out.effect)
        cover = bench.count_before_cover(SHEET, ITEMS, self.state, step, {})
        out = bench.tick_up(SHEET, ITEMS, self.state, step, self.hand, self.now, cover)
        for fit in out.fitted:
            self.free[fit.part] -= fit.count
        more: dict[str, Any] = {"ready_at": out.ready_at.isoformat()} if out.ready_at else {}
        fitted = [[f.part, f.count] for f in out.fitted]
        return self.enter("tick", step, side="up", effect=out.effect, covers=out.covers, fitted=fitted, **more)

    def report(self, out: Outcome, kind: str = "damage") -> Event:
        for fit in out.fitted:
            self.free[fit.part] -= fit.count
        return self.enter(kind, effect=out.effect)

    def down(self, most: int = 99) -> "Job":
        while most and (now := bench.focus(SHEET, self.state)):
            self.tick(*now)
            most -= 1
        return self

    def turned(self) -> "Job":
        self.down().tick("turn", "")
        return self

    def up(self, until: str | None = None) -> "Job":
        while (now := bench.focus(SHEET, self.state)) and now[1] != until:
            self.tick(*now)
        return self

    def undo(self) -> Event:
        last = next(e for e in self.events if e.event_id == self.state.ticks[-1].event_id)
        effect = bench.undo_last(self.state, last)
        for part, count in last.data.get("fitted", ()):
            self.free[part] += count
        return self.enter("undo", last.step, undoes=last.event_id, effect=effect)

    def count(self, key: str) -> ItemCount:
        return self.state.items[key]

    def problems(self) -> tuple[str, ...]:
        found: ClosingCount = closing_count(ITEMS, self.state, NUMBERS, {})
        return found.problems


# Down ------------------------------------------------------------------------------------------------------------


def test_a_tick_down_counts_everything_out_and_scraps_what_is_for_one_use() -> None:
    job = Job()
    job.tick("down", "warm")
    out = bench.tick_down(SHEET, ITEMS, job.state, "back")
    assert out.effect == {"back/screws": {"out": 4}, "back/seal": {"out": 1, "planned": 1}}
    assert [(s.item, s.count, s.reason) for s in out.scrapped] == [("back/seal", 1, "planned")]


def test_what_was_missing_or_broken_before_is_not_counted_twice() -> None:
    job = Job()
    job.tick("down", "warm")
    job.report(bench.absent(ITEMS["back/screws"], job.count("back/screws"), 1, None), "absent")
    job.report(bench.damage(ITEMS["back/seal"], job.count("back/seal"), 1, None))
    out = bench.tick_down(SHEET, ITEMS, job.state, "back")
    assert out.effect == {"back/screws": {"out": 3}}
    assert out.scrapped == ()


def test_ticks_down_are_refused_in_words() -> None:
    job = Job()
    with refused("First: Warm the edge. The order protects what lies underneath."):
        job.tick("down", "back")
    job.tick("down", "warm")
    with refused("This step is already ticked."):
        job.tick("down", "warm")
    with refused("This step is not part of the job's plan."):
        job.tick("down", "lens")
    with refused("7 teardown steps are still to do before the refit can begin."):
        job.tick("turn", "")
    job.turned()
    with refused("The refit has begun. Take the turn back first"):
        job.tick("down", "warm")
    with refused("The refit has already begun."):
        job.tick("turn", "")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"recount_due": True}, "Another technician took over. Recount the tray pockets first."),
        ({"paused": "lunch"}, "The job is paused. Resume it first so that the bench time is right."),
        ({"counted": True}, "The closing count is signed. Take the ticks back down to that step first"),
    ],
)
def test_nothing_is_ticked_while_the_job_waits(change: dict[str, Any], words: str) -> None:
    job = Job().down(3)
    job.state = replace(job.state, **change)
    focus = bench.focus(SHEET, job.state)
    assert focus is not None
    with refused(words):
        job.tick(*focus)
    with refused(words):
        bench.turn(job.state)
    job.state = replace(Job().turned().state, **change)
    with refused(words):
        job.tick("up", "speaker")


# Up --------------------------------------------------------------------------------------------------------------


def test_a_pass_balances_and_uses_the_kit_up() -> None:
    job = Job().turned().up()
    assert job.problems() == ()
    assert {part: job.free[part] for part in KIT} == dict.fromkeys(KIT, 0)
    assert job.free["F-210"] == 4
    assert bench.focus(SHEET, job.state) is None


def test_the_way_back_keeps_what_covers_for_after_what_lies_underneath() -> None:
    job = Job().turned()
    assert set(bench.ready_up(SHEET, job.state)) == {"speaker", "cell"}
    with refused("Another step has to go back first"):
        job.tick("up", "back")
    with refused("This step has no refit in the job's plan."):
        job.tick("up", "warm")
    job.tick("up", "speaker")
    with refused("This refit step is already ticked."):
        job.tick("up", "speaker")
    assert bench.ready_up(SHEET, Job().state) == ()


def test_what_was_broken_or_missing_is_fitted_new() -> None:
    job = Job().down()
    job.report(bench.damage(ITEMS["back/screws"], job.count("back/screws"), 1, None))
    job.turned().up(until="back")
    out = bench.tick_up(SHEET, ITEMS, job.state, "back", job.hand, job.now + timedelta(hours=1))
    assert out.effect["back/screws"] == {"refitted": 3, "new": 1}
    assert [(f.item, f.part, f.count) for f in out.fitted] == [("back/screws", "F-210", 1), ("back/seal", "F-310", 1)]


def test_lots_are_drawn_in_the_order_they_were_handed_out() -> None:
    job = Job().down()
    job.report(bench.damage(ITEMS["back/screws"], job.count("back/screws"), 3, None))
    job.turned().up(until="back")
    hand = {
        **job.hand,
        "F-210": [LotInHand(7, "OLD", 2), LotInHand(3, "EMPTY", 0), LotInHand(9, "NEW", 5)],
    }
    out = bench.tick_up(SHEET, ITEMS, job.state, "back", hand, job.now + timedelta(hours=1))
    screws = [(f.lot_code, f.count) for f in out.fitted if f.item == "back/screws"]
    assert screws == [("OLD", 2), ("NEW", 1)]


def test_two_items_of_one_part_share_a_lot_without_counting_it_twice() -> None:
    job = Job().down()
    for key in ("back/screws", "speaker/screws"):
        job.report(bench.damage(ITEMS[key], job.count(key), 2, None))
    job.turned().up()
    assert job.problems() == ()
    assert job.free["F-210"] == 0


def test_serials_follow_the_pieces_one_line_each() -> None:
    job = Job().turned().up(until="cell")
    if bench.focus(SHEET, job.state) != ("up", "cell"):
        pytest.fail("the cell is not next")
    hand = {**job.hand, "F-100": [LotInHand(5, "C5", 2, ("S-2", "S-3"))]}
    out = bench.tick_up(SHEET, ITEMS, job.state, "cell", hand, job.now + timedelta(hours=1))
    assert [(f.lot_code, f.count, f.serial) for f in out.fitted if f.part == "F-100"] == [("C5", 1, "S-2")]


def test_parts_not_handed_out_are_named_with_their_numbers() -> None:
    job = Job(**{"F-340": 1, "F-110": 0}).turned()
    with pytest.raises(PartsMissing) as refusal:
        job.tick("up", "speaker")
    assert refusal.value.reason == (
        "Not handed out yet: 1 × Speaker (F-110); 1 × Bond dot (F-340). Ask stores, or pause the job."
    )
    assert [(m.item, m.part, m.count) for m in refusal.value.missing] == [
        ("speaker/unit:speaker", "F-110", 1), ("speaker/fit:0", "F-340", 1),
    ]  # fmt: skip


def test_a_place_that_nothing_is_known_to_fill_says_how_to_go_on() -> None:
    job = Job().down()
    job.report(bench.lost(ITEMS["gasket/clips"], job.count("gasket/clips"), 1), "lost")
    job.tick("turn", "")
    job.up(until="gasket")
    with refused("take its report back and report it again with the new part"):
        job.tick("up", "gasket")


def test_a_cure_holds_the_next_step_up_and_says_for_how_long() -> None:
    job = Job().turned()
    job.tick("up", "speaker")
    start = job.now
    assert job.state.timers == {"speaker": (start + timedelta(minutes=30)).isoformat()}
    focus = bench.focus(SHEET, job.state)
    assert focus is not None
    with refused("Bond the speaker in: curing for another 5 min. Pause the job or wait."):
        bench.tick_up(SHEET, ITEMS, job.state, focus[1], job.hand, start + timedelta(minutes=25))
    bench.tick_up(SHEET, ITEMS, job.state, focus[1], job.hand, start + timedelta(minutes=30))


def test_a_press_gives_a_timer_and_holds_nothing_up() -> None:
    job = Job().turned().up(until="back")
    at = job.now + timedelta(hours=1)
    out = bench.tick_up(SHEET, ITEMS, job.state, "back", job.hand, at)
    assert (out.timer, out.ready_at, out.covers) == ("press", at + timedelta(seconds=30), True)


def test_no_cover_goes_on_over_a_count_that_does_not_agree_unless_overridden() -> None:
    job = Job().down()
    job.report(bench.lost(ITEMS["flex/ribbon"], job.count("flex/ribbon"), 1), "lost")
    job.tick("turn", "")
    job.up(until="back")
    with refused("The count before closing does not agree: 1 Keypad flex"):
        job.tick("up", "back")
    cover = bench.count_before_cover(SHEET, ITEMS, job.state, "back", {})
    assert cover is not None
    job.enter("override", "back", scope="cover", problems=list(cover.problems))
    job.tick("up", "back")
    assert bench.count_before_cover(SHEET, ITEMS, job.state, "flex", {}) is None


# Trouble ---------------------------------------------------------------------------------------------------------


def test_a_piece_broken_in_its_place_counts_as_out() -> None:
    screws = ITEMS["back/screws"]
    assert bench.damage(screws, ItemCount(4), 1, None).effect == {"back/screws": {"damaged": 1, "out": 1}}
    assert bench.damage(screws, ItemCount(4, out=4), 1, None).effect == {"back/screws": {"damaged": 1}}
    assert bench.damage(screws, ItemCount(4, out=1), 2, None).effect == {"back/screws": {"damaged": 2, "out": 1}}


def test_each_broken_missing_or_lost_piece_needs_a_new_one() -> None:
    screws = ITEMS["back/screws"]
    assert bench.damage(screws, ItemCount(4), 2, None).needs == {"F-210": 2}
    assert bench.damage(screws, ItemCount(4), 2, "F-400").needs == {"F-400": 2}
    assert bench.absent(screws, ItemCount(4), 1, None).needs == {"F-210": 1}
    assert bench.lost(screws, ItemCount(4, out=4), 3).needs == {"F-210": 3}
    assert bench.lost(screws, ItemCount(4, out=4), 3, "F-400").needs == {"F-400": 3}
    assert bench.lost(ITEMS["gasket/clips"], ItemCount(2, out=2), 1).needs == {}
    assert bench.damage(ITEMS["back/seal"], ItemCount(1), 1, None).needs == {}


@pytest.mark.parametrize(
    ("key", "found", "pieces", "part", "words"),
    [
        ("back/screws", ItemCount(4), 0, None, "Back screw: 4 can be reported damaged, not 0."),
        ("back/screws", ItemCount(4, absent=1), 4, None, "Back screw: 3 can be reported damaged, not 4."),
        ("back/screws", ItemCount(4, out=4, refitted=4), 1, None, "Back screw is back in the device. Take the ticks"),
        ("cell/fit:0", ItemCount(1), 1, None, "This item is new from stock; report it as spoilt in fitting."),
        ("gasket/clips", ItemCount(2), 1, None, "Gasket clip has no part number in the procedure. Choose the new part"),
    ],
)  # fmt: skip
def test_damage_is_refused_in_words(key: str, found: ItemCount, pieces: int, part: str | None, words: str) -> None:
    with refused(words):
        bench.damage(ITEMS[key], found, pieces, part)


def test_missing_lost_and_spoilt_are_refused_in_words() -> None:
    screws, wipe = ITEMS["back/screws"], ITEMS["cell/fit:0"]
    with refused("Back screw: 0 are not counted out yet, so 1 cannot be missing on arrival."):
        bench.absent(screws, ItemCount(4, out=4), 1, None)
    with refused("Wipe: 1 are not counted out yet"):
        bench.absent(wipe, ItemCount(1), 1, None)
    with refused("Back screw: 0 wait outside, so 1 cannot be lost."):
        bench.lost(screws, ItemCount(4), 1)
    with refused("Wipe: 0 new ones are with the job, so 1 cannot be spoilt."):
        bench.spoiled(wipe, ItemCount(1), 1, None, ())
    with refused("Wipe is recorded as fitted. Take the ticks back"):
        bench.spoiled(wipe, ItemCount(1, new=1), 1, None, ())
    with refused("Gasket clip has no part number; nothing new was handed out for it."):
        bench.spoiled(ITEMS["gasket/clips"], ItemCount(2), 1, None, ())


def test_a_spoilt_part_is_drawn_from_its_lots_and_needed_again() -> None:
    lots = [LotInHand(1, "A", 1), LotInHand(2, "B", 4)]
    out = bench.spoiled(ITEMS["cell/strips"], ItemCount(2), 2, None, lots)
    assert [(f.lot_code, f.count) for f in out.fitted] == [("A", 1), ("B", 1)]
    assert out.effect == {"cell/strips": {"spoiled": 2}}
    assert out.needs == {"F-320": 2}
    assert [(s.count, s.reason) for s in out.scrapped] == [(2, "spoiled")]


def test_a_failed_inspection_scraps_its_piece_and_brings_its_parts_into_the_kit() -> None:
    job = Job().down()
    flat = SHEET.step("shield").inspect[0]
    out = bench.reject(ITEMS, job.state, "shield", flat)
    assert out.effect == {"shield/lid": {"damaged": 1}}
    assert out.needs == {"F-220": 1}
    job.enter("reject", "shield", effect=out.effect, reject="shield/flat")
    with refused("This inspection is already recorded as failed."):
        bench.reject(ITEMS, job.state, "shield", flat)
    job.tick("turn", "")
    assert job.up().problems() == ()
    assert job.free["F-220"] == 0


def test_a_failed_inspection_of_nothing_in_particular_scraps_nothing() -> None:
    refit = SHEET.step("back").refit
    assert refit is not None
    assert bench.reject(ITEMS, Job().state, "back", refit.inspect[0]) == Outcome()


def test_a_recount_takes_nothing_as_read() -> None:
    expected = {1: 4, 2: 3}
    assert tray.recount(expected, {1: 4, 2: 3}) == ({}, ())
    assert tray.recount(expected, {1: 2, 2: 3}) == ({1: 2}, ("Tray pocket 1: 2 short.",))
    with refused("Count tray pocket 2 too; nothing is taken as read at a hand-over.") as refusal:
        tray.recount(expected, {1: 4, 2: None})
    assert refusal.value.field == "pocket-2"
    with refused("Count tray pocket 1 too"):
        tray.recount(expected, {})
    with refused("Tray pocket 1 should hold 4, not 5. Look for a piece in the wrong pocket."):
        tray.recount(expected, {1: 5, 2: 3})


# Taking back -----------------------------------------------------------------------------------------------------


def test_only_the_last_tick_can_be_taken_back() -> None:
    job = Job().down(2)
    first, last = job.events[2], job.events[3]
    for wrong in (None, first, replace(last, event_id="other")):
        with refused("There is no tick to take back."):
            bench.undo_last(job.state, wrong)
    assert bench.undo_last(job.state, last) == {"back/screws": {"out": -4}, "back/seal": {"out": -1, "planned": -1}}


def test_the_whole_pass_can_be_taken_back_tick_by_tick() -> None:
    job = Job()
    states = [job.state]
    while (now := bench.focus(SHEET, job.state)) or not job.state.turned:
        job.tick(*(now or ("turn", "")))
        states.append(job.state)
    free = dict(job.free)
    for before in reversed(states[:-1]):
        job.undo()
        assert job.state == before
    assert job.free == {**free, **KIT}


CHOICES = st.lists(st.tuples(st.integers(0, 9), st.integers(0, 40), st.integers(1, 3)), min_size=5, max_size=60)


@settings(max_examples=150)
@given(CHOICES)
def test_whatever_is_done_the_count_stays_possible_and_the_fold_is_the_state(
    choices: list[tuple[int, int, int]],
) -> None:
    job = Job(**{"F-310": 3, "F-320": 4})
    keys = list(ITEMS)
    for what, which, pieces in choices:
        key = keys[which % len(keys)]
        before = job.state
        try:
            _do(job, what, key, pieces)
        except Refused:
            assert job.state == before
        assert [k for k, found in job.state.items.items() if found.fault()] == []
        assert min(job.free.values()) >= 0
    assert fold(job.events) == job.state
    assert BenchState.from_json(job.state.to_json()) == job.state


def _do(job: Job, what: int, key: str, pieces: int) -> None:
    item, found = ITEMS[key], job.count(key)
    if what <= 4:
        focus = bench.focus(SHEET, job.state)
        job.tick(*(focus or ("turn", "")))
    elif what == 5:
        if job.state.ticks:
            before = job.state
            job.undo()
            assert len(job.state.ticks) == len(before.ticks) - 1
    elif what == 6:
        job.report(bench.damage(item, found, pieces, "F-400"))
    elif what == 7:
        job.report(bench.absent(item, found, pieces, "F-400"), "absent")
    elif what == 8:
        job.report(bench.lost(item, found, pieces), "lost")
    else:
        lots = job.hand.get(item.part or "", ())
        job.report(bench.spoiled(item, found, pieces, None, lots), "spoiled")
