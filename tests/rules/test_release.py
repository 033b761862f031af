"""Release tests follow from what was disturbed; a reading is judged with inclusive limits."""

from decimal import Decimal
from typing import Any

import pytest

from app.rules import release
from app.rules.release import judge_reading
from tests.rules.sheets import fixing, sheet, step, unit


def due(test_id: str, **when: Any) -> dict[str, Any]:
    return {"id": test_id, "title": test_id, "do": "Try it.", "due": when}


EXAMPLE = sheet(
    [
        step("back", releases=[fixing("seal", kind="seal", reuse="single-use", part="SEAL")]),
        step("cell", "back", frees="cell", releases=[fixing("plug", kind="connector")]),
        step("lens", "back", frees="lens"),
    ],
    [unit("cell"), unit("lens")],
    release_tests=[
        due("power", always=True),
        due("leak", kinds=["seal"]),
        due("charge", exchanged=["cell"]),
        due("camera", steps=["lens"]),
        due("any", exchanged=["lens"], kinds=["connector"]),
    ],
)


@pytest.mark.parametrize(
    ("steps", "units", "wanted"),
    [
        ([], [], ["power"]),
        (["back"], [], ["power", "leak"]),
        (["back", "cell"], ["cell"], ["power", "leak", "charge", "any"]),
        (["back", "lens"], [], ["power", "leak", "camera"]),
        (["ghost"], ["ghost"], ["power"]),
    ],
)
def test_the_tests_due_follow_from_what_was_disturbed(steps: list[str], units: list[str], wanted: list[str]) -> None:
    assert [test.id for test in release.tests_due(EXAMPLE, steps, units)] == wanted


@pytest.mark.parametrize(
    ("value", "low", "high", "passed", "words"),
    [
        ("3.7", "3.6", "4.2", True, "3.7 V is within 3.6 to 4.2 V."),
        ("3.6", "3.6", "4.2", True, "3.6 V is within 3.6 to 4.2 V."),
        ("4.2", "3.6", "4.2", True, "4.2 V is within 3.6 to 4.2 V."),
        ("3.59", "3.6", "4.2", False, "3.59 V is below the low limit of 3.6 V."),
        ("4.21", "3.6", "4.2", False, "4.21 V is above the high limit of 4.2 V."),
        ("9", "3.6", None, True, "9 V is not below the low limit of 3.6 V."),
        ("0", None, "1E+1", True, "0 V is not above the high limit of 10 V."),
    ],
)
def test_limits_are_inclusive_and_told_in_words(
    value: str, low: str | None, high: str | None, passed: bool, words: str
) -> None:
    verdict = judge_reading(Decimal(value), Decimal(low) if low else None, Decimal(high) if high else None, "V")
    assert (verdict.passed, verdict.words) == (passed, words)


def test_a_reading_without_a_unit_is_told_without_one() -> None:
    assert judge_reading(Decimal(5), Decimal(1), None).words == "5 is not below the low limit of 1."


@pytest.mark.parametrize(
    ("value", "low", "high"), [("1", None, None), ("1", "2", "1"), ("NaN", "1", "2"), ("Infinity", "1", None)]
)
def test_it_refuses_readings_that_cannot_be_judged(value: str, low: str | None, high: str | None) -> None:
    with pytest.raises(ValueError, match=r"limit|number"):
        judge_reading(Decimal(value), Decimal(low) if low else None, Decimal(high) if high else None)
