"""Reading procedure files: what is wrong is told with file, line, step and remedy."""

from decimal import Decimal

import pytest

from app.procedures.document import (
    ImportRefused,
    Problem,
    decode,
    json_schema,
    read_sheet,
    read_yaml,
    write_yaml,
)
from app.procedures.files import read_folder
from tests.procedures.examples import PARTS, SEED, SHEET


def _problems(text: str) -> tuple[Problem, ...]:
    with pytest.raises(ImportRefused) as caught:
        read_sheet("radio.yaml", text, PARTS)
    return caught.value.problems


def _changed(old: str, new: str) -> str:
    assert old in SHEET
    return SHEET.replace(old, new, 1)


def _line(text: str, words: str) -> int:
    return next(n for n, line in enumerate(text.splitlines(), 1) if words in line)


def test_a_sound_file_is_read_with_all_digits_of_its_numbers() -> None:
    sheet = read_sheet("radio.yaml", SHEET, PARTS)
    torque = sheet.steps[0].releases[0].torque
    assert torque is not None
    assert str(torque.value_ncm) == "24.50"
    assert sheet.release_tests[0].low == Decimal("1.5")


def test_a_circle_is_named_with_its_line_and_step() -> None:
    text = _changed("    tools: [driver-t5]\n", "    tools: [driver-t5]\n    after: [board]\n")
    (problem,) = _problems(text)
    assert problem.line == _line(text, "after: [board]")
    assert problem.step == "lid"
    assert "wait for each other" in problem.message
    assert problem.remedy
    assert str(problem).startswith(f"radio.yaml, line {problem.line}, step “lid”: ")


@pytest.mark.parametrize(
    ("old", "new", "step", "words"),
    [
        ("after: [lid]", "after: [lit]", "board", "no such step"),
        ("frees: board", "frees: bored", "board", "not among the units"),
        ("tools: [driver-t5]", "tools: [driver-t9]", "lid", "not among the tools"),
        ("part: TR-300", "part: TR-999", "lid", "not in the catalogue"),
        (", reuse: single-use, part: TR-300", ", reuse: single-use", "lid", "no part number"),
        ("time_s: 30\n", "time: 30\n", "board", "no key “time”"),
        ("reuse: reusable", "reuse: yes", "lid", "“yes” is not one of the words"),
        ("count: 4", "count: many", "lid", "must be a number"),
        ("count: 4", "count: 0", "lid", "out of range"),
        ("title: Lift out the board", "title: 12", "board", "must be text"),
        ("id: board\n", "id: Board\n", "Board", "not in the form"),
    ],
)
def test_each_mistake_is_told_with_its_step_and_a_remedy(old: str, new: str, step: str, words: str) -> None:
    text = _changed(old, new)
    problems = _problems(text)
    found = [p for p in problems if words in p.message]
    assert found, [str(p) for p in problems]
    assert found[0].step == step
    assert found[0].line is not None
    assert found[0].remedy.endswith(".")


def test_all_mistakes_of_a_file_are_told_at_once() -> None:
    text = SHEET.replace("count: 4", "count: 0").replace("do: Lift it.", "doo: Lift it.")
    assert len(_problems(text)) >= 3


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a: [1, 2\nb: 3\n", "not readable as YAML"),
        ("a: 1\nb: 2\na: 3\n", "second time"),
        ("a: !!python/object/apply:os.system [ls]\n", "tag"),
        ("a: !thing 3\n", "tag"),
        ("a: &x 3\nb: *x\n", "anchor or alias “x”"),
        ("a: &a [x, x]\nb: &b [*a, *a]\nc: &c [*b, *b]\n", "anchor or alias"),
        ("a: 1\n---\nb: 2\n", "second document"),
        ("? [a, b]\n: 3\n", "key must be a word"),
        ("[" * 5000, "nest"),
        ("a: " + "{b: " * 40 + "1" + "}" * 40, "nested too deeply"),
        ("a: 'x\x07'\n", "not readable as YAML"),
    ],
)
def test_yaml_that_is_not_plain_is_refused(text: str, words: str) -> None:
    with pytest.raises(ImportRefused) as caught:
        read_yaml("radio.yaml", text)
    assert words in caught.value.reason


@pytest.mark.parametrize("text", ["", "just words", "- a\n- b\n", "12"])
def test_a_file_that_is_no_procedure_is_refused(text: str) -> None:
    assert "not a procedure" in _problems(text)[0].message


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (SHEET.encode("utf-16"), "UTF-16"),
        (b"countback: 1\ntitle: caf\xe9\n", "not UTF-8"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "not text"),
        (b"a" * (5 * 1024 * 1024), "larger than 2 MB"),
    ],
)
def test_bytes_that_are_not_text_are_refused(body: bytes, words: str) -> None:
    with pytest.raises(ImportRefused) as caught:
        decode("radio.yaml", body)
    assert words in caught.value.reason


def test_a_byte_order_mark_is_no_harm() -> None:
    assert read_sheet("radio.yaml", decode("radio.yaml", SHEET.encode("utf-8-sig")), PARTS)


def test_wrong_utf8_is_told_with_its_line() -> None:
    with pytest.raises(ImportRefused) as caught:
        decode("radio.yaml", b"one\ntwo\nthr\xffee\n")
    assert caught.value.problems[0].line == 3


def test_words_like_yes_and_no_stay_words() -> None:
    data = read_yaml("x", "a: yes\nb: no\nc: on\nd: 012\ne: 1:30\nf: true\ng: ~\nh: '5'\n").data
    assert data == {"a": "yes", "b": "no", "c": "on", "d": 12, "e": "1:30", "f": True, "g": None, "h": "5"}


def test_writing_and_reading_again_gives_the_same_sheet() -> None:
    odd = _changed("do: Lift it.", "do: 'yes: \"no\" # 12, 1e5\n\n      — é'").replace("size: T5", "size: '1e5'")
    for text in (SHEET, odd):
        sheet = read_sheet("radio.yaml", text, PARTS)
        assert read_sheet("radio.yaml", write_yaml(sheet), PARTS) == sheet


@pytest.mark.parametrize("path", sorted(SEED.glob("*.yaml")), ids=lambda p: p.stem)
def test_every_procedure_of_the_demo_is_sound_and_survives_a_round_trip(path) -> None:  # type: ignore[no-untyped-def]
    sheet = read_sheet(path.name, path.read_text(encoding="utf-8"), None)
    assert read_sheet(path.name, write_yaml(sheet), None) == sheet
    assert 20 <= len(sheet.steps) <= 40


def test_the_demo_has_its_procedures() -> None:
    assert len(read_folder(SEED)) >= 3


def test_the_schema_names_the_shape() -> None:
    schema = json_schema()
    assert schema["$schema"].startswith("https://json-schema.org/")
    assert set(schema["required"]) >= {"countback", "code", "steps", "units"}
    assert schema["additionalProperties"] is False
