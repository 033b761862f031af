"""What may happen at which stage, stage by stage: every check of the flow of a job with all stages and holds."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from app.rules import job_flow
from app.rules.job_flow import Standing
from app.rules.verdict import Refused

STAGES = job_flow.OPEN + job_flow.ENDED
HOLDS = ("none", "parts", "owner's answer", "safety")


def allowed(check: Callable[[Standing], object], standing: Standing) -> bool:
    """Say whether a check lets a job pass."""
    try:
        check(standing)
    except Refused:
        return False
    return True


def stages_of(check: Callable[[Standing], object], coverage: str = "warranty", hold: str = "none") -> tuple[str, ...]:
    """Return the stages at which a check lets a job pass."""
    return tuple(s for s in STAGES if allowed(check, Standing(s, hold, coverage)))


def test_the_stages_stand_in_the_order_of_the_work() -> None:
    way = ("booked in", "made safe", "planned", "kitted", "teardown", "refit", "counted", "tested", "closed")
    assert job_flow.stages_shown("warranty") == way
    assert job_flow.stages_shown("owner pays") == (*way[:3], "quoted", "approved", *way[3:])
    assert (*job_flow.OPEN, "closed") == job_flow.stages_shown("owner pays")


@pytest.mark.parametrize("coverage", ["warranty", "owner pays"])
def test_the_stages_at_which_each_thing_may_happen(coverage: str) -> None:
    owner = coverage == "owner pays"
    assert stages_of(job_flow.check_safety, coverage) == ("booked in",)
    assert stages_of(job_flow.check_plan, coverage) == (*job_flow.BEFORE_BENCH[1:], "teardown")
    assert stages_of(job_flow.check_extension, coverage) == ("teardown", "refit")
    assert stages_of(job_flow.check_quote, coverage) == (("planned", "quoted") if owner else ())
    assert stages_of(job_flow.check_answer, coverage) == ("quoted",)
    handed = ("approved", "kitted", *job_flow.AT_BENCH)
    assert stages_of(job_flow.check_hand_out, coverage) == (handed if owner else ("planned", *handed))
    assert stages_of(job_flow.check_return, coverage) == job_flow.BEFORE_BENCH


def test_once_the_work_has_begun_the_plan_stands_and_the_device_does_not_go_home() -> None:
    for stage in job_flow.BEFORE_BENCH:
        assert not allowed(job_flow.check_return, Standing(stage, begun=True))
    assert not allowed(job_flow.check_plan, Standing("kitted", begun=True))
    for stage in job_flow.ENDED:
        with pytest.raises(Refused, match="Book the device in again"):
            job_flow.check_plan(Standing(stage))
        with pytest.raises(Refused, match="already"):
            job_flow.check_return(Standing(stage))


@pytest.mark.parametrize(
    ("check", "stage", "words"),
    [
        (job_flow.check_plan, "booked in", "make-safe questions first"),
        (job_flow.check_hand_out, "made safe", "no plan yet"),
        (job_flow.check_hand_out, "closed", "nothing is handed out"),
        (job_flow.check_hand_out, "quoted", "not approved"),
        (job_flow.check_safety, "planned", "are answered"),
        (job_flow.check_answer, "planned", "No quote waits"),
        (job_flow.check_quote, "approved", "before the owner has answered"),
        (job_flow.check_return, "teardown", "Put it together"),
    ],
)
def test_a_refusal_says_why(check: Callable[[Standing], None], stage: str, words: str) -> None:
    with pytest.raises(Refused, match=words):
        check(Standing(stage, coverage="owner pays"))


def test_a_safety_hold_comes_before_its_questions_too() -> None:
    with pytest.raises(Refused, match="on a safety hold"):
        job_flow.check_safety(Standing("booked in", "safety"))


def test_a_quote_is_for_the_owner_who_pays() -> None:
    with pytest.raises(Refused, match="This job is warranty: it needs no quote"):
        job_flow.check_quote(Standing("planned", coverage="warranty"))


@pytest.mark.parametrize(
    ("cautions", "strap", "mat", "field"),
    [(False, True, True, "cautions"), (True, False, True, "strap"), (True, True, False, "mat"),
     (False, False, False, "cautions"), (True, False, False, "strap")],
)  # fmt: skip
def test_every_box_of_the_bench_checks_is_asked_for_in_turn(cautions: bool, strap: bool, mat: bool, field: str) -> None:
    with pytest.raises(Refused) as refusal:
        job_flow.check_bench_ready(cautions, strap, mat)
    assert refusal.value.field == field


def test_a_bench_that_is_ready_is_ready() -> None:
    job_flow.check_bench_ready(cautions=True, strap=True, mat=True)
    assert [state for state in job_flow.CELL_STATES if job_flow.cell_is_sound(state)] == ["sound", "no cell"]


def test_a_kit_that_is_out_makes_a_waiting_job_kitted_and_changes_nothing_at_the_bench() -> None:
    for stage in STAGES:
        after = job_flow.stage_after_hand_out(Standing(stage, outstanding=0))
        assert after == ("kitted" if stage in ("planned", "approved") else stage)
        assert job_flow.stage_after_hand_out(Standing(stage, outstanding=1)) == stage


# Holds -----------------------------------------------------------------------------------------------------------


def test_a_hold_is_for_an_open_job_and_a_safety_hold_covers_every_other() -> None:
    may = {
        (stage, hold, wanted)
        for stage in STAGES
        for hold in HOLDS
        for wanted in HOLDS
        if allowed(lambda s, wanted=wanted: job_flow.check_hold(s, wanted), Standing(stage, hold))  # type: ignore[misc]
    }
    assert may == {
        (stage, hold, wanted)
        for stage in job_flow.OPEN
        for hold, wanted in (
            ("none", "safety"), ("parts", "safety"), ("owner's answer", "safety"),
            ("none", "owner's answer"), ("parts", "owner's answer"),
        )
    }  # fmt: skip


def test_a_hold_ends_by_hand_unless_it_ends_by_another_way() -> None:
    may = {(s, h) for s in job_flow.OPEN for h in HOLDS if allowed(job_flow.check_hold_end, Standing(s, h))}
    asked = {(s, "owner's answer") for s in job_flow.OPEN if s != "quoted"}
    assert may == {(s, "safety") for s in job_flow.OPEN} | asked
    with pytest.raises(Refused, match="ends by itself"):
        job_flow.check_hold_end(Standing("planned", "parts"))
    with pytest.raises(Refused, match="on the quote page"):
        job_flow.check_hold_end(Standing("quoted", "owner's answer"))
    with pytest.raises(Refused, match="is not on hold"):
        job_flow.check_hold_end(Standing("planned"))


def test_a_second_pass_needs_no_second_quote() -> None:
    assert Standing("planned").quote_due
    assert not Standing("planned", second_pass=True).quote_due
    assert not Standing("planned", coverage="warranty").quote_due


# What is next ----------------------------------------------------------------------------------------------------

TECHNICIAN, STORES, SUPERVISOR = ("technician", "supervisor"), ("stores", "supervisor"), ("supervisor",)


@pytest.mark.parametrize(
    ("standing", "verb", "path", "roles", "post"),
    [
        (Standing("booked in"), "Make safe", "/safety", TECHNICIAN, False),
        (Standing("made safe"), "Choose what to replace", "/targets", TECHNICIAN, False),
        (Standing("planned"), "Make the quote", "/quote", SUPERVISOR, False),
        (Standing("planned", coverage="warranty"), "Hand out kit", "/kit", STORES, False),
        (Standing("planned", second_pass=True), "Hand out kit", "/kit", STORES, False),
        (Standing("quoted"), "Record the owner's answer", "/quote", SUPERVISOR, False),
        (Standing("quoted", "owner's answer"), "Record the owner's answer", "/quote", SUPERVISOR, False),
        (Standing("approved"), "Hand out kit", "/kit", STORES, False),
        (Standing("kitted"), "Open at the bench", "/bench/open", TECHNICIAN, True),
        (Standing("teardown"), "Go on at the bench", "/bench/open", TECHNICIAN, True),
        (Standing("refit", turned=True, refitted=True), "Count everything back", "/count", TECHNICIAN, False),
        (Standing("counted", refitted=True), "Do the release tests", "/tests", TECHNICIAN, False),
        (Standing("tested", refitted=True), "Close job", "/close", TECHNICIAN, False),
        (Standing("closed"), "Show the job card", "/card", ("technician", "stores", "supervisor"), False),
        (Standing("closed", "safety"), "Show the job card", "/card", ("technician", "stores", "supervisor"), False),
        (Standing("refit", "safety"), "Release or return", "/hold", SUPERVISOR, False),
        (Standing("refit", "owner's answer"), "End the hold", "/hold", TECHNICIAN, False),
    ],
)
def test_the_next_action_says_what_where_and_who(
    standing: Standing, verb: str, path: str, roles: tuple[str, ...], post: bool
) -> None:
    found = job_flow.next_action(standing)
    assert found is not None
    assert (found.verb, found.path, found.roles, found.post) == (verb, path, roles, post)


def test_the_next_action_says_why() -> None:
    def why(standing: Standing) -> str:
        found = job_flow.next_action(standing)
        assert found is not None
        return found.why

    ready = Standing("approved", outstanding=3)
    assert why(ready) == "Everything is reserved."
    assert why(replace(ready, short=1)) == "Part of the kit is short; the rest can go out."
    assert why(Standing("teardown")) == "The teardown is under way."
    assert why(Standing("refit", turned=True)) == "The refit is under way."
