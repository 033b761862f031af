"""Questions: what a tablet sent and could not be booked stands on the job until somebody books it or sets it aside."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from fastapi import FastAPI

from app.jobs.models import Stage
from app.platform import clock
from app.platform.db import Database
from tests.jobs.bench_shop import BenchShop, set_up
from tests.jobs.bench_work import entries_of, job_of
from tests.jobs.tablet import Tablet, right_of
from tests.jobs.test_outbox import close_it, sound, whole
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]


@pytest.fixture
def number(db: Database) -> str:
    """A job with its kit, the cell to exchange."""
    with db.write() as session:
        return BenchShop(session, set_up(session)).kitted(("cell",))


@pytest.fixture
def tablet(app: FastAPI, visit: Visit, number: str) -> Tablet:
    """The technician's tablet."""
    return Tablet(app, right_of(visit("technician")), number)


def questions(visitor: Visitor, number: str) -> Page:
    """Open the questions of a job."""
    return visitor.open(f"/jobs/{number}/questions")


def test_a_question_stands_on_the_job_the_bench_the_board_and_in_the_record(
    visit: Visit, db: Database, tablet: Tablet
) -> None:
    tablet.do("open")
    tablet.do("tick", "down", "back")
    technician, supervisor = visit("technician"), visit("supervisor")
    job = technician.open(f"/jobs/{tablet.job}")
    assert "Teardown tick of “Lift the back”" in job.words
    assert "First:" in job.words
    assert "1 entry from a tablet could not be booked" in technician.open(f"/jobs/{tablet.job}/bench").words
    board = supervisor.open("/")
    assert board.soup.select_one(f'#asked ~ table a[href="/jobs/{tablet.job}/questions"]') is not None
    record = supervisor.open(f"/review/jobs/{tablet.job}")
    assert "Question: Teardown tick of “Lift the back”." in record.words


def test_it_is_booked_now_as_a_new_entry_that_points_at_it(visit: Visit, db: Database, tablet: Tablet) -> None:
    tablet.do("open")
    entry = tablet.tap("tick", "down", "back")
    tablet.send(entry)
    visitor = visit("technician")
    page = questions(visitor, tablet.job)
    refused = page.form("/book").submit()
    assert refused.status == 409
    assert "First:" in refused.words
    tablet.do("tick", "down", "warm")
    form = questions(visitor, tablet.job).form("/book")
    booked = form.submit()
    assert "Booked now." in booked.words
    assert "No questions" in booked.words
    assert form.submit().status == 200
    state = job_of(db, tablet.job).state
    assert (state.down, state.questions) == (("warm", "back"), ())
    tick = entries_of(db, tablet.job, "tick")[-1]
    assert tick.data["answers"] == entry["id"]
    assert "Settles entry" in visitor.open(f"/review/jobs/{tablet.job}").words
    sound(db)


def test_it_is_set_aside_with_a_reason(visit: Visit, db: Database, tablet: Tablet) -> None:
    tablet.do("open")
    tablet.do("tick", "down", "back")
    visitor = visit("technician")
    page = questions(visitor, tablet.job)
    wrong = page.form("/aside").submit(reason=" ")
    assert wrong.status == 422
    assert "Fill this in" in wrong.words
    done = page.form("/aside").submit(reason="Tapped by mistake")
    assert "Set aside" in done.words
    assert job_of(db, tablet.job).state.questions == ()
    assert entries_of(db, tablet.job, "set aside")[0].data["reason"] == "Tapped by mistake"
    again = page.form("/aside").submit(reason="Tapped by mistake", submission_id=clock.uuid7())
    assert again.status == 409
    assert "settled already" in again.words or again.status == 409
    sound(db)


def test_nobody_counts_or_closes_while_a_question_is_open(visit: Visit, db: Database, tablet: Tablet) -> None:
    entries = whole(db, tablet)
    tablet.pass_ms(3_600_000)
    for entry in entries:
        assert tablet.send(entry)["outcome"] == "stored"
    tablet.do("report", report="lost", item="back/screws", count=1)
    visitor = visit("technician")
    count = visitor.open(f"/jobs/{tablet.job}/count")
    assert "1 entry from a tablet is still a question" in count.words
    assert not count.soup.select('form[action$="/count"]')
    questions(visitor, tablet.job).form("/aside").submit(reason="Found under the mat")
    close_it(visit, db, tablet.job)
    assert job_of(db, tablet.job).stage is Stage.CLOSED


def test_a_question_that_came_after_the_end_can_only_be_set_aside(visit: Visit, db: Database, tablet: Tablet) -> None:
    entries = whole(db, tablet)
    late = tablet.tap("report", report="leftover", count=1)
    tablet.pass_ms(3_600_000)
    for entry in entries:
        tablet.send(entry)
    close_it(visit, db, tablet.job)
    assert tablet.send(late)["outcome"] == "question"
    visitor = visit("supervisor")
    assert f"/jobs/{tablet.job}/questions" in visitor.open("/").text
    page = questions(visitor, tablet.job)
    assert "It arrived after the job had ended." in page.words
    assert not page.soup.select('form[action$="/book"]')
    page.form("/aside").submit(reason="The piece was from another device")
    assert job_of(db, tablet.job).state.questions == ()
    assert job_of(db, tablet.job).stage is Stage.CLOSED
    sound(db)


def test_what_a_taken_over_job_was_sent_tells_what_changed(
    app: FastAPI, visit: Visit, db: Database, tablet: Tablet
) -> None:
    tablet.do("open")
    tablet.do("tick", "down", "warm")
    late = tablet.tap("tick", "down", "back", base=job_of(db, tablet.job).version)
    second = visit("second")
    second.open(f"/jobs/{tablet.job}/bench").form("/bench/open").submit()
    tablet.send(late)
    page = questions(second, tablet.job)
    assert "Taken over, Tomo Brandsma" in page.words
    assert "Ines Aldvik" in page.words
    assert "Booked now" in page.form("/book").submit().words
    tick = entries_of(db, tablet.job, "tick")[-1]
    assert tick.data["tapped_by"] != tick.person_id
    sound(db)


def test_an_undo_against_a_stale_page_says_what_came_after(visit: Visit, db: Database, tablet: Tablet) -> None:
    tablet.do("open")
    visitor = visit("technician")
    tablet.do("tick", "down", "warm")
    page = visitor.open(f"/jobs/{tablet.job}/bench")
    tablet.do("tick", "down", "back")
    stale = page.form("/bench/undo").submit()
    assert stale.status == 409
    assert "Since that entry: Step ticked: " in stale.words
    entry = tablet.tap("undo", undoes=page.form("/bench/undo").values["undoes"][0])
    assert "Since that entry: Step ticked: " in tablet.send(entry)["words"]


def test_a_tick_of_an_earlier_pass_is_asked_about_and_not_booked_in_the_next(
    visit: Visit, db: Database, tablet: Tablet
) -> None:
    old = tablet.tap("tick", "down", "warm")
    entries = whole(db, tablet)
    tablet.pass_ms(7_200_000)
    for entry in entries:
        tablet.send(entry)
    visitor = visit("technician")
    visitor.open(f"/jobs/{tablet.job}/count").form("/count").submit()
    visitor.open(f"/jobs/{tablet.job}/tests").form("/tests").submit(test="power", accepted="no")
    visitor.open(f"/jobs/{tablet.job}/targets").form("/plan").submit(targets=["cell"]).form("/plan").submit()
    with db.write() as session:
        shop = BenchShop(session, 1, now=clock.now() + timedelta(seconds=1))
        shop.hand_out(tablet.job)
    visitor.open(f"/jobs/{tablet.job}/bench").form("/bench/open").submit()
    found = tablet.send(old)
    assert job_of(db, tablet.job).state.pass_no == 2
    assert found["outcome"] == "question"
    assert "earlier pass" in found["words"]


def test_times_set_aside_are_listed_for_the_supervisor_and_count_no_bench_time(
    visit: Visit, db: Database, tablet: Tablet
) -> None:
    tablet.do("open")
    entry = tablet.tap("tick", "down", "warm")
    tablet.wall_ms += 20 * 60_000
    tablet.mono_ms += 1_000
    assert tablet.send(entry)["clock"] == "aside"
    assert entries_of(db, tablet.job, "tick")[0].data["clock"]["aside"] is True
    small = tablet.tap("tick", "down", "back")
    tablet.wall_ms += 5_000
    assert tablet.send(small)["clock"] == "skew"
    visitor = visit("supervisor")
    listed = visitor.open("/review/clocks")
    assert [a.get_text() for a in listed.soup.select("tbody a")] == [tablet.job]
    assert "20 min" in listed.words
    assert len(visitor.open("/review/clocks?small=yes").soup.select("tbody tr")) == 2
    assert "Its time is set aside" in visitor.open(f"/review/jobs/{tablet.job}").words
    assert visitor.open("/review/clocks?first=2026-02-02&last=2026-01-01").status == 422
    assert visit("technician").open("/review/clocks").status == 403
