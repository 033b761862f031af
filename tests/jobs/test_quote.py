"""The quote, the owner's answer, and returning a device unrepaired."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from sqlmodel import select

from app.jobs.models import BenchEvent, Job
from app.platform.db import Database
from app.stores import queries as stock
from tests.jobs.front import CELL_SERIAL, hand_out, level, plan, planned_job
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]


def _job(db: Database) -> Job:
    with db.read() as session:
        job = session.exec(select(Job)).one()
        session.expunge(job)
        return job


def _quoted(visit: Visit, db: Database, amount: str = "55.00") -> tuple[Visitor, str]:
    number = planned_job(visit("technician"), db, "cell", coverage="owner pays")
    supervisor = visit("supervisor")
    page = supervisor.open(f"/jobs/{number}/quote").form("/quote").submit(amount=amount, note="Two working days")
    assert page.status == 200, page.words[:600]
    return supervisor, number


def _answer(visitor: Visitor, number: str, approved: str, **more: Any) -> Page:
    form = visitor.open(f"/jobs/{number}/quote").form("/answer")
    return form.submit(**{"approved": approved, "by": "Chief officer Lind", "means": "by telephone", **more})


def test_the_amount_is_filled_in_with_what_the_lines_come_to(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell", coverage="owner pays")
    form = visit("supervisor").open(f"/jobs/{number}/quote").form("/quote")
    # Parts 28.58, and 1 240 s (the median of 1 210 s of standard time and a count) at 54.00 an hour: 18.60.
    assert form.values["amount"] == ["47.18"]


def test_a_quoted_job_waits_for_the_owner(front: Database, visit: Visit) -> None:
    supervisor, number = _quoted(visit, front)
    job = _job(front)
    assert (job.stage.value, job.hold.value, job.quoted) == ("quoted", "owner's answer", Decimal("55.0000"))
    assert number in supervisor.open("/").words
    sheet = supervisor.open(f"/jobs/{number}/quote/sheet")
    assert "€55.00" in sheet.words
    assert "Two working days" in sheet.words
    assert sheet.soup.select_one(".sheet-id svg") is not None


def test_an_approval_is_kept_with_name_means_and_time(front: Database, visit: Visit) -> None:
    supervisor, number = _quoted(visit, front)
    page = _answer(supervisor, number, "true")
    assert "Hand out kit" in page.words
    job = _job(front)
    assert (job.stage.value, job.hold.value) == ("approved", "none")
    with front.read() as session:
        data = session.exec(select(BenchEvent).where(BenchEvent.kind == "approved")).one().data
    assert (data["by"], data["means"], data["amount"]) == ("Chief officer Lind", "by telephone", "55.00")


def test_a_decline_releases_the_reservations_and_ends_the_job(front: Database, visit: Visit) -> None:
    supervisor, number = _quoted(visit, front)
    assert level(front, "DK-CELL").reserved == 1
    page = _answer(supervisor, number, "false")
    assert "Returned unrepaired" in page.words
    job = _job(front)
    assert (job.stage.value, job.hold.value, job.parts_cost) == ("returned unrepaired", "none", Decimal(0))
    assert job.closed_at is not None
    assert level(front, "DK-CELL").reserved == 0
    with front.read() as session:
        assert stock.reserved_for(session, f"job:{number}") == {}
        assert stock.stock_faults(session) == []


def test_no_kit_is_handed_out_before_the_owner_approved(front: Database, visit: Visit) -> None:
    _supervisor, number = _quoted(visit, front)
    page = visit("stores").open(f"/jobs/{number}/kit")
    assert "has not approved the quote yet" in page.words
    assert "Hand out kit" not in page.words


def test_a_warranty_job_has_no_quote(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    page = visit("supervisor").open(f"/jobs/{number}/quote")
    assert page.path == f"/jobs/{number}"
    assert "Hand out kit" in page.words


def test_another_plan_takes_an_unanswered_quote_back(front: Database, visit: Visit) -> None:
    _supervisor, number = _quoted(visit, front)
    plan(visit("technician"), number, "display")
    job = _job(front)
    assert (job.stage.value, job.hold.value) == ("planned", "none")


def test_an_answer_without_a_name_is_refused_beside_the_field(front: Database, visit: Visit) -> None:
    supervisor, number = _quoted(visit, front)
    page = _answer(supervisor, number, "true", by="")
    assert page.status == 422
    assert page.soup.find(id="f-by-error") is not None
    assert _job(front).stage.value == "quoted"


def test_an_amount_finer_than_the_currency_is_refused(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell", coverage="owner pays")
    page = visit("supervisor").open(f"/jobs/{number}/quote").form("/quote").submit(amount="55.005")
    assert page.status == 409
    assert "no smaller coins" in page.words


def test_a_device_goes_back_unrepaired_and_its_kit_to_stock(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    hand_out(visit("stores"), number, CELL_SERIAL)
    assert level(front, "DK-CELL").on_hand == 2
    form = visit("supervisor").open(f"/jobs/{number}/hold").form("/return")
    page = form.submit(reason="Owner asked for it back today")
    assert "Returned unrepaired" in page.words
    assert level(front, "DK-CELL").on_hand == 3
    with front.read() as session:
        assert stock.stock_faults(session) == []


def test_a_technician_makes_no_quote(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = planned_job(technician, front, "cell", coverage="owner pays")
    page = technician.open(f"/jobs/{number}/quote")
    assert "A supervisor makes the quote" in page.words
    values = {**technician.open("/jobs/new").form("/jobs/new").values, "version": "4", "amount": "10"}
    assert technician.post(f"/jobs/{number}/quote", values).status == 403
