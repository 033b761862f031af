"""What each kind of entry makes of the count, and what the closing count says where more than one thing is wrong."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from app.rules.closing import check_count, check_questions, standard_s, timer_left
from app.rules.counting import BenchState, Tick, apply, closing_count, items_of, places_left
from app.rules.items import ItemCount
from app.rules.planning import make_plan
from app.rules.taps import Taps
from app.rules.verdict import Refused
from tests.jobs.sheets import placed, recorder
from tests.rules.test_counting import AT, ITEMS, NUMBERS, PLAN, POCKETS, count, event, finished, planned

# Entries ---------------------------------------------------------------------------------------------------------


def test_a_question_stays_open_until_that_very_one_is_answered() -> None:
    asked = apply(apply(planned(), event("question", 2, of="tick")), event("question", 3, of="tick"))
    assert asked.questions == ("e2", "e3")
    assert asked.ticks == ()
    answered = apply(asked, event("tick", 4, "warm", side="down", answers="e2"))
    assert answered.questions == ("e3",)
    assert answered.down == ("warm",)
    assert apply(answered, event("paused", 5, reason="lunch")).questions == ("e3",)


def test_a_question_keeps_what_its_tap_would_have_changed_out_of_the_plan() -> None:
    asked = apply(planned(), event("question", 2, of="tick"))
    assert apply(asked, event("planned", 9, **_again())).questions == ("e2",)


def test_a_signed_count_an_override_and_a_recount_change_what_they_are_for() -> None:
    due = replace(finished(), recount_due=True)
    assert not apply(due, event("recount", 2)).recount_due
    assert apply(finished(), event("count", 2)).counted
    signed = replace(finished(), counted=True)
    assert apply(signed, event("override", 3, "back", scope="cover", problems=["x"])).counted


def test_an_override_before_a_cover_waives_that_step_and_a_final_one_none() -> None:
    before = finished()
    cover = apply(before, event("override", 2, "back", scope="cover", problems=["One screw is lost."]))
    assert cover.waived == {"back": ("One screw is lost.",)}
    final = apply(before, event("override", 2, "back", scope="final", problems=["One screw is lost."]))
    assert final.waived == {}
    assert apply(before, event("override", 2, scope="cover", problems=["One screw is lost."])).waived == {}


def test_taking_a_refit_tick_back_ends_the_override_of_its_cover_and_no_other() -> None:
    waived = {"back": ("One screw is lost.",), "shield": ("A lid is lost.",)}
    state = replace(finished(), ticks=(Tick("e5", "up", "back"),), waived=waived)
    after = apply(state, event("undo", 6, "back", undoes="e5", side="up"))
    assert after.waived == {"shield": ("A lid is lost.",)}


def test_only_a_tick_that_covers_is_kept_as_covering() -> None:
    plain = apply(replace(finished(), up=()), event("tick", 2, "speaker", side="up"))
    assert plain.covered == ()


def test_a_failed_release_test_is_kept_until_it_passes_and_once_only() -> None:
    state = finished()
    for n, (name, passed, failed) in enumerate(
        (
            ("leak", False, ("leak",)),
            ("power", False, ("leak", "power")),
            ("leak", False, ("power", "leak")),
            ("leak", True, ("power",)),
            ("power", True, ()),
        ),
        start=2,
    ):
        state = apply(state, event("test", n, test=name, passed=passed))
        assert state.failed == failed
    assert state.tests == {"leak": True, "power": True}


def test_units_count_as_exchanged_once_their_pass_was_turned() -> None:
    assert apply(replace(planned(), turned=True), event("planned", 9, **_again())).exchanged == ("cell", "speaker")
    assert apply(planned(), event("planned", 9, **_again())).exchanged == ()


def test_pieces_left_over_are_added_up_and_taken_back_one_report_at_a_time() -> None:
    state = apply(apply(planned(), event("leftover", 2, leftover=2)), event("leftover", 3, leftover=1))
    assert state.leftover == 3
    assert apply(state, event("undo", 4, undoes="e2", leftover=2)).leftover == 1
    assert apply(state, event("undo", 4, undoes="e7")).leftover == 3  # A report of something else.


def test_a_report_without_a_part_chooses_none() -> None:
    assert apply(planned(), event("lost", 2, item="gasket/clips")).new_part == {}


def test_taking_a_report_of_no_part_back_leaves_the_parts_chosen() -> None:
    chosen = apply(planned(), event("damage", 2, item="gasket/clips", part="F-400"))
    assert apply(chosen, event("undo", 3, undoes="e9")).new_part == {"gasket/clips": "F-400"}


def test_taking_an_entry_back_that_is_not_the_last_tick_leaves_the_ticks() -> None:
    ticked = apply(planned(), event("tick", 2, "warm", side="down"))
    after = apply(ticked, event("undo", 4, undoes="e1", report="lost"))
    assert after.ticks == ticked.ticks
    assert after.down == ("warm",)


def test_a_state_without_a_plan_is_not_torn_down_and_one_not_turned_is_not_refitted() -> None:
    assert not BenchState().torn_down
    assert not replace(finished(), turned=False).refitted
    assert not replace(finished(), up=PLAN.refit[:-1]).refitted
    assert finished().torn_down
    assert finished().refitted


# The closing count -----------------------------------------------------------------------------------------------


def test_steps_without_their_teardown_tick_and_several_pieces_are_named() -> None:
    state = replace(finished(), down=PLAN.teardown[1:], leftover=2)
    assert count(state).problems == (
        "Step 1 has no teardown tick.",
        "2 pieces left over on the bench. Find where it belongs before anything is closed.",
    )


def test_a_step_that_is_not_in_the_refit_covers_nothing() -> None:
    open_screw = finished(back__screws=ItemCount(4, out=4, refitted=3))
    assert PLAN.teardown[0] not in PLAN.refit
    assert count(open_screw, before=PLAN.teardown[0]).problems == count(open_screw).problems


def test_one_thing_wrong_with_an_item_is_said_once() -> None:
    # What was never counted out, or is lost, leaves its place empty too: that is not told a second time.
    never = count(finished(back__screws=ItemCount(4, out=3, refitted=3))).problems
    lost = count(finished(back__screws=ItemCount(4, out=4, refitted=3, lost=1))).problems
    assert (len(never), len(lost)) == (1, 1)
    assert "never counted out" in never[0]
    assert "reported lost" in lost[0]


def test_what_the_refit_adds_is_asked_for_and_never_waits() -> None:
    # An item of the refit never comes out, so only its empty place can be wrong.
    assert count(finished(**{"speaker__fit:0": ItemCount(2, new=1)})).problems == (
        f"1 Bond dot (step {NUMBERS['speaker']}) is missing: no new one is recorded as fitted.",
    )


SCREWS = "back/screws"
SHEET = placed()
PLACED = items_of(SHEET, PLAN.teardown, PLAN.targets)


def test_places_counted_back_singly_are_named_where_they_are_not_back() -> None:
    item = PLACED[SCREWS]
    taps = Taps(back={2: "e1", 4: "e2"})
    counted = ItemCount(4, out=4, refitted=2)
    assert places_left(item, counted, taps) == (1, 3)
    assert places_left(item, counted, Taps(out={1: "e1"})) == ()
    assert places_left(ITEMS[SCREWS], counted, taps) == ()  # The same procedure without places.
    state = replace(finished(back__screws=counted), places={SCREWS: taps})
    where = f"step {NUMBERS['back']}, tray pocket {POCKETS[SCREWS]}"
    assert closing_count(PLACED, state, NUMBERS, POCKETS).problems == (
        f"Back screw 1 of 4 ({where}) is not back.",
        f"Back screw 3 of 4 ({where}) is not back.",
    )


def test_a_lost_piece_is_told_as_lost_and_not_as_a_place() -> None:
    taps = Taps(back={1: "e1", 2: "e2", 3: "e3"})
    state = replace(finished(back__screws=ItemCount(4, out=4, refitted=3, lost=1)), places={SCREWS: taps})
    (said,) = closing_count(PLACED, state, NUMBERS, POCKETS).problems
    assert said.startswith("1 Back screw")
    assert "reported lost" in said


def test_places_all_back_are_nothing_to_tell() -> None:
    taps = Taps(back={n: f"e{n}" for n in range(1, 5)})
    state = replace(finished(), places={SCREWS: taps})
    assert closing_count(PLACED, state, NUMBERS, POCKETS).balanced


# When it may be signed -------------------------------------------------------------------------------------------


def test_the_count_waits_for_every_question_and_says_how_many() -> None:
    state = replace(finished(), questions=("e8",))
    with pytest.raises(Refused, match="1 entry from a tablet is still a question"):
        check_count(state, AT)
    with pytest.raises(Refused, match="2 entries from tablets are still a question"):
        check_questions(replace(state, questions=("e8", "e9")))
    check_questions(finished())


def test_the_longest_of_the_running_timers_counts_and_those_that_ended_do_not() -> None:
    def ends(**seconds: int) -> BenchState:
        return replace(finished(), timers={k: (AT + timedelta(seconds=s)).isoformat() for k, s in seconds.items()})

    assert timer_left(ends(back=30, speaker=1800, cell=-5), AT) == timedelta(seconds=1800)
    assert timer_left(ends(back=-30, cell=-5), AT) == timedelta(0)
    assert timer_left(finished(), AT) == timedelta(0)


def test_it_says_how_many_refit_steps_are_left() -> None:
    turned = replace(finished(), up=PLAN.refit[:2])
    with pytest.raises(Refused, match=f"{len(PLAN.refit) - 2} refit steps are still to do"):
        check_count(turned, AT)
    with pytest.raises(Refused, match=f"{len(PLAN.refit)} refit steps are still to do"):
        check_count(planned(), AT)


def test_a_step_without_a_way_back_adds_no_refit_time() -> None:
    assert recorder().step("warm").refit is None
    assert standard_s(recorder(), BenchState(teardown=("warm",), refit=())) == 120


def _again() -> dict[str, Any]:
    plan = make_plan(recorder(), ["cell"])
    items = items_of(recorder(), plan.teardown, plan.targets)
    return {
        "pass_no": 2, "targets": list(plan.targets), "teardown": list(plan.teardown), "refit": list(plan.refit),
        "baseline": {key: item.baseline for key, item in items.items()},
    }  # fmt: skip
