"""Decisions at the end of a job: when the count may be signed, and which release tests are due."""

from datetime import datetime, timedelta

from app.rules.counting import BenchState
from app.rules.release import tests_due
from app.rules.sheet import ReleaseTest, Sheet
from app.rules.verdict import Refused


def timer_left(state: BenchState, at: datetime) -> timedelta:
    """Return the longest time that a cure or press still runs; zero when none does."""
    ends = [datetime.fromisoformat(ready) for ready in state.timers.values()]
    return max([end - at for end in ends if end > at], default=timedelta(0))


def check_questions(state: BenchState) -> None:
    """Refuse while entries from a tablet wait to be settled: what was tapped may change the count."""
    open_ones = len(state.questions)
    if open_ones:
        what = "1 entry from a tablet is" if open_ones == 1 else f"{open_ones} entries from tablets are"
        raise Refused(f"{what} still a question. Settle it under Questions first: book it, or set it aside.")


def check_count(state: BenchState, at: datetime) -> None:
    """Refuse the closing count when it is signed, before the refit is done, while a cure or press runs.

    Refused too while a question is open, as what was tapped may change the count.
    """
    if state.counted:
        raise Refused("The closing count is already signed.")
    if not state.refitted:
        left = len(state.refit) - len(state.up)
        steps = "1 refit step is" if left == 1 else f"{left} refit steps are"
        raise Refused(f"{steps} still to do before the closing count.")
    left_s = timer_left(state, at)
    if left_s > timedelta(0):
        raise Refused(f"A cure or press still runs for {int(left_s.total_seconds()) + 1} s. Count when it is done.")
    check_questions(state)


def due_after(sheet: Sheet, state: BenchState) -> tuple[ReleaseTest, ...]:
    """Return the release tests due after what all passes of the visit disturbed, failed ones with them."""
    due = tests_due(sheet, {*state.down, *state.disturbed}, {*state.targets, *state.exchanged})
    wanted = {test.id for test in due} | set(state.failed)
    return tuple(test for test in sheet.release_tests if test.id in wanted)


def still_to_test(sheet: Sheet, state: BenchState) -> tuple[ReleaseTest, ...]:
    """Return the due release tests that have not passed yet."""
    return tuple(test for test in due_after(sheet, state) if not state.tests.get(test.id))


def standard_s(sheet: Sheet, state: BenchState) -> int:
    """Return the procedure's standard hands-on time of a pass in seconds: its teardown and its refit."""
    down = sum(sheet.step(step).time_s for step in state.teardown)
    refits = (sheet.step(step).refit for step in state.refit)
    return down + sum(refit.time_s + refit.press_s for refit in refits if refit)
