"""What is told of the way back is drafted with the step it answers; what is not told is proposed and asked."""

from decimal import Decimal
from typing import Any

import pytest

from app.rules.narration import SheetDraft, read_source, to_sheet_draft
from app.rules.narration.measures import duration_at, torque_at
from app.rules.narration.refits import tenth
from app.rules.narration.tokens import tokens_of
from tests.rules.narration.reading import drafted

DOWN = "Undo the four screws in the lid. Lift off the lid. Peel off the seal. Lift out the board. "


def made(text: str) -> SheetDraft:
    return to_sheet_draft(drafted(text), code="a", title="A")


def refits(text: str) -> list[dict[str, Any]]:
    return [step.get("refit", {}) for step in made(text).document["steps"]]


def asked(draft: SheetDraft, *path: str | int) -> str:
    return next(q.question for q in draft.questions if q.path == path)


def test_new_torque_and_cure_land_on_the_steps_that_they_answer() -> None:
    told = "When you put it back, fit a new seal, torque the screws to 12 newton centimetres, let it cure for 20 min."
    draft = made(DOWN + told)
    screws, lid, seal, board = draft.document["steps"]
    assert screws["releases"][0]["torque"] == {"value_ncm": "12", "source": "Told in words.txt"}
    assert screws["refit"]["do"] == "Torque the screws to 12 newton centimetres."
    assert seal["releases"][0]["reuse"] == "single-use"
    assert seal["refit"]["do"] == "Fit a new seal. Let it cure for 20 min."
    assert seal["refit"]["cure_s"] == 1200
    assert lid["refit"]["do"] == "Put the lid back on."
    assert board["refit"]["title"] == "Refit the board"
    assert "12 N·cm was told" in asked(draft, "steps", 0, "releases", 0, "torque")
    assert "is taken for this step" in asked(draft, "steps", 2, "refit", "cure_s")
    assert [step["title"] for step in draft.document["steps"]] == [
        "Undo the four screws in the lid", "Lift off the lid", "Peel off the seal", "Lift out the board",
    ]  # fmt: skip


def test_where_nothing_is_told_the_way_back_is_mirrored_and_asked() -> None:
    draft = made("Undo the four screws and lift off the lid. Release three clips and lift out the board.")
    first, second = draft.document["steps"]
    assert first["refit"]["do"] == "Put the lid back on. Drive in the 4 screws."
    assert second["refit"]["do"] == "Put the board back in. Press the 3 clips home."
    assert asked(draft, "steps", 0, "refit", "do").startswith("No refit was told for this step.")
    assert "press_s" not in first["refit"]
    assert "torque" not in first["releases"][0]


def test_a_remark_in_the_midst_belongs_to_its_step_and_the_strip_down_goes_on() -> None:
    draft = made(
        "undo the four screws and lift the lid off now peel off the foam seal when it goes back use a new one and "
        "press it down for thirty seconds then take out the battery"
    )
    steps = draft.document["steps"]
    assert len(steps) == 3
    assert steps[1]["refit"]["press_s"] == 30
    assert steps[1]["releases"][0]["reuse"] == "single-use"
    assert "Use a new one. Press it down for thirty seconds." in steps[1]["refit"]["do"]


def test_a_section_on_the_refit_makes_no_steps() -> None:
    draft = made(
        DOWN + "Refitting: Lay the board in. Stick down a new seal and hold it for 30 s. Slide the lid back on, then "
        "tighten the four screws to 8,5 Ncm."
    )
    assert len(draft.document["steps"]) == 4
    assert draft.document["steps"][0]["releases"][0]["torque"]["value_ncm"] == "8.5"
    assert draft.document["steps"][2]["refit"]["press_s"] == 30
    assert draft.document["steps"][3]["refit"]["do"] == "Lay the board in."


def test_words_that_fit_several_steps_are_asked_about() -> None:
    draft = made(
        "Undo the two screws and lift off the lid. Undo the three screws and lift out the board. "
        "On refitting, tighten the screws to 9 Ncm."
    )
    assert all("torque" not in f for step in draft.document["steps"] for f in step["releases"])
    assert "Which step does it belong to?" in asked(draft, "steps")


def test_screws_are_told_apart_by_what_they_hold() -> None:
    draft = made(
        "Undo the two screws of the fan and lift out the fan. Undo the two screws of the lamp and lift out the lamp. "
        "On refitting, tighten the lamp screws to 9 Ncm."
    )
    fan, lamp = draft.document["steps"]
    assert "torque" not in fan["releases"][0]
    assert lamp["releases"][0]["torque"]["value_ncm"] == "9"


def test_a_thing_taken_new_beside_the_fixings_asks_for_its_part() -> None:
    draft = made("Undo the two screws. Lift out the board. On refitting, lay the board in and apply new thermal paste.")
    assert draft.document["steps"][1]["refit"]["fits"] == [{"name": "thermal paste", "count": 1}]
    assert "part number" in asked(draft, "steps", 1, "refit", "fits", 0, "part")


def measured(text: str) -> list[Any]:
    tokens = tokens_of(read_source("a.txt", f"to {text}".encode()))
    found = [torque_at(tokens, k) or duration_at(tokens, k) for k in range(len(tokens))]
    return [next(value[0] for value in found if value)] if any(found) else []


@pytest.mark.parametrize(
    ("said", "value"),
    [
        ("12 newton centimetres", Decimal(12)), ("12 Ncm", Decimal(12)), ("12Ncm", Decimal(12)),
        ("0.12 N·m", Decimal(12)), ("8,5 N cm", Decimal("8.5")), ("twelve newton centimeters", Decimal(12)),
        ("point one two newton metres", Decimal(12)), ("one point two newton metres", Decimal(120)),
        ("zero point five nm", Decimal(50)), ("1 lbf·in", Decimal("11.3")), ("1 kgf·cm", Decimal("9.8")),
    ],
)  # fmt: skip
def test_a_torque_is_read_in_its_unit(said: str, value: Decimal) -> None:
    """1 N·m = 8.850746 lbf·in = 10.197162 kgf·cm (outside figures of the project's list of checks)."""
    (found,) = measured(said)
    assert tenth(found) == value


@pytest.mark.parametrize(
    ("said", "value"),
    [
        ("20 minutes", 1200), ("thirty seconds", 30), ("half an hour", 1800), ("an hour", 3600), ("90s", 90),
        ("2 hours", 7200), ("a minute", 60), ("1.5 minutes", 90),
    ],
)  # fmt: skip
def test_a_time_is_read_in_seconds(said: str, value: int) -> None:
    assert measured(said) == [value]


@pytest.mark.parametrize("said", ["the screws", "5 mm", "hand tight", "70 degrees", "point of no return", "nm"])
def test_what_is_no_measure_is_none(said: str) -> None:
    assert measured(said) == []
