"""A new plan in mid-work as it is recorded: what is counted stays counted, and the kit grows by what is needed."""

from datetime import UTC, datetime, timedelta
from itertools import count
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules import bench
from app.rules.bench import LotInHand
from app.rules.counting import BenchState, Event, ItemCount, apply, closing_count, items_of
from app.rules.descent import pocket_numbers
from app.rules.extending import Extension, extend
from app.rules.planning import make_plan
from app.rules.sheet import Refit, Sheet
from app.rules.verdict import Refused
from tests.rules.sheets import fixing, sheet, step, unit
from tests.rules.test_planning import sheets_and_targets

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
EXAMPLE = sheet(
    [
        step("off", refit=False),
        step("back", "off", releases=[fixing("seal", reuse="single-use", part="SEAL"), fixing("screw", 3)]),
        step("cell", "back", time_s=30, frees="cell", releases=[fixing("clamp", 2)]),
        step("frame", "back", releases=[fixing("tape", 2, reuse="single-use", part="TAPE")], frees="display"),
        step("board", "cell", frees="board", refit={"fits": [{"part": "PAD", "name": "Pad", "count": 1}]}),
    ],
    [unit("cell"), unit("display"), unit("board")],
)  # fmt: skip


class Job:
    """One job driven by the rules of the bench, with stock without end."""

    def __init__(self, example: Sheet, targets: list[str]) -> None:
        self.sheet, self.ids = example, count()
        self.spent: dict[str, int] = {}
        plan = make_plan(example, targets)
        self.kit = {line.part: line.count for line in plan.kit}
        items = items_of(example, plan.teardown, plan.targets)
        data = {
            "pass_no": 1, "targets": plan.targets, "teardown": plan.teardown, "refit": plan.refit,
            "baseline": {key: item.baseline for key, item in items.items()},
        }  # fmt: skip
        self.state = BenchState()
        self.say("planned", data)
        self.fitted: dict[str, int] = {}

    @property
    def items(self) -> Any:
        """The items of the pass as planned now."""
        return items_of(self.sheet, self.state.teardown, self.state.targets)

    def say(self, kind: str, data: dict[str, Any], name: str | None = None) -> None:
        self.state = apply(self.state, Event(f"e{next(self.ids)}", kind, 1, AT, name, data))

    def forward(self, ticks: int) -> None:
        """Do so many expected ticks, or as many as there are."""
        for _ in range(ticks):
            focus = bench.focus(self.sheet, self.state)
            if focus is None:
                if not self.state.torn_down or self.state.turned:
                    return
                self.say("turned", {})
                continue
            side, name = focus
            if side == "down":
                outcome = bench.tick_down(self.sheet, self.items, self.state, name)
            else:
                parts = {item.part for item in self.items.values() if item.part}
                hand = {part: [LotInHand(1, "L", 10_000)] for part in parts}
                later = AT + timedelta(days=next(self.ids))
                outcome = bench.tick_up(self.sheet, self.items, self.state, name, hand, later)
                for one in outcome.fitted:
                    self.fitted[one.part] = self.fitted.get(one.part, 0) + one.count
            self.say("tick", {"side": side, "effect": outcome.effect}, name)

    def extend(self, *targets: str) -> Extension:
        """Plan again from here."""
        found = extend(self.sheet, self.state, targets, self.kit, self.spent)
        self.kit, self.spent = dict(found.kit), dict(found.spent)
        self.say("extended", found.data)
        return found

    def finish(self) -> None:
        """Go on to the end; the count must balance and the kit must be used to the last piece."""
        self.forward(10_000)
        numbers = bench.step_numbers(self.sheet, self.state.teardown)
        found = closing_count(self.items, self.state, numbers, pocket_numbers(self.sheet, self.state.teardown))
        assert found.problems == ()
        assert self.fitted == self.kit


def test_an_added_unit_brings_its_steps_its_items_and_its_kit() -> None:
    job = Job(EXAMPLE, ["cell"])
    job.forward(2)
    before = job.state
    found = job.extend("cell", "display")
    assert job.state.down == before.down
    assert job.state.teardown == ("off", "back", "cell", "frame")
    assert job.state.refit == ("frame", "cell", "back")
    assert job.state.items["back/screw"] == before.items["back/screw"]
    assert job.state.items["frame/tape"] == ItemCount(baseline=2)
    assert {line.part: line.count for line in found.added_kit} == {"TAPE": 2, "DISPLAY": 1}
    job.finish()


def test_pieces_in_the_tray_keep_their_pockets() -> None:
    job = Job(EXAMPLE, ["cell"])
    job.forward(3)
    before = pocket_numbers(EXAMPLE, job.state.teardown)
    job.extend("cell", "board", "display")
    after = pocket_numbers(EXAMPLE, job.state.teardown)
    assert {key: after[key] for key in before} == before
    job.finish()


def test_a_unit_that_is_out_already_is_scrapped_as_its_new_one_goes_in() -> None:
    job = Job(EXAMPLE, ["board"])
    job.forward(4)
    assert job.state.items["cell/unit:cell"].waiting == 1
    job.extend("board", "cell")
    job.forward(10)
    assert job.state.items["cell/unit:cell"] == ItemCount(baseline=1, out=1, planned=1, new=1)
    job.finish()


def test_steps_that_are_back_come_down_once_more_with_new_single_use_parts() -> None:
    job = Job(EXAMPLE, ["cell"])
    job.forward(6)
    assert job.state.up == ("cell", "back")
    found = job.extend("cell", "display")
    assert found.plan.again == ("back",)
    assert not job.state.turned
    assert job.state.up == ("cell",)  # type: ignore[comparison-overlap]  # It was longer before.
    assert job.state.ticks == ()
    assert job.state.items["back/seal"] == ItemCount(baseline=1)
    assert (found.spent, found.kit["SEAL"]) == ({"SEAL": 1}, 2)
    job.finish()
    assert job.fitted["SEAL"] == 2


def test_a_unit_that_was_exchanged_goes_back_as_it_is_when_it_must_come_out_once_more() -> None:
    job = Job(EXAMPLE, ["cell"])
    job.forward(5)
    assert job.state.up == ("cell",)
    job.extend("cell", "board")
    assert (job.state.targets, job.state.exchanged) == (("board",), ("cell",))
    job.finish()
    assert (job.fitted["CELL"], job.state.items["cell/unit:cell"].refitted) == (1, 1)


def test_taking_a_tick_back_after_a_new_plan_works_as_before() -> None:
    job = Job(EXAMPLE, ["cell"])
    job.forward(3)
    last = job.state.ticks[-1]
    job.extend("cell", "display")
    assert job.state.ticks[-1] == last
    effect = bench.undo_last(job.state, Event(last.event_id, "tick", 1, AT, "cell", {"effect": {}}))
    assert effect == {}


def test_a_dropped_step_that_was_begun_is_refused() -> None:
    job = Job(EXAMPLE, ["cell", "display"])
    job.forward(2)
    job.say("absent", {"item": "frame/tape", "effect": {"frame/tape": {"absent": 1}}}, "frame")
    with pytest.raises(Refused, match="counted or reported already"):
        job.extend("cell")


def test_a_unit_that_is_scrapped_cannot_be_left_out() -> None:
    job = Job(EXAMPLE, ["cell", "display"])
    job.forward(3)
    with pytest.raises(Refused, match="out and counted as scrapped"):
        job.extend("display")


def test_a_lost_piece_under_a_step_that_comes_down_again_is_refused() -> None:
    job = Job(EXAMPLE, ["cell"])
    job.forward(3)
    job.say("lost", {"item": "back/screw", "effect": {"back/screw": {"lost": 1}}}, "back")
    items = dict(job.state.items)
    assert items["back/screw"].lost == 1
    job.forward(1)
    job.say("tick", {"side": "up", "effect": {}}, "cell")
    job.say("tick", {"side": "up", "effect": {}}, "back")
    with pytest.raises(Refused, match="reported lost"):
        job.extend("cell", "display")


def test_tray_pockets_in_use_never_change_their_number() -> None:
    example = sheet(
        [
            step("a", releases=[fixing("first", 1)]),
            step("b", "a", releases=[fixing("second", 1)], frees="left"),
            step("c", "a", releases=[fixing("third", 1)], frees="right"),
        ],
        [unit("left"), unit("right")],
    )
    job = Job(example, ["left", "right"])
    job.forward(1)
    outcome = bench.tick_down(example, job.items, job.state, "c")
    job.say("tick", {"side": "down", "effect": outcome.effect}, "c")
    with pytest.raises(Refused, match="tray pocket"):
        job.extend("right")


@given(st.data())
def test_whatever_is_added_when_ever_the_count_balances_and_the_kit_is_just_used_up(data: st.DataObject) -> None:
    example, targets = data.draw(sheets_and_targets())
    # What comes off goes back on: a sheet without that is refused when it is imported.
    whole = [
        one if one.refit else one.model_copy(update={"refit": Refit(title="Close", do="Put it back.", time_s=10)})
        for one in example.steps
    ]
    example = example.model_copy(update={"steps": tuple(whole)})
    freed = [one.frees for one in example.steps if one.frees]
    job = Job(example, list(targets))
    for _ in range(data.draw(st.integers(1, 3))):
        job.forward(data.draw(st.integers(0, 2 * len(example.steps) + 1)))
        wanted = {*job.state.targets, *data.draw(st.sets(st.sampled_from(freed)))}
        before = job.state
        found = job.extend(*wanted)
        kept = [name for name in before.down if name not in found.plan.again]
        assert list(job.state.down) == kept
        for key, number in before.items.items():
            if key.partition("/")[0] not in found.plan.again:
                assert job.state.items[key] == number
        assert set(job.state.items) == set(job.items)
        assert BenchState.from_json(job.state.to_json()) == job.state
    job.finish()
