"""Release tests: which are due after what was disturbed, and whether a reading passes."""

from collections.abc import Collection
from dataclasses import dataclass
from decimal import Decimal

from app.rules.sheet import ReleaseTest, Sheet


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a reading is within its limits, and why, in words."""

    passed: bool
    words: str


def tests_due(sheet: Sheet, steps_done: Collection[str], exchanged_units: Collection[str]) -> tuple[ReleaseTest, ...]:
    """Return the release tests that are due, in the sheet's order.

    A test is due always, or when one of its units was exchanged, one of its steps was carried out,
    or a fixing of one of its kinds was released by a step that was carried out. Ids that the sheet
    does not have are of no consequence here.
    """
    done = frozenset(steps_done)
    exchanged = frozenset(exchanged_units)
    released = {fixing.kind for step in sheet.steps if step.id in done for fixing in step.releases}
    return tuple(
        test
        for test in sheet.release_tests
        if test.due.always
        or not exchanged.isdisjoint(test.due.exchanged)
        or not done.isdisjoint(test.due.steps)
        or not released.isdisjoint(test.due.kinds)
    )


def judge_reading(value: Decimal, low: Decimal | None, high: Decimal | None, unit: str | None = None) -> Verdict:
    """Judge a reading against inclusive limits, either of which may be missing.

    All three are in the same unit; ``unit`` only completes the words. Raises ValueError when there
    is no limit at all, the limits are turned round, or the value is no number.
    """
    if low is None and high is None:
        raise ValueError("a reading without limits cannot be judged")
    if low is not None and high is not None and low > high:
        raise ValueError("the low limit is above the high limit")
    if not value.is_finite():
        raise ValueError("a reading is a number")
    tail = f" {unit}" if unit else ""
    shown = f"{value:f}{tail}"
    if low is not None and value < low:
        return Verdict(False, f"{shown} is below the low limit of {low:f}{tail}.")
    if high is not None and value > high:
        return Verdict(False, f"{shown} is above the high limit of {high:f}{tail}.")
    if low is None:
        return Verdict(True, f"{shown} is not above the high limit of {high:f}{tail}.")
    if high is None:
        return Verdict(True, f"{shown} is not below the low limit of {low:f}{tail}.")
    return Verdict(True, f"{shown} is within {low:f} to {high:f}{tail}.")
