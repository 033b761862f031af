"""Step times from a job's own entries, worked by hand."""

from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from app.rules.counting import Event
from app.rules.planning import make_plan
from app.rules.step_times import StepKey, StepTime, plan_keys, standard_times, step_times
from tests.rules.sheets import sheet, step, unit

ZONE = ZoneInfo("Europe/Copenhagen")
START = datetime(2031, 5, 6, 8, 0, tzinfo=UTC)
STANDARD: dict[StepKey, int] = {("down", "a"): 60, ("down", "b"): 120, ("down", "c"): 30, ("up", "a"): 40}


def event(kind: str, seconds: int, step_id: str | None = None, **data: Any) -> Event:
    if kind == "tick":
        data = {"side": "down", **data}
    undoes = data.pop("undoes", None)
    person = data.pop("person", 1)
    name = f"{kind}-{step_id}-{seconds}"
    return Event(name, kind, person, START + timedelta(seconds=seconds), step_id, data, undoes)


def times(*events: Event) -> list[tuple[str, str, int]]:
    found = step_times(events, STANDARD, time(18, 0), ZONE)
    return [(one.side, one.step, one.seconds) for one in found]


def test_a_step_takes_from_the_tick_before_it_to_its_own() -> None:
    assert times(event("opened", 0), event("tick", 50, "a"), event("tick", 190, "b")) == [
        ("down", "a", 50),
        ("down", "b", 140),
    ]


def test_a_pause_within_a_step_is_left_out() -> None:
    found = times(
        event("opened", 0),
        event("tick", 50, "a"),
        event("paused", 100, reason="lunch"),
        event("opened", 3700),
        event("tick", 3780, "b"),
    )
    assert found[1] == ("down", "b", 50 + 80)


def test_a_hold_and_a_cure_are_left_out() -> None:
    found = times(
        event("opened", 0),
        event("hold", 20, hold="safety"),
        event("opened", 500),
        event("tick", 540, "a"),
        event("turned", 550),
        event("tick", 600, "a", side="up", timer="cure", ready_at=(START + timedelta(seconds=4200)).isoformat()),
        event("tick", 4230, "b", side="up"),
    )
    assert found == [("down", "a", 60), ("up", "a", 50), ("up", "b", 30)]


def test_the_shift_ends_over_night() -> None:
    # 18:00 in Copenhagen is 16:00 UTC, eight hours after the start.
    found = times(event("opened", 8 * 3600 - 40), event("opened", 24 * 3600), event("tick", 24 * 3600 + 25, "a"))
    assert found == [("down", "a", 65)]


def test_steps_ticked_together_share_their_time_by_the_standard() -> None:
    found = times(event("opened", 0), event("tick", 207, "a"), event("tick", 208, "b"), event("tick", 210, "c"))
    assert found == [("down", "a", 60), ("down", "b", 120), ("down", "c", 30)]


def test_a_step_taken_back_gives_no_time_and_the_next_starts_at_the_undo() -> None:
    found = times(
        event("opened", 0),
        event("tick", 50, "a"),
        event("tick", 90, "b"),
        event("undo", 100, "b", undoes="tick-b-90"),
        event("tick", 150, "b"),
    )
    assert found == [("down", "a", 50), ("down", "b", 50)]


def test_a_recount_after_a_takeover_is_no_part_of_a_step() -> None:
    found = times(
        event("opened", 0),
        event("tick", 50, "a"),
        event("takeover", 60, person=2, recount_due=True),
        event("recount", 200, person=2),
        event("tick", 260, "b", person=2),
    )
    assert found == [("down", "a", 50), ("down", "b", 60)]


def test_a_report_during_a_step_belongs_to_it() -> None:
    found = times(event("opened", 0), event("damage", 30, "a", item="a/x"), event("tick", 80, "a"))
    assert found == [("down", "a", 80)]


def test_a_clock_that_is_set_aside_gives_no_time_to_its_step_or_the_next() -> None:
    found = times(
        event("opened", 0),
        event("tick", 50, "a", clock={"aside": True}),
        event("tick", 150, "b"),
        event("tick", 180, "c"),
    )
    assert found == [("down", "c", 30)]


def test_two_people_on_one_job_add_up() -> None:
    found = times(event("opened", 0), event("opened", 10, person=2), event("tick", 50, "a"))
    assert found == [("down", "a", 50 + 40)]


def test_a_job_nobody_worked_on_has_no_times() -> None:
    assert times() == []
    assert times(event("booked", 0)) == []


def test_standard_times_and_plan_keys_name_both_sides() -> None:
    example = sheet(
        [step("a", refit={"press_s": 5, "cure_s": 900}), step("b", "a", frees="cell", refit=False)], [unit("cell")]
    )
    assert standard_times(example) == {("down", "a"): 10, ("down", "b"): 10, ("up", "a"): 15}
    assert plan_keys(make_plan(example, ["cell"])) == (("down", "a"), ("down", "b"), ("up", "a"))
    assert StepTime("up", "a", 3).key == ("up", "a")
