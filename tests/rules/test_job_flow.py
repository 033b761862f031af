"""The flow of a job: what may happen at which stage, and what is next."""

from dataclasses import replace

import pytest

from app.jobs.models import Hold, Stage
from app.rules import job_flow
from app.rules.job_flow import Standing
from app.rules.verdict import Refused


def test_the_stages_are_those_that_are_stored() -> None:
    assert set(job_flow.OPEN + job_flow.ENDED) == {stage.value for stage in Stage}


@pytest.mark.parametrize("stage", [s.value for s in Stage if s is not Stage.RETURNED])
@pytest.mark.parametrize("coverage", ["owner pays", "warranty"])
def test_every_stage_has_one_next_action(stage: str, coverage: str) -> None:
    found = job_flow.next_action(Standing(stage, coverage=coverage))
    assert found is not None
    assert found.verb
    assert found.path.startswith("/")


def test_a_returned_job_is_over() -> None:
    assert job_flow.next_action(Standing("returned unrepaired")) is None


def test_the_owner_is_asked_before_the_kit_goes_out() -> None:
    planned = Standing("planned", coverage="owner pays", outstanding=3)
    with pytest.raises(Refused, match="not approved"):
        job_flow.check_hand_out(planned)
    job_flow.check_hand_out(replace(planned, coverage="warranty"))
    job_flow.check_hand_out(replace(planned, second_pass=True))
    job_flow.check_hand_out(replace(planned, stage="approved"))


@pytest.mark.parametrize("check", ["check_plan", "check_quote", "check_answer", "check_hand_out", "check_safety"])
def test_a_safety_hold_stops_everything(check: str) -> None:
    with pytest.raises(Refused, match="safety hold"):
        getattr(job_flow, check)(Standing("quoted", hold=Hold.SAFETY.value))


def test_the_plan_stands_once_something_came_out() -> None:
    job_flow.check_plan(Standing("teardown"))
    with pytest.raises(Refused, match="Plan again from where it stands"):
        job_flow.check_plan(Standing("teardown", begun=True))


@pytest.mark.parametrize(
    ("standing", "stage"),
    [
        (Standing("made safe", coverage="owner pays", outstanding=2), "planned"),
        (Standing("made safe", coverage="warranty", outstanding=2), "planned"),
        (Standing("made safe", coverage="warranty", outstanding=0), "kitted"),
        (Standing("made safe", coverage="owner pays", outstanding=0), "planned"),
        (Standing("made safe", coverage="owner pays", second_pass=True, outstanding=2), "approved"),
    ],
)
def test_a_plan_leads_to_the_quote_or_to_the_kit(standing: Standing, stage: str) -> None:
    assert job_flow.stage_after_plan(standing, agreed=False) == stage


def test_an_approval_that_still_covers_the_plan_is_kept() -> None:
    assert job_flow.stage_after_plan(Standing("approved", outstanding=1), agreed=True) == "approved"


def test_an_unknown_state_of_the_cell_is_refused() -> None:
    assert job_flow.cell_is_sound("sound")
    assert not job_flow.cell_is_sound("leaking")
    with pytest.raises(Refused, match="what state the cell is in"):
        job_flow.cell_is_sound("warmish")


@pytest.mark.parametrize(
    ("stage", "hold", "words"),
    [
        ("kitted", "none", "in the usual way"),
        ("counted", "none", "while it is open on the bench"),
        ("closed", "none", "while it is open on the bench"),
        ("teardown", "safety", "safety hold"),
        ("refit", "owner's answer", "waits for the owner's answer"),
    ],
)
def test_a_new_plan_in_mid_work_is_for_an_open_device(stage: str, hold: str, words: str) -> None:
    with pytest.raises(Refused, match=words):
        job_flow.check_extension(Standing(stage=stage, hold=hold))
    job_flow.check_extension(Standing(stage="teardown", hold="parts"))
