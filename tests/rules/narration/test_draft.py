"""A whole narration: its draft, its document and its questions."""

from typing import Any

import pytest

from app.rules.narration import draft_from, read_source, to_sheet_draft
from app.rules.narration.shapes import Verb
from app.rules.sheet import ReuseClass, Sheet
from app.rules.sheet_check import check_sheet
from app.rules.verdict import Refused
from tests.rules.narration.reading import drafted, only_step

TALK = """The Wigeon lamp, a mast lamp with a sealed head.

Undo the four screws along the rim with a T10 driver. Take care not to scratch the lens ring.

Peel off the seal. Throw it away.

Disconnect the battery. Lift out the battery. Check that it is not swollen.

Undo the screws at the base. Do not remove the earth screw.

Then lift out the lamp module.
"""


def test_a_draft_has_title_text_and_class_for_each_step() -> None:
    steps = drafted(TALK).steps
    assert [step.title for step in steps] == [
        "Undo the four screws along the rim with a T10 driver",
        "Peel off the seal",
        "Disconnect the battery",
        "Lift out the battery",
        "Undo the screws at the base",
        "Lift out the lamp module",
    ]
    assert [step.verb for step in steps] == [
        Verb.UNFASTEN,
        Verb.PEEL,
        Verb.RELEASE,
        Verb.LIFT_OUT,
        Verb.UNFASTEN,
        Verb.LIFT_OUT,
    ]
    assert steps[1].text == "Peel off the seal. Throw it away."
    assert steps[1].fixings[0].scrap_words is not None
    assert steps[1].fixings[0].scrap_words.text == "Throw it away"
    assert [words.text for words in steps[4].kept] == ["Do not remove the earth screw"]


def test_what_stands_before_the_first_step_is_kept() -> None:
    draft = drafted(TALK)
    assert draft.preamble is not None
    assert draft.preamble.text == "The Wigeon lamp, a mast lamp with a sealed head"


def test_each_step_follows_the_one_before_it() -> None:
    assert [step.after for step in drafted(TALK).steps] == [(), (0,), (1,), (2,), (3,), (4,)]


def test_a_step_that_shares_nothing_with_the_one_before_may_be_loosened() -> None:
    first, second = drafted("Unplug the fan connector. Unclip the aerial cable from the mast.").steps
    assert first.loosen is None
    assert second.loosen is not None
    assert "Unplug the fan connector" in second.loosen
    assert drafted("Lift off the lid. Unplug the fan.").steps[1].loosen is None
    assert drafted("Undo the two screws of the fan. Unplug the fan connector.").steps[1].loosen is None


def test_an_empty_narration_has_no_steps_and_says_so() -> None:
    draft = drafted("Nothing is told here.")
    assert draft.steps == ()
    assert draft.warnings[-1].startswith("No step was found.")
    with pytest.raises(Refused, match="No step was found"):
        to_sheet_draft(draft, code="a", title="A")


def test_a_seal_that_is_scrapped_only_when_torn_is_one_to_inspect() -> None:
    (fixing,) = only_step("Peel off the seal. If it is torn, throw it away.").fixings
    assert fixing.reuse is ReuseClass.INSPECT


def test_an_item_that_cannot_be_told_is_asked_for() -> None:
    step = only_step("Undo the four screws. Discard it.")
    assert all(fixing.reuse is None for fixing in step.fixings)
    assert step.question == "“Discard it” was said. Which item is scrapped?"


def at(document: dict[str, Any], path: tuple[str | int, ...]) -> Any:
    found: Any = document
    for key in path:
        found = found[key]
    return found


def test_the_document_has_the_shape_of_a_procedure() -> None:
    made = to_sheet_draft(drafted(TALK), code="wigeon-m1", title="Wigeon lamp, exchange of units", kind="mast lamp")
    document = made.document
    assert document["countback"] == 1
    assert [unit["id"] for unit in document["units"]] == ["battery", "lamp-module"]
    assert document["tools"] == [{"id": "driver-t10", "name": "Driver", "size": "T10"}]
    assert [step["id"] for step in document["steps"]] == [
        "undo-four-screws-along-rim",
        "peel-seal",
        "disconnect-battery",
        "lift-battery",
        "undo-screws-base",
        "lift-lamp-module",
    ]
    first = document["steps"][0]
    assert first["tools"] == ["driver-t10"]
    assert first["releases"] == [
        {
            "id": "screws",
            "kind": "screw",
            "name": "Screws, along the rim",
            "count": 4,
            "reuse": "reusable",
            "waste": "metal",
        }
    ]
    assert document["steps"][1]["releases"][0]["reuse"] == "single-use"
    assert document["steps"][3]["frees"] == "battery"


def test_what_is_missing_is_asked_with_its_path_and_words() -> None:
    made = to_sheet_draft(drafted(TALK), code="wigeon-m1", title="Wigeon lamp, exchange of units")
    asked = {question.path: question for question in made.questions}
    assert asked["steps", 1, "releases", 0, "part"].question == "What is the part number of the new seal?"
    assert asked["steps", 4, "releases", 0, "count"].question == "How many screws?"
    words = asked["steps", 4, "releases", 0, "count"].words
    assert words is not None
    assert words.text == "the screws"
    assert asked["steps", 4, "tools"].question == "Which driver do these screws take?"
    assert ("units", 0, "part") in asked
    assert ("device_model", "kind") in asked
    assert "count" not in made.document["steps"][4]["releases"][0]


def test_a_document_with_all_questions_answered_is_a_sound_procedure() -> None:
    made = to_sheet_draft(
        drafted(TALK), code="wigeon-m1", title="Wigeon lamp", model="Wigeon", kind="mast lamp", written_by="Workshop"
    )
    document = made.document
    answers: dict[str, Any] = {
        "count": 2,
        "part": "WG-100",
        "time_s": 30,
        "on_reject": {"say": "Hold it.", "hold": True},
        "hazard": "A scratched lens ring.",
        "consequence": "The head leaks.",
        "avoidance": "Hold the driver upright.",
    }
    for question in made.questions:
        *above, key = question.path
        if isinstance(key, str) and key in answers:
            at(document, tuple(above)).setdefault(key, answers[key])
    for step in document["steps"]:
        if "refit" in step:
            step["refit"]["time_s"] = 30
    sheet = Sheet.model_validate(document)
    assert [finding.message for finding in check_sheet(sheet, None)] == []


@pytest.mark.parametrize(
    ("code", "title"), [("Bad Code", "A"), ("", "A"), ("a" * 49, "A"), ("a", ""), ("a", "A" * 121)]
)
def test_a_code_or_title_that_no_procedure_can_have_is_refused(code: str, title: str) -> None:
    with pytest.raises(Refused) as refusal:
        to_sheet_draft(drafted(TALK), code=code, title=title)
    assert refusal.value.field in {"code", "title"}


def test_equal_steps_get_ids_of_their_own() -> None:
    document = to_sheet_draft(
        drafted("Unplug the fan. Lift off the lid. Unplug the fan."), code="a", title="A"
    ).document
    ids = [step["id"] for step in document["steps"]]
    assert len(set(ids)) == len(ids) == 3


def test_a_step_of_a_recording_has_its_own_clip() -> None:
    body = b"1\n00:00:12,500 --> 00:00:31,000\nundo the four screws\n\n"
    body += b"2\n01:00:00,000 --> 01:00:02,000\nthen lift off the lid\n"
    steps = draft_from(read_source("a.srt", body)).steps
    assert [step.clip for step in steps] == ["#t=12.5,31", "#t=3600,3602"]
    assert steps[0].fixings[0].words.from_s == pytest.approx(12.5 + 18.5 * 5 / 20)
