"""Answers to what was read from words: put into the document, or kept as open questions."""

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from app.rules.narrated_answers import (
    answer_kind,
    answered,
    as_asked,
    field_name,
    fixing_of,
    of_the_heading,
    with_clips,
)
from app.rules.narration import SheetDraft, draft_from, read_source, to_sheet_draft
from app.rules.narration.shapes import Words
from app.rules.narration.sheet_draft import Open

TALK = (
    b"Undo some screws around the rim with a T5. Peel off the seal and throw it away, it must be renewed. "
    b"Lift out the main board."
)


def _read() -> SheetDraft:
    return to_sheet_draft(draft_from(read_source("talk.txt", TALK)), code="radio", title="Radio")


def _named(ending: str) -> str:
    return next(field_name(q) for q in _read().questions if field_name(q).endswith(ending) and answer_kind(q))


def _fixings(document: dict[str, Any]) -> list[dict[str, Any]]:
    return [fixing for step in document["steps"] for fixing in step.get("releases", ())]


def test_an_answer_goes_to_its_place_and_its_question_is_gone() -> None:
    drafted = _read()
    given_ = {_named("-count"): "6", _named("releases-0-part"): "tr-300", "a-units-0-part": "TR-100"}
    found = answered(drafted.document, drafted.questions, given_)
    assert not found.errors
    assert [f.get("count") for f in _fixings(found.document)] == [6, 1]
    assert _fixings(found.document)[1]["part"] == "TR-300"
    assert found.document["units"][0]["part"] == "TR-100"
    assert len(found.questions) == len(drafted.questions) - 3
    assert "count" not in _fixings(drafted.document)[0], "the document that was read is not changed"


def test_what_is_left_empty_stays_open_and_what_is_wrong_is_told_and_changes_nothing() -> None:
    drafted = _read()
    wrong = {_named("-count"): "0", _named("releases-0-part"): "no such!", "a-units-0-part": "  "}
    found = answered(drafted.document, drafted.questions, wrong)
    assert found.document == drafted.document
    assert found.questions == drafted.questions
    assert set(found.errors) == {_named("-count"), _named("releases-0-part")}


def test_kind_and_reuse_take_only_known_words() -> None:
    document: dict[str, Any] = {"steps": [{"releases": [{"kind": "screw"}]}], "units": []}
    kind = Open(("steps", 0, "releases", 0, "kind"), None, "What is it?")
    reuse = Open(("steps", 0, "releases", 0, "reuse"), None, "Does it go back?")
    found = answered(document, [kind, reuse], {field_name(kind): "clip", field_name(reuse): "sometimes"})
    assert found.document["steps"][0]["releases"] == [{"kind": "clip"}]
    assert found.questions == (reuse,)
    assert "offered" in found.errors[field_name(reuse)]


@given(st.text(max_size=40))
def test_any_answer_is_taken_told_or_left_open(text: str) -> None:
    drafted = _read()
    name = _named("-count")
    found = answered(drafted.document, drafted.questions, {name: text})
    count = _fixings(found.document)[0].get("count")
    if text.strip() and not found.errors:
        assert count is not None
        assert 1 <= count <= 200
    else:
        assert count is None
        assert found.questions == drafted.questions


def test_questions_are_told_apart_by_what_they_are_about() -> None:
    assert fixing_of(Open(("steps", 2, "releases", 1, "count"), None, "")) == (2, 1)
    assert fixing_of(Open(("steps", 2, "time_s"), None, "")) is None
    assert answer_kind(Open(("steps", 2, "time_s"), None, "")) is None
    assert answer_kind(Open(("units", 0, "part"), None, "")) == "part"
    assert of_the_heading(Open(("device_model", "kind"), None, ""))
    assert not of_the_heading(Open(("units",), None, ""))


def test_a_question_keeps_its_words_and_their_time() -> None:
    words = Words("some\n screws", 5, 17, 62.04, 63.96)
    kept = as_asked(Open(("steps", 0, "releases", 0, "count"), words, "How many screws?"))
    assert kept == {
        "path": ["steps", 0, "releases", 0, "count"], "question": "How many screws?", "words": "some screws",
        "from_s": "62.0", "until_s": "64.0",
    }  # fmt: skip
    assert as_asked(Open(("summary",), None, "What is it like?"))["words"] == ""


def test_clips_are_the_fragments_of_their_steps() -> None:
    document: dict[str, Any] = {"steps": [{"id": "a"}, {"id": "b"}, {"id": "c"}]}
    found = with_clips(document, ["#t=12.5,31", None, "#t=0,1200"], "f" * 64)
    assert found["steps"][0]["clip"] == {"video": "f" * 64, "from_s": "12.5", "to_s": "31"}
    assert "clip" not in found["steps"][1]
    assert found["steps"][2]["clip"]["to_s"] == "1200"
    assert "clip" not in document["steps"][0]
