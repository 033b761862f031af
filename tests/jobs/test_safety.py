"""Make safe: cautions and bench checks, and the hold for a cell that is not sound."""

from collections.abc import Callable

import pytest
from sqlmodel import col, select

from app.jobs.models import BenchEvent, Job
from app.platform.db import Database
from tests.jobs.front import book, make_safe, planned_job
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def _job(db: Database) -> tuple[str, str]:
    with db.read() as session:
        job = session.exec(select(Job)).one()
        return job.stage.value, job.hold.value


def test_the_cautions_come_before_the_questions(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    page = technician.open(f"/jobs/{book(technician, front)}/safety")
    assert page.text.index("Never lever on it.") < page.text.index("The wrist strap is tested")


def test_a_sound_device_goes_on_to_its_targets(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = book(technician, front)
    assert make_safe(technician, number).path == f"/jobs/{number}/targets"
    assert _job(front) == ("made safe", "none")


@pytest.mark.parametrize("cell", ["swollen", "dented", "hot", "leaking"])
def test_a_cell_that_is_not_sound_goes_to_a_safety_hold(front: Database, visit: Visit, cell: str) -> None:
    technician = visit("technician")
    number = book(technician, front)
    page = make_safe(technician, number, cell=cell, cautions=None, strap=None, mat=None)
    assert _job(front) == ("booked in", "safety")
    for words in (f"Cell {cell}", "cell box", "never back to stock, never by air", "special provision 376"):
        assert words in page.words
    assert "Only a supervisor releases" in page.words


def test_a_technician_may_not_release_a_safety_hold(front: Database, visit: Visit) -> None:
    technician, supervisor = visit("technician"), visit("supervisor")
    number = book(technician, front)
    make_safe(technician, number, cell="swollen")
    form = supervisor.open(f"/jobs/{number}/hold").form("/hold/end")
    form.values["csrf_token"] = technician.open("/").form("/sign-out").values["csrf_token"]
    page = technician.post(form.action, {**form.values, "reason": ["It looks fine now"]})
    assert page.status == 403
    assert _job(front) == ("booked in", "safety")


def test_a_supervisor_releases_a_safety_hold_with_a_reason_and_the_questions_are_asked_again(
    front: Database, visit: Visit
) -> None:
    technician, supervisor = visit("technician"), visit("supervisor")
    number = book(technician, front)
    make_safe(technician, number, cell="swollen")
    hold = supervisor.open(f"/jobs/{number}/hold").form("/hold/end")
    assert "Give the reason in a few words" in hold.submit(reason="fine").words
    hold = supervisor.open(f"/jobs/{number}/hold").form("/hold/end")
    assert hold.submit(reason="Cell taken out and quarantined in box 2").status == 200
    assert _job(front) == ("booked in", "none")
    assert make_safe(technician, number, cell="no cell").path == f"/jobs/{number}/targets"
    with front.read() as session:
        kinds = [e.kind for e in session.exec(select(BenchEvent).order_by(col(BenchEvent.sequence))).all()]
    assert kinds == ["booked", "hold", "hold ended", "safe"]


def test_nothing_goes_on_while_a_job_is_on_a_safety_hold(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = planned_job(technician, front, "cell")
    form = technician.open(f"/jobs/{number}/hold").form("/hold")
    form.submit(hold="safety", reason="Case bulges after a night on the shelf")
    page = technician.open(f"/jobs/{number}/kit")
    assert "on a safety hold" in page.words
    stores = visit("stores")
    assert "Hand out kit" not in stores.open(f"/jobs/{number}/kit").words


@pytest.mark.parametrize(
    ("left_out", "words"),
    [
        ("cautions", "Read the cautions above"),
        ("strap", "Test the wrist strap"),
        ("mat", "connected to ground"),
    ],
)
def test_a_check_that_was_not_done_is_named_beside_its_box(
    front: Database, visit: Visit, left_out: str, words: str
) -> None:
    technician = visit("technician")
    number = book(technician, front)
    page = make_safe(technician, number, **{left_out: None})
    assert page.status == 409
    error = page.soup.find(id=f"f-{left_out}-error")
    assert error is not None
    assert words in error.get_text()
    assert _job(front) == ("booked in", "none")


def test_no_plan_is_made_before_the_job_is_made_safe(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = book(technician, front)
    page = technician.open(f"/jobs/{number}/plan?targets=cell")
    assert "Answer the make-safe questions first" in page.words
    assert "Use this plan" not in page.words
    token = technician.open("/jobs/new").form("/jobs/new").values
    sent = {**token, "version": "2", "targets": "cell"}
    page = technician.post(f"/jobs/{number}/plan", sent)
    assert page.status == 409


def test_an_owners_hold_is_put_on_and_ended_by_a_technician(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = book(technician, front)
    form = technician.open(f"/jobs/{number}/hold").form("/hold")
    page = form.submit(hold="owner's answer", reason="Which lid does the owner want?")
    assert _job(front) == ("booked in", "owner's answer")
    page = page.form("/hold/end").submit(reason="They take the grey one")
    assert _job(front) == ("booked in", "none")
    assert page.path == f"/jobs/{number}"
