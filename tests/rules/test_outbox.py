"""What becomes of a refused entry from a tablet: also reported where it only repeats, otherwise a question."""

import pytest

from app.rules.counting import BenchState, Event, apply
from app.rules.outbox import earlier_pass, judge, place_repeats, tapped_words
from app.rules.taps import Taps
from tests.jobs.bench_shop import START
from tests.jobs.sheets import placed

TORN = BenchState(down=("warm", "back"), teardown=("warm", "back", "cell"), at_bench=1)


@pytest.mark.parametrize(
    ("kind", "side", "step", "who", "kept"),
    [
        ("tick", "down", "back", 1, "also"),
        ("tick", "down", "cell", 1, "question"),
        ("tick", "up", "back", 1, "question"),
        ("tick", "down", "back", 2, "also"),
        ("turn", "", "", 1, "question"),
        ("pause", "", "", 1, "question"),
        ("pause", "", "", 2, "also"),
        ("open", "", "", 2, "question"),
        ("report", "", "", 1, "question"),
    ],
)
def test_what_is_so_already_is_also_reported_and_all_else_is_a_question(
    kind: str, side: str, step: str, who: int, kept: str
) -> None:
    found = judge(TORN, kind, side, step, who, "The reason.")
    assert found.kind == kept
    assert found.words == "The reason." if kept == "question" else "Kept as also reported." in found.words


def test_a_place_repeats_when_it_or_its_step_is_counted_so() -> None:
    state = BenchState(down=("warm",), places={"back/screws": Taps(out={2: "e"})})
    assert place_repeats(state, "down", "back/screws", 2, on=True)
    assert not place_repeats(state, "down", "back/screws", 3, on=True)
    assert place_repeats(state, "down", "back/screws", 3, on=False)
    assert place_repeats(state, "down", "warm/edge", 1, on=True)


def test_only_a_tick_from_before_the_present_plan_belongs_to_an_earlier_pass() -> None:
    assert earlier_pass(BenchState(pass_no=2), "tick", before_plan=True)
    assert not earlier_pass(BenchState(pass_no=2), "tick", before_plan=False)
    assert not earlier_pass(BenchState(pass_no=2), "pause", before_plan=True)
    assert not earlier_pass(BenchState(pass_no=1), "tick", before_plan=True)


def test_questions_are_open_from_their_entry_to_the_one_that_answers_them() -> None:
    asked = apply(TORN, Event("q", "question", 1, START, "cell", {"of": "tick"}))
    assert asked.questions == ("q",)
    assert BenchState.from_json(asked.to_json()) == asked
    assert apply(asked, Event("a", "set aside", 1, START, None, {"answers": "q"})).questions == ()
    ticked = apply(asked, Event("t", "tick", 1, START, "cell", {"side": "down", "answers": "q"}))
    assert (ticked.questions, ticked.down) == ((), ("warm", "back", "cell"))


def test_an_older_projection_without_questions_is_read() -> None:
    data = TORN.to_json()
    del data["questions"]
    assert BenchState.from_json(data) == TORN


def test_what_was_tapped_is_told_even_when_the_sheet_does_not_know_it() -> None:
    sheet = placed()
    assert tapped_words("tick", "down", "gone", {}, sheet) == "Teardown tick of “gone”"
    assert tapped_words("place", "up", "back", {"item": "back/screws", "place": 2}, sheet).startswith("Place 2 of ")
    assert tapped_words("dance", "", "", {}, sheet) == "Dance"
