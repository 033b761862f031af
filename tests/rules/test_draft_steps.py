"""Steps of a draft: whatever is done to them, no order is turned round and no fixing is lost."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.draft_documents import free_id, rows, settle_ids, slug, words
from app.rules.draft_flow import DraftStanding, check_sending, may_check
from app.rules.draft_questions import bound, followed, loosened, still_open
from app.rules.draft_steps import (
    Split,
    add_step,
    chain_steps,
    loosen,
    merge_steps,
    move_step,
    remove_step,
    split_step,
)
from app.rules.precedence import ancestors_in, cycles
from app.rules.sheet_difference import difference
from app.rules.verdict import Refused


@st.composite
def documents(draw: st.DrawFn) -> dict[str, Any]:
    """A draft of up to nine steps in some order that is possible, with fixings."""
    count = draw(st.integers(2, 9))
    steps = []
    for n in range(count):
        after = draw(st.lists(st.sampled_from([f"s{m}" for m in range(n)]), unique=True, max_size=3)) if n else []
        fixings = [
            {"id": f"f{k}", "kind": "screw", "name": f"Screw {k}", "count": k + 1, "reuse": "reusable"}
            for k in range(draw(st.integers(0, 2)))
        ]
        step: dict[str, Any] = {"id": f"s{n}", "title": f"Step {n}", "do": "Do it.", "time_s": n + 3}
        steps.append(step | ({"after": after} if after else {}) | ({"releases": fixings} if fixings else {}))
    return {"steps": draw(st.permutations(steps))}


def before(document: dict[str, Any]) -> dict[str, list[str]]:
    """What each step waits for."""
    return {step["id"]: words(step, "after") for step in rows(document, "steps")}


def order(document: dict[str, Any]) -> set[tuple[str, str]]:
    """All pairs (earlier, later) that the precedence asks for."""
    needs = before(document)
    return {(early, late) for late in needs for early in ancestors_in(needs, [late])}


def pieces(document: dict[str, Any]) -> int:
    """All pieces that the steps release."""
    return sum(f["count"] for step in rows(document, "steps") for f in rows(step, "releases"))


@given(documents(), st.data())
def test_taking_a_step_out_keeps_the_order_of_the_others(document: dict[str, Any], data: st.DataObject) -> None:
    gone = data.draw(st.sampled_from(sorted(before(document))))
    left = remove_step(document, gone)
    assert order(left) == {pair for pair in order(document) if gone not in pair}


@given(documents(), st.data())
def test_adding_and_moving_change_no_needs(document: dict[str, Any], data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(before(document))))
    longer, new = add_step(document, name)
    assert before(longer) == before(document) | {new: [name]}
    try:
        moved = move_step(document, name, data.draw(st.sampled_from([-1, 1])))
    except Refused:
        return
    assert before(moved) == before(document)
    assert sorted(s["id"] for s in moved["steps"]) == sorted(before(document))


@given(documents(), st.data())
def test_splitting_keeps_order_pieces_and_time(document: dict[str, Any], data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(before(document))))
    step = next(s for s in document["steps"] if s["id"] == name)
    moved = [f["id"] for f in rows(step, "releases") if data.draw(st.booleans())]
    two, second = split_step(document, name, Split("First", "", "Second", "", moved))
    assert pieces(two) == pieces(document)
    assert sum(s["time_s"] for s in two["steps"]) == sum(s["time_s"] for s in document["steps"])
    assert cycles(before(two)) == ()
    assert order(two) >= order(document) - {(name, late) for _early, late in order(document)} | {(name, second)}
    assert {late for early, late in order(document) if early == name} <= {
        late for early, late in order(two) if early == second
    }
    again = merge_steps(two, name, second)
    assert order(again) == order(document)
    assert pieces(again) == pieces(document)


@given(documents(), st.data())
def test_merging_keeps_pieces_and_order_or_says_what_comes_between(
    document: dict[str, Any], data: st.DataObject
) -> None:
    first, second = data.draw(st.lists(st.sampled_from(sorted(before(document))), min_size=2, max_size=2, unique=True))
    try:
        one = merge_steps(document, first, second)
    except Refused:
        needs = before(document)
        between = [n for n in needs if n not in (first, second)]
        assert any({(first, n), (n, second)} <= order(document) for n in between) or any(
            {(second, n), (n, first)} <= order(document) for n in between
        ), "only a step that comes between stands in the way"
        return
    assert cycles(before(one)) == ()
    assert pieces(one) == pieces(document)
    merged = next(s for s in one["steps"] if s["id"] == first)
    ids = [f["id"] for f in rows(merged, "releases")]
    assert len(ids) == len(set(ids))
    renamed = {(first if a == second else a, first if b == second else b) for a, b in order(document)}
    assert {(a, b) for a, b in renamed if a != b} <= order(one)


@given(documents(), st.data())
def test_loosening_takes_away_one_need_alone(document: dict[str, Any], data: st.DataObject) -> None:
    pairs = [(s, b) for s, names in before(document).items() for b in names]
    if not pairs:
        return
    step, other = data.draw(st.sampled_from(pairs))
    loose = loosen(document, step, other)
    assert other not in before(loose)[step]
    assert order(loose) <= order(document)
    assert {(e, step) for e in ancestors_in(before(document), [other])} <= order(loose)


def test_a_chain_is_the_list_itself() -> None:
    document = {"steps": [{"id": "a"}, {"id": "b", "after": ["a"]}, {"id": "c"}]}
    assert before(chain_steps(document)) == {"a": [], "b": ["a"], "c": ["b"]}


def test_what_stands_in_the_way_of_a_merge_is_said() -> None:
    two_units = {"steps": [{"id": "a", "frees": "x"}, {"id": "b", "frees": "y"}]}
    with pytest.raises(Refused, match="Both steps free a unit"):
        merge_steps(two_units, "a", "b")
    place = [{"id": "f", "places": [{"x": "0.1", "y": "0.1"}]}]
    pictures = {
        "steps": [
            {"id": "a", "picture": "1.svg", "releases": place},
            {"id": "b", "picture": "2.svg", "releases": place},
        ]
    }
    with pytest.raises(Refused, match="different pictures"):
        merge_steps(pictures, "a", "b")


def test_ids_are_made_of_words_and_references_follow() -> None:
    assert slug("Undo the 4 Screws, left — é") == "undo-the-4-screws-left"
    assert slug("  ", "step") == "step"
    assert free_id("lid", {"lid", "lid-2"}) == "lid-3"
    document: dict[str, Any] = {
        "units": [{"id": "new-1", "name": "Board"}],
        "tools": [{"id": "new-1", "name": "Driver", "size": "T5"}],
        "steps": [
            {
                "id": "new-1",
                "title": "Lift the lid",
                "tools": ["new-1"],
                "frees": "new-1",
                "releases": [{"id": "new-1", "name": "Clip"}],
                "inspect": [{"id": "new-1", "ask": "Whole?", "of": "new-1"}],
            },
            {"id": "b", "after": ["new-1"]},
            {"id": "new-3", "after": ["b"]},
        ],
        "release_tests": [{"id": "new-1", "title": "Leak", "due": {"exchanged": ["new-1"], "steps": ["new-1"]}}],
    }
    new, renamed = settle_ids(document)
    assert renamed == {"new-1": "lift-the-lid"}
    lid, b, untitled = new["steps"]
    assert (lid["id"], lid["tools"], lid["frees"]) == ("lift-the-lid", ["driver-t5"], "board")
    assert lid["inspect"][0] == {"id": "whole", "ask": "Whole?", "of": "clip"}
    assert b["after"] == ["lift-the-lid"]
    assert untitled["id"] == "new-3", "without a title there are no words to make an id of"
    assert new["release_tests"][0] == {
        "id": "leak",
        "title": "Leak",
        "due": {"exchanged": ["board"], "steps": ["lift-the-lid"]},
    }
    assert document["steps"][0]["id"] == "new-1", "what is given is never changed"


def test_questions_follow_their_step_and_close_when_their_gap_is_filled() -> None:
    document = {"steps": [{"id": "a"}, {"id": "b", "after": ["a"], "releases": [{"id": "f"}]}]}
    asked = [
        bound(document, {"path": ["steps", 1, "releases", 0, "count"], "question": "How many?"}),
        bound(document, {"path": ["steps", 1, "after"], "question": "Keep the order?"}),
        bound(document, {"path": ["steps", 0, "time_s"], "question": "How long?"}),
    ]
    assert still_open(document, asked) == (0, 1, 2)
    assert loosened(document, asked, "b") == "Keep the order?"
    filled = {"steps": [{"id": "x", "releases": [{"id": "f", "count": 2}]}]}
    moved = followed(asked, filled, {"b": "x"})
    assert [q["path"] for q in moved] == [["steps", 0, "releases", 0, "count"], ["steps", 0, "after"]]
    assert still_open(filled, moved) == (1,)


def test_doer_and_checker_are_two_people() -> None:
    sent = DraftStanding("to be checked", sent_by=1, saved_by=2)
    assert may_check(sent, 3) is None
    assert "You sent" in (may_check(sent, 1) or "")
    assert "You wrote" in (may_check(sent, 2) or "")
    assert may_check(DraftStanding("in writing"), 3)
    with pytest.raises(Refused, match="2 things are to be mended"):
        check_sending(DraftStanding("in writing"), 2, 0)
    with pytest.raises(Refused, match="1 question is still open"):
        check_sending(DraftStanding("in writing"), 0, 1)


@given(documents(), documents())
def test_the_difference_of_a_document_with_itself_is_nothing(one: dict[str, Any], other: dict[str, Any]) -> None:
    assert difference(one, one).same
    changed = difference(one, other)
    added = {step.id for step in changed.steps if step.what == "added"}
    removed = {step.id for step in changed.steps if step.what == "removed"}
    assert added == set(before(other)) - set(before(one))
    assert removed == set(before(one)) - set(before(other))


def test_the_difference_is_told_in_words() -> None:
    old = {
        "title": "Lamp",
        "steps": [
            {
                "id": "a",
                "title": "Open it",
                "time_s": 10,
                "releases": [{"id": "s", "name": "Screw", "count": 4, "kind": "screw"}],
            },
            {"id": "b", "title": "Lift it", "after": ["a"]},
            {"id": "c", "title": "Wipe it"},
        ],
    }
    new = {
        "title": "Lamp",
        "steps": [
            {"id": "c", "title": "Wipe it"},
            {
                "id": "a",
                "title": "Open it",
                "time_s": 20,
                "releases": [
                    {"id": "s", "name": "Screw", "count": 6, "kind": "screw"},
                    {"id": "k", "name": "Clip", "count": 1, "kind": "clip"},
                ],
            },
            {"id": "d", "title": "Turn it", "after": ["a"]},
        ],
    }
    found = difference(old, new)
    assert [(s.id, s.what) for s in found.steps] == [("c", "moved"), ("a", "changed"), ("d", "added"), ("b", "removed")]
    changes = {c.label: (c.before, c.after) for c in found.steps[1].changes}
    assert changes == {
        "Time": ("10 s", "20 s"),
        "Fixing “Screw”, count": ("4", "6"),
        "Fixing added": ("", "1 × Clip (clip)"),
    }
    assert "Step “Wipe it” moved from 3 to 1" in found.said()
