"""The day that is promised: worked out from calendar, bench, queue and shelf, kept, and what becomes of it."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from sqlmodel import select

from app.jobs.actions import close
from app.jobs.actions.step_times import rebuild_step_times
from app.jobs.models import BenchEvent, Job, StepTimeRow
from app.jobs.queries.outlook import Outlook
from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from app.platform.settings import Settings
from app.rules.working_calendar import day_words
from app.stores import actions as stores
from app.stores import queries as stock
from app.stores.actions import OrderLine, ReceivedLine
from tests.jobs.bench_work import kitted_work
from tests.jobs.front import book, make_safe, planned_job
from tests.jobs.test_board import _api
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


@pytest.fixture
def settings(tmp_path: Any) -> Settings:
    """A workshop that works every day around the clock, so that no test depends on the day it runs."""
    return Settings(
        site_name="Test workshop", data_dir=tmp_path, shifts="00:00-00:00", bench_people=1,
        working_days="mon, tue, wed, thu, fri, sat, sun",
    )  # fmt: skip


def _job(db: Database, number: str) -> Job:
    with db.read() as session:
        job = session.exec(select(Job).where(Job.number == number)).one()
        session.expunge(job)
        return job


def _today(settings: Settings) -> date:
    return clock.now().astimezone(settings.zone).date()


def test_the_plan_names_the_day_and_why(front: Database, visit: Visit, settings: Settings) -> None:
    technician = visit("technician")
    number = book(technician, front)
    make_safe(technician, number)
    page = technician.open(f"/jobs/{number}/plan?targets=cell")
    assert "This job needs 21 min at the bench" in page.words
    assert "The bench has 18 h of bench time on a working day (1 person)." in page.words
    form = page.form("/plan")
    assert date.fromisoformat(form.values["promised_on"][0]) - _today(settings) <= timedelta(days=1)


def test_a_promise_given_with_the_plan_is_kept_with_its_reasons(
    front: Database, visit: Visit, settings: Settings
) -> None:
    number = planned_job(visit("technician"), front, "cell")
    job = _job(front, number)
    assert job.promised_on is not None
    assert job.promise is not None
    assert [kind for kind, _amount, _words in job.promise["causes"]][:2] == ["work", "capacity"]
    with front.read() as session:
        data = session.exec(select(BenchEvent.data).where(BenchEvent.kind == "promised")).one()
    assert (data["on"], data["reason"]) == (job.promised_on.isoformat(), "With the plan")
    assert (job.median_s, job.p80_s) == (1240, 1719)


def test_a_part_that_nobody_ordered_leaves_the_day_open(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = book(technician, front)
    make_safe(technician, number)
    page = technician.open(f"/jobs/{number}/plan?targets=camera")
    assert "No day can be named" in page.words
    assert "Camera (DK-CAM) is short and not on order. Order it, then a day can be promised." in page.words


def _order_camera(db: Database, sent: datetime) -> int:
    with db.write() as session:
        number = stores.place_order(
            session, stock.suppliers(session)[0].id, [OrderLine("DK-CAM", 1)],
            entry_id=clock.uuid7(), at=sent, who=None,
        )  # fmt: skip
        return next(order.id for order in stock.open_orders(session) if order.number == number)


def test_a_part_on_order_moves_the_promise_by_what_was_learnt_of_its_supplier(
    front: Database, visit: Visit, settings: Settings
) -> None:
    now = clock.now()
    # Eight orders, confirmed for the tenth day, came on the fifteenth.
    for n in range(8):
        sent = now - timedelta(days=300 - 30 * n)
        order_id = _order_camera(front, sent)
        with front.write() as session:
            stamp: dict[str, Any] = {"entry_id": clock.uuid7(), "at": sent, "who": None}
            stores.confirm_order(session, order_id, (sent + timedelta(days=10)).date(), **stamp)
            came = sent + timedelta(days=15)
            line = ReceivedLine("DK-CAM", 1, f"K{n}", None)
            stores.receive_goods(
                session, order_id, [line], entry_id=clock.uuid7(), at=came, who=None, today=came.date()
            )
    with front.write() as session:
        lots = stock.lots_of(session, ["DK-CAM"])
        for lot in lots:
            stores.scrap_stock(
                session, lot.lot_id, lot.location_id, lot.on_hand, "Dropped", entry_id=clock.uuid7(), at=now, who=None
            )
    order_id = _order_camera(front, now)
    technician = visit("technician")
    number = book(technician, front)
    make_safe(technician, number)
    plan_address = f"/jobs/{number}/plan?targets=camera"
    page = technician.open(plan_address)
    assert "Kelp Spares has named no day; after 8 deliveries the part takes 14 days." in page.words
    said = (now + timedelta(days=20)).date()
    with front.write() as session:
        stores.confirm_order(session, order_id, said, entry_id=clock.uuid7(), at=now, who=None)
    page = technician.open(plan_address)
    assert f"Kelp Spares says {day_words(said)}; by its last 8 orders it comes 3.6 days late." in page.words
    promised = date.fromisoformat(page.form("/plan").values["promised_on"][0])
    assert said + timedelta(days=4) <= promised <= said + timedelta(days=9)


def test_closed_days_make_a_promise_slip_and_the_job_the_board_and_the_promise_say_why(
    front: Database, visit: Visit, settings: Settings
) -> None:
    supervisor = visit("supervisor")
    number = planned_job(visit("technician"), front, "cell")
    given = _job(front, number).promised_on
    assert given is not None
    for later in range((given - _today(settings)).days + 3):
        day = _today(settings) + timedelta(days=later)
        page = supervisor.open("/site/calendar").form("/calendar").submit(day=day.isoformat(), name="Works outing")
        assert page.status == 200, page.words[:500]
        assert day_words(day) in page.words
    job = visit("technician").open(f"/jobs/{number}")
    assert f"Promised for {day_words(given)}. As things stand it will be" in job.words
    assert "There are more closed days." in job.words
    board = supervisor.open("/")
    assert "Will be late as things stand" in board.words
    assert "There are more closed days. Closed:" in board.words
    assert "Works outing" in supervisor.open(f"/jobs/{number}/promise").words
    assert _job(front, number).promised_on == given


def test_the_list_says_how_late_a_promise_will_be_and_narrows_to_those(
    front: Database, visit: Visit, settings: Settings, app: FastAPI
) -> None:
    supervisor, technician = visit("supervisor"), visit("technician")
    number = planned_job(technician, front, "cell")
    given = _job(front, number).promised_on
    assert given is not None
    assert "No job fits" in technician.open("/jobs?promise=slipping").words
    assert "working days late" not in technician.open("/jobs").words
    kept = book(technician, front, promised_on=(given + timedelta(days=60)).isoformat())
    closed = [_today(settings) + timedelta(days=n) for n in range((given - _today(settings)).days + 2)]
    for day in closed:
        supervisor.open("/site/calendar").form("/calendar").submit(day=day.isoformat(), name="Works outing")
    words = technician.open("/jobs").words
    # Days that became closed are not working days, so that however many they are it is one.
    assert "1 working day late" in words
    assert "now" in words
    narrowed = technician.open("/jobs?promise=slipping").words
    assert number in narrowed
    assert kept not in narrowed
    assert "1 working day late" in supervisor.open("/").words
    api = _api(app, front, Role.TECHNICIAN)
    items = api.get("/api/v1/jobs?slipping=true").json()["items"]
    assert [(item["number"], item["working_days_late"]) for item in items] == [(number, 1)]
    assert items[0]["expected_on"] == (closed[-1] + timedelta(days=1)).isoformat()
    assert api.get(f"/api/v1/jobs/{number}").json()["working_days_late"] == 1


def test_another_day_is_a_supervisors_decision_with_a_reason(front: Database, visit: Visit, settings: Settings) -> None:
    number = planned_job(visit("technician"), front, "cell")
    supervisor = visit("supervisor")
    later = (_today(settings) + timedelta(days=9)).isoformat()
    form = supervisor.open(f"/jobs/{number}/promise").form("/promise")
    refused = form.submit(promised_on=later, reason="Later")
    assert refused.status == 409
    again = supervisor.open(f"/jobs/{number}/promise").form("/promise")
    shown = again.submit(promised_on=later, reason="Owner is at sea until then")
    assert "Owner is at sea until then" in shown.words
    job = _job(front, number)
    assert job.promised_on is not None
    assert job.promised_on.isoformat() == later
    with front.read() as session:
        rows = session.exec(select(BenchEvent.data).where(BenchEvent.kind == "promised")).all()
    assert rows[-1]["instead_of"] == rows[0]["on"]
    past = (_today(settings) - timedelta(days=2)).isoformat()
    page = supervisor.open(f"/jobs/{number}/promise").form("/promise").submit(promised_on=past, reason="No good reason")
    assert page.status == 409
    assert "has passed" in page.words


def test_jobs_that_go_first_push_the_day_out(front: Database, visit: Visit, settings: Settings) -> None:
    technician = visit("technician")
    first = planned_job(technician, front, "cell")
    second = book(technician, front)
    make_safe(technician, second)
    page = technician.open(f"/jobs/{second}/plan?targets=display")
    assert "1 job goes first and needs 21 min." in page.words
    with front.read() as session:
        outlook = Outlook(session, settings, clock.now())
        assert [job.number for job in outlook.queue] == [first, second]


def test_a_job_on_hold_for_its_owner_takes_no_bench_time(front: Database, visit: Visit, settings: Settings) -> None:
    supervisor = visit("supervisor")
    held = planned_job(visit("technician"), front, "cell", coverage="owner pays")
    supervisor.open(f"/jobs/{held}/quote").form("/quote").submit()
    with front.read() as session:
        outlook = Outlook(session, settings, clock.now())
        assert (outlook.queue, outlook.left_out) == ((), 1)
        assert outlook.of(_job(front, held).id or 0) is not None


def test_no_day_is_named_for_a_job_on_a_safety_hold(front: Database, visit: Visit, settings: Settings) -> None:
    technician, supervisor = visit("technician"), visit("supervisor")
    number = book(technician, front, promised_on=(_today(settings) + timedelta(days=6)).isoformat())
    make_safe(technician, number, cell="swollen", cautions=None, strap=None, mat=None)
    shown = supervisor.open(f"/jobs/{number}/promise").words
    assert "No day can be named." in shown
    assert "A day can be promised once a supervisor has let it go on." in shown
    board = supervisor.open("/").words
    assert "No day can be named" in board
    assert "Will be late as things stand" not in board


def test_a_public_holiday_that_is_worked_is_entered_as_open(front: Database, visit: Visit) -> None:
    supervisor = visit("supervisor")
    form = supervisor.open("/site/calendar").form("/calendar")
    page = form.submit(day="2099-12-25", name="Manned for the ferry", kind="open")
    assert "Friday 25 December 2099" in page.words
    again = form.page.form("/calendar").submit(
        day="2099-12-25", name="Twice", kind="closed", submission_id=clock.uuid7()
    )
    assert again.status == 409
    assert "is entered already" in again.words
    page = supervisor.open("/site/calendar").form("/remove").submit()
    assert "2099" not in page.words


def test_the_calendar_is_a_supervisors(front: Database, visit: Visit) -> None:
    assert visit("technician").open("/site/calendar").status == 403


def test_step_times_are_kept_when_a_job_closes(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        work.teardown()
        work.refit()
        work.sign()
        work.pass_tests()
        close.close_job(session, work.number, work.job.version, Settings(), **work.stamp())
        rows = session.exec(select(StepTimeRow).order_by(StepTimeRow.id)).all()  # type: ignore[arg-type]
        kept = [(row.side, row.step, row.seconds) for row in rows]
        # Each step, and what the job took beside them: the count and the tests.
        assert len(kept) == len(work.job.state.teardown) + len(work.job.state.refit) + 1
        assert sum(seconds for _side, _step, seconds in kept) == work.job.bench_s
        assert all(seconds >= 1 for _side, _step, seconds in kept)
        assert rebuild_step_times(session, Settings()) == (1, len(kept) - 1)
