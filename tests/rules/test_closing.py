"""When the count may be signed, which release tests are due after all passes, and the standard time of a pass."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from app.rules.closing import check_count, due_after, standard_s, still_to_test, timer_left
from app.rules.counting import BenchState
from app.rules.verdict import Refused
from tests.jobs.sheets import recorder

AT = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
DONE = BenchState(teardown=("back",), refit=("back",), down=("back",), up=("back",), turned=True)


def test_a_finished_refit_may_be_counted() -> None:
    check_count(DONE, AT)


def test_a_count_waits_for_the_refit_and_says_how_much_is_left() -> None:
    with pytest.raises(Refused, match="1 refit step is still to do"):
        check_count(BenchState(teardown=("back",), refit=("back",), down=("back",), turned=True), AT)


def test_a_signed_count_is_not_signed_again() -> None:
    with pytest.raises(Refused, match="already signed"):
        check_count(BenchState(counted=True), AT)


def test_a_count_waits_for_the_longest_timer_and_not_a_second_more() -> None:
    ends = {"back": (AT + timedelta(seconds=30)).isoformat(), "cell": (AT - timedelta(seconds=5)).isoformat()}
    running = replace(DONE, timers=ends)
    assert timer_left(running, AT) == timedelta(seconds=30)
    with pytest.raises(Refused, match="still runs for 31 s"):
        check_count(running, AT)
    check_count(running, AT + timedelta(seconds=30))


def test_what_an_earlier_pass_disturbed_or_failed_is_tested_again() -> None:
    sheet = recorder()
    assert [t.id for t in due_after(sheet, BenchState(down=("warm",)))] == ["power"]
    assert [t.id for t in due_after(sheet, BenchState(down=("warm",), disturbed=("back",)))] == ["power", "leak"]
    assert [t.id for t in due_after(sheet, BenchState(failed=("leak",)))] == ["power", "leak"]
    passed = BenchState(down=("back",), tests={"power": True, "leak": False})
    assert [t.id for t in still_to_test(sheet, passed)] == ["leak"]


def test_the_standard_time_of_a_pass_is_its_teardown_and_its_refit_with_presses_but_not_cures() -> None:
    state = BenchState(teardown=("warm", "back", "speaker"), refit=("speaker", "back"))
    # Down 120 + 90 + 45, up 55 (its cure of 1800 s is waiting, not work) + 120 and 30 s of pressing.
    assert standard_s(recorder(), state) == 255 + 55 + 150
