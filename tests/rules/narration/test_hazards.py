"""A caution becomes a hazard in the narrator's own words; what they do not say is asked."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.narration import to_sheet_draft
from app.rules.narration.hazards import DraftHazard, hazard_of
from app.rules.narration.shapes import DraftNote, Words
from app.rules.narration.wordlist import words
from app.rules.sheet import Signal, Symbol
from tests.rules.narration.reading import drafted


def read(text: str, around: str = "") -> DraftHazard:
    return hazard_of(DraftNote(text, Words(text, 0, len(text))), around)


@pytest.mark.parametrize(
    ("text", "signal"),
    [
        ("Danger: the mains lead is live.", Signal.DANGER),
        ("WARNING! Hot glass.", Signal.WARNING),
        ("Caution: sharp edges.", Signal.CAUTION),
        ("Notice: the label tears.", Signal.NOTICE),
        ("caution these screws strip easily", Signal.CAUTION),
    ],
)
def test_a_signal_word_that_is_said_is_kept(text: str, signal: Signal) -> None:
    found = read(text)
    assert (found.signal, found.said) == (signal, True)
    assert "signal" not in dict(found.questions)


@pytest.mark.parametrize(
    ("text", "signal"),
    [
        ("Mind your fingers.", Signal.CAUTION),
        ("Careful, that edge is sharp.", Signal.CAUTION),
        ("Never lever the cell with metal.", Signal.CAUTION),
        ("Don't squeeze the battery.", Signal.CAUTION),
        ("Do not pull on the wires.", Signal.NOTICE),
        ("Take care not to scratch the lens.", Signal.NOTICE),
        ("Mind the camera.", Signal.NOTICE),
    ],
)
def test_without_one_caution_is_proposed_for_people_and_notice_for_things(text: str, signal: Signal) -> None:
    """ANSI Z535.6 keeps NOTICE for what is not related to injury (from memory)."""
    found = read(text)
    assert (found.signal, found.said) == (signal, False)
    assert f"{signal.value} is proposed" in dict(found.questions)["signal"]


def test_what_it_is_follows_from_the_step() -> None:
    assert read("Never lever it with metal.", "Lift the cell out.").signal is Signal.CAUTION
    assert read("Never lever it with metal.", "Lift the fan out.").signal is Signal.NOTICE


@pytest.mark.parametrize(
    ("text", "hazard", "consequence", "avoidance"),
    [
        ("Careful, that edge is sharp, you can cut yourself.", "That edge is sharp.", "You can cut yourself.", ""),
        ("Don't pull the flex or it will tear.", "", "It will tear.", "Don't pull the flex."),
        ("Watch out for the two wires, they snap really easily.", "The two wires.", "They snap really easily.",
         "Watch out for the two wires."),
        ("WARNING: hot glass. It can burn you. Wear gloves.", "Hot glass.", "It can burn you.", "Wear gloves."),
        ("Please go slowly, because inside is a cable.", "Inside is a cable.", "", "Go slowly."),
        ("be careful with these they tear really easily", "", "They tear really easily.", "Be careful with these."),
        ("Attention: the middle screw is longer.", "The middle screw is longer.", "", ""),
    ],
)  # fmt: skip
def test_hazard_consequence_and_avoidance_are_taken_as_far_as_the_words_give_them(
    text: str, hazard: str, consequence: str, avoidance: str
) -> None:
    found = read(text)
    assert (found.hazard, found.consequence, found.avoidance) == (hazard, consequence, avoidance)


def test_what_is_not_said_is_asked_and_not_made_up() -> None:
    asked = dict(read("Caution: sharp edges.").questions)
    assert set(asked) == {"consequence", "avoidance"}
    assert read("Caution: sharp edges.").symbol is Symbol.SHARP


_SAID = [
    *sorted(words("careful don't the cell edge it they can tear cut you or because sharp warning pull not bend hot")),
    ",", ".", ":",
]  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(
    st.lists(
        st.sampled_from(_SAID),
        min_size=1,
        max_size=20,
    ).map(" ".join)
)
def test_nothing_is_in_a_hazard_that_was_not_said(text: str) -> None:
    found = read(text)
    said = text.replace(".", " ").replace(",", " ").casefold().split()
    for part in (found.hazard, found.consequence, found.avoidance):
        for word in part.replace(".", " ").replace(",", " ").casefold().split():
            assert word in said
    keys = {key for key, _question in found.questions}
    assert {key for key in ("hazard", "consequence", "avoidance") if not getattr(found, key)} == keys - {"signal"}


def test_the_document_has_the_hazard_with_its_questions_and_their_words() -> None:
    made = to_sheet_draft(
        drafted("Unplug the flex. Don't pull on it or it will tear. Lift out the board."), code="a", title="A"
    )
    assert made.document["steps"][0]["hazards"] == [
        {"signal": "NOTICE", "consequence": "It will tear.", "avoidance": "Don't pull on it."}
    ]
    asked = {q.path: q for q in made.questions if "hazards" in q.path}
    assert set(asked) == {("steps", 0, "hazards", 0, "signal"), ("steps", 0, "hazards", 0, "hazard")}
    said = asked["steps", 0, "hazards", 0, "hazard"].words
    assert said is not None
    assert said.text == "Don't pull on it or it will tear."
