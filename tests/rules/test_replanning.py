"""Plans in mid-work: worked by hand, and properties over random procedures and any place to stop at."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.counting import BenchState
from app.rules.plan_reasons import left_closed, reasons
from app.rules.planning import make_plan
from app.rules.replanning import replan
from app.rules.sheet import Sheet, WasteStream
from app.rules.verdict import Refused
from tests.rules.sheets import fixing, sheet, step, unit
from tests.rules.test_planning import sheets_and_targets

SEAL = fixing("seal", reuse="single-use", part="SEAL")
EXAMPLE = sheet(
    [
        step("off", refit=False),
        step("back", "off", time_s=60, releases=[SEAL], refit={"cure_s": 900}),
        step("cell", "back", time_s=30, frees="cell"),
        step("frame", "back", releases=[fixing("tape", 2, reuse="single-use", part="TAPE")], frees="display"),
        step("board", "cell", frees="board", refit={"fits": [{"part": "PAD", "name": "Pad", "count": 1}]}),
    ],
    [unit("cell"), unit("display"), unit("board")],
)  # fmt: skip


def state_of(example: Sheet, targets: list[str], down: int, up: int = 0, **more: bool) -> BenchState:
    """Return a job's state after so many ticks down and up."""
    plan = make_plan(example, targets)
    return BenchState(
        targets=plan.targets,
        teardown=plan.teardown,
        refit=plan.refit,
        down=plan.teardown[:down],
        up=plan.refit[:up],
        turned=up > 0 or bool(more.get("turned")),
        counted=bool(more.get("counted")),
    )


def counts(lines: object) -> dict[str, int]:
    return {line.part: line.count for line in lines}  # type: ignore[attr-defined]


def test_a_late_addition_keeps_what_is_down_and_shows_what_it_adds() -> None:
    found = replan(EXAMPLE, state_of(EXAMPLE, ["cell"], down=2), ["cell", "display"])
    assert found.kept == ("off", "back")
    assert found.to_do == ("cell", "frame")
    assert (found.added, found.again, found.dropped) == (("frame",), (), ())
    assert counts(found.added_kit) == {"TAPE": 2, "DISPLAY": 1}
    assert found.dropped_kit == ()
    assert (found.added_s, found.added_wait_s) == (20, 0)
    assert found.added_scrap == {WasteStream.RESIDUAL: 2, WasteStream.ELECTRONIC: 1}
    assert found.words == "1 step more to take down. 3 pieces more from the shelf. Standard time: 1 min more."
    assert counts(found.kit) == {"SEAL": 1, "CELL": 1, "TAPE": 2, "DISPLAY": 1}


def test_a_changed_mind_leaves_open_steps_to_the_refit_and_their_seals_in_the_kit() -> None:
    # The board was to come out; the cell is down for it. Only the display is wanted now.
    found = replan(EXAMPLE, state_of(EXAMPLE, ["board"], down=3), ["display"])
    assert found.kept == ("off", "back", "cell")
    assert (found.to_do, found.dropped, found.only_back) == (("frame",), ("board",), ("cell",))
    assert found.refit == ("frame", "cell", "back")
    assert counts(found.kit) == {"SEAL": 1, "TAPE": 2, "DISPLAY": 1}
    assert counts(found.dropped_kit) == {"BOARD": 1, "PAD": 1}


def test_a_unit_that_is_in_the_way_becomes_a_target_without_more_steps() -> None:
    found = replan(EXAMPLE, state_of(EXAMPLE, ["board"], down=4), ["board", "cell"])
    assert (found.to_do, found.added) == ((), ())
    assert counts(found.added_kit) == {"CELL": 1}
    assert found.added_s == 0


def test_after_the_back_is_on_it_comes_down_again_and_takes_a_second_seal() -> None:
    found = replan(EXAMPLE, state_of(EXAMPLE, ["cell"], down=3, up=2), ["cell", "display"])
    assert found.kept == ("off",)
    assert found.to_do == ("back", "frame")
    assert (found.again, found.added) == (("back",), ("frame",))
    assert counts(found.added_kit) == {"SEAL": 1, "TAPE": 2, "DISPLAY": 1}
    assert counts(found.kit)["SEAL"] == 2
    assert (found.added_s, found.added_wait_s) == (60 + 10 + 20, 900)
    assert "1 step that is back already must come down once more." in found.words


def test_the_exchanged_unit_stays_in_when_the_rest_is_opened_again() -> None:
    found = replan(EXAMPLE, state_of(EXAMPLE, ["cell"], down=3, up=1), ["cell", "display"])
    assert found.kept == ("off", "back")
    assert found.to_do == ("frame",)
    assert "CELL" not in counts(found.added_kit)


def test_what_covers_it_already_adds_nothing() -> None:
    found = replan(EXAMPLE, state_of(EXAMPLE, ["cell"], down=1), ["cell"])
    assert (found.added_s, found.added_kit, found.words) == (0, (), "Nothing is added: what is planned covers it.")


def test_it_refuses_to_forget_an_exchange_and_to_plan_behind_a_signed_count() -> None:
    with pytest.raises(Refused, match="exchanged already"):
        replan(EXAMPLE, state_of(EXAMPLE, ["cell"], down=3, up=1), ["display"])
    with pytest.raises(Refused, match="new pass"):
        replan(EXAMPLE, state_of(EXAMPLE, ["cell"], down=3, up=2, counted=True), ["cell"])
    with pytest.raises(Refused, match="no plan yet"):
        replan(EXAMPLE, BenchState(), ["cell"])


def test_each_step_says_why_it_is_in() -> None:
    plan = make_plan(EXAMPLE, ["board", "display"])
    words = {one.step: one.words for one in reasons(EXAMPLE, plan)}
    assert words == {
        "off": "Needed to reach Unit display and Unit board.",
        "back": "Needed to reach Unit display and Unit board.",
        "cell": "Unit cell is in the way and goes back. Needed to reach Unit board.",
        "frame": "Frees what is exchanged: Unit display.",
        "board": "Frees what is exchanged: Unit board.",
    }
    assert next(one for one in reasons(EXAMPLE, plan) if one.step == "back").before == ("cell", "frame")


def test_what_is_left_closed_is_named() -> None:
    found = left_closed(EXAMPLE, make_plan(EXAMPLE, ["cell"]))
    assert (found.units, found.steps) == (("display", "board"), ("frame", "board"))
    assert found.words == "2 steps are left out of 5. Unit display and Unit board stay where they are."
    everything = left_closed(EXAMPLE, make_plan(EXAMPLE, ["board", "display"]))
    assert everything.words == "Every step of the procedure is in the plan."


@given(sheets_and_targets(), st.data())
def test_what_is_down_and_what_comes_down_keeps_precedence_and_the_whole_kit(
    drawn: tuple[Sheet, list[str]], data: st.DataObject
) -> None:
    example, targets = drawn
    all_units = [one.id for one in example.units]
    wanted = data.draw(st.lists(st.sampled_from(all_units), min_size=1, unique=True))
    done = data.draw(st.integers(0, len(make_plan(example, targets).teardown)))
    state = state_of(example, targets, down=done)
    found = replan(example, state, wanted)
    place = {name: n for n, name in enumerate(found.teardown)}
    assert len(place) == len(found.teardown)
    assert found.teardown[:done] == state.down
    assert all(place[before] < place[name] for name in found.teardown for before in example.step(name).after)
    assert set(found.teardown) == set(state.down) | set(make_plan(example, wanted).teardown)
    before, after = counts(make_plan(example, targets).kit), counts(found.kit)
    more, fewer = counts(found.added_kit), counts(found.dropped_kit)
    for part in before.keys() | after.keys():
        assert before.get(part, 0) + more.get(part, 0) - fewer.get(part, 0) == after.get(part, 0)


@given(sheets_and_targets(), st.data())
def test_with_all_old_targets_kept_and_nothing_back_the_kit_is_that_of_a_fresh_plan(
    drawn: tuple[Sheet, list[str]], data: st.DataObject
) -> None:
    example, targets = drawn
    more = data.draw(st.lists(st.sampled_from([one.id for one in example.units]), unique=True))
    done = data.draw(st.integers(0, len(make_plan(example, targets).teardown)))
    found = replan(example, state_of(example, targets, down=done), {*targets, *more})
    fresh = make_plan(example, {*targets, *more})
    assert counts(found.kit) == counts(fresh.kit)
    old = make_plan(example, targets)
    assert found.added_s == fresh.teardown_s + fresh.refit_s - old.teardown_s - old.refit_s
    assert (found.dropped, found.only_back, found.again) == ((), (), ())
