"""A new plan in mid-work to the second and to the piece: presses, cures, what is done twice, and every word of it."""

import pytest

from app.rules.replanning import replan
from tests.rules.sheets import fixing, sheet, step, unit
from tests.rules.test_replanning import EXAMPLE, counts, state_of

DEVICE = sheet(
    [
        step("lid", time_s=100, releases=[fixing("tape", 3, reuse="single-use", part="TAPE")],
             refit={"time_s": 50, "press_s": 30, "cure_s": 700}),
        step("cell", "lid", time_s=40, frees="cell", refit={"time_s": 20}),
        step("lens", "lid", time_s=61, frees="lens", refit={"time_s": 8, "press_s": 12, "cure_s": 90}),
        step("rim", "lens", time_s=5, frees="rim", refit=False),
        step("whole", "lid", time_s=120, frees="whole", refit=False),
    ],
    [unit("cell"), unit("lens"), unit("rim"), unit("whole")],
)  # fmt: skip


def test_hands_and_cures_of_what_is_added_less_what_is_dropped() -> None:
    # Instead of the cell (40 + 20 s) the lens: 61 down, 8 up and 12 of pressing; its cure of 90 s is waiting.
    found = replan(DEVICE, state_of(DEVICE, ["cell"], down=1), ["lens"])
    assert (found.added, found.dropped) == (("lens",), ("cell",))
    assert (found.added_s, found.added_wait_s) == (61 + 8 + 12 - 40 - 20, 90)
    turned_round = replan(DEVICE, state_of(DEVICE, ["lens"], down=1), ["cell"])
    assert (turned_round.added_s, turned_round.added_wait_s) == (-found.added_s, -90)
    # A step without a way back adds its teardown alone.
    assert replan(DEVICE, state_of(DEVICE, ["lens"], down=1), ["rim"]).added_s == 5


def test_what_comes_down_again_counts_and_takes_its_single_use_parts_twice() -> None:
    found = replan(DEVICE, state_of(DEVICE, ["cell"], down=2, up=2), ["cell", "lens"])
    assert found.again == ("lid",)
    assert found.added_s == (100 + 50 + 30) + (61 + 8 + 12)
    assert found.added_wait_s == 700 + 90
    assert counts(found.kit) == {"TAPE": 6, "CELL": 1, "LENS": 1}
    assert counts(found.added_kit) == {"TAPE": 3, "LENS": 1}


def test_a_seal_that_was_broken_in_vain_is_still_needed_to_close_it() -> None:
    # The flap with its seal came off for the cell. The lens does not need that, and yet it must go back sealed.
    flap = sheet(
        [
            step("flap", releases=[fixing("seal", 2, reuse="single-use", part="SEAL")], frees="cell"),
            step("lens", frees="lens"),
        ],
        [unit("cell"), unit("lens")],
    )
    found = replan(flap, state_of(flap, ["cell"], down=1), ["lens"])
    assert counts(found.kit) == {"SEAL": 2, "LENS": 1}
    assert counts(found.added_kit) == {"LENS": 1}
    assert counts(found.dropped_kit) == {"CELL": 1}
    assert found.only_back == ("flap",)


def test_an_exchanged_unit_that_must_come_out_once_more_is_not_bought_again() -> None:
    # The new cell is in and everything is closed; now the board beneath it is wanted too.
    found = replan(EXAMPLE, state_of(EXAMPLE, ["cell"], down=3, up=2), ["cell", "board"])
    assert found.again == ("back", "cell")
    assert counts(found.kit)["CELL"] == 1
    assert "CELL" not in counts(found.added_kit)


def test_a_unit_that_is_taken_out_in_vain_is_not_bought_and_what_it_broke_is() -> None:
    # Lid and cell are down for the cell; now the lens alone is wanted: the tape of the lid is still needed.
    found = replan(DEVICE, state_of(DEVICE, ["cell"], down=2), ["lens"])
    assert counts(found.kit) == {"TAPE": 3, "LENS": 1}
    assert counts(found.dropped_kit) == {"CELL": 1}
    assert found.only_back == ("cell",)


@pytest.mark.parametrize(
    ("before", "down", "up", "after", "words"),
    [
        (["cell"], 1, 0, ["lens"],
         "1 step more to take down. 1 step not needed any more. 1 piece more from the shelf. "
         "Standard time: 1 min more."),
        (["lens"], 1, 0, ["cell"],
         "1 step more to take down. 1 step not needed any more. 1 piece more from the shelf. "
         "Standard time: 1 min less."),
        (["cell"], 2, 0, ["lens"],
         "1 step more to take down. 1 step down and needed by no unit now; the refit closes what is open. "
         "1 piece more from the shelf. Standard time: 2 min more."),
        (["cell", "whole"], 1, 0, ["cell"], "1 step not needed any more. Standard time: 2 min less."),
        (["cell", "rim"], 1, 0, ["cell"], "2 steps not needed any more. Standard time: 2 min less."),
        (["cell"], 2, 2, ["cell", "rim"],
         "2 steps more to take down. 1 step that is back already must come down once more. "
         "4 pieces more from the shelf. Standard time: 5 min more."),
    ],
)  # fmt: skip
def test_what_changes_is_said_in_words(before: list[str], down: int, up: int, after: list[str], words: str) -> None:
    assert replan(DEVICE, state_of(DEVICE, before, down=down, up=up), after).words == words


def test_several_steps_that_come_down_again_are_told_as_several() -> None:
    deep = sheet(
        [step("a", refit={}), step("b", "a", refit={}), step("c", "b", frees="cell"), step("d", "b", frees="lens")],
        [unit("cell"), unit("lens")],
    )
    found = replan(deep, state_of(deep, ["cell"], down=3, up=3), ["cell", "lens"])
    assert found.again == ("a", "b")
    assert "2 steps that are back already must come down once more." in found.words


def test_the_step_that_frees_a_unit_is_the_first_of_several() -> None:
    assert replan(EXAMPLE, state_of(EXAMPLE, ["cell"], down=3, up=1), ["cell"]).to_do == ()
