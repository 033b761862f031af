"""What tablets send: booked once, in order, under the right of the one who tapped; nothing dropped."""

from collections.abc import Callable
from decimal import Decimal
from io import BytesIO
from threading import Barrier, Thread
from typing import Any

import pytest
from fastapi import FastAPI
from PIL import Image
from sqlmodel import col, select

from app.jobs.actions.close import record_test
from app.jobs.models import BenchEvent, Stage
from app.jobs.queries.faults import bench_faults
from app.jobs.queries.jobs import photos
from app.people import queries as people
from app.people.actions import revoke_all
from app.people.models import Tablet as Tables
from app.platform import clock
from app.platform.db import Database
from app.procedures import queries as procedures
from tests.jobs.bench_shop import SECOND, TECHNICIAN, BenchShop, set_up
from tests.jobs.bench_work import entries_of, job_of
from tests.jobs.tablet import Tablet, right_of
from tests.visitor import Visitor

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


def a_picture(colour: str = "navy") -> bytes:
    """A small photo."""
    out = BytesIO()
    Image.new("RGB", (64, 48), colour).save(out, "JPEG")
    return out.getvalue()


def rows(db: Database, number: str) -> list[BenchEvent]:
    """Return a job's entries that came from a tablet, in order."""
    with db.read() as session:
        found = session.exec(select(BenchEvent).order_by(col(BenchEvent.job_id), col(BenchEvent.sequence))).all()
        session.expunge_all()
    return [row for row in found if row.device_id]


def sound(db: Database) -> None:
    """The project's own check finds no fault."""
    with db.read() as session:
        assert bench_faults(session) == []


def whole(db: Database, tablet: Tablet) -> list[dict[str, Any]]:
    """Tap a whole job through, a minute a step and more where something cures; nothing is sent yet."""
    job = job_of(db, tablet.job)
    with db.read() as session:
        sheet = procedures.sheet(session, job.revision_id)
    entries = [tablet.tap("open")]
    for step in job.state.teardown:
        tablet.pass_ms(60_000)
        entries.append(tablet.tap("tick", "down", step))
    entries.append(tablet.tap("turn"))
    for step in job.state.refit:
        tablet.pass_ms(60_000)
        entries.append(tablet.tap("tick", "up", step))
        refit = sheet.step(step).refit
        tablet.pass_ms(1000 * (refit.cure_s + refit.press_s) if refit else 0)
    return entries


def close_it(visit: Visit, db: Database, number: str) -> None:
    """Count, test and close a job whose refit is done."""
    visitor = visit("technician")
    visitor.open(f"/jobs/{number}/count").form("/count").submit()
    with db.write() as session:
        more: dict[str, Any] = {"at": clock.now(), "who": TECHNICIAN}
        record_test(session, number, "power", accepted=True, event_id=clock.uuid7(), **more)
        record_test(session, number, "leak", reading=Decimal(2), second=SECOND, event_id=clock.uuid7(), **more)
    visitor.open(f"/jobs/{number}/close").form("/close").submit()


def test_a_tick_is_booked_and_answered_with_what_comes_next(db: Database, tablet: Tablet) -> None:
    opened = tablet.do("open")
    assert (opened["outcome"], opened["expects"], opened["gap"], opened["clock"]) == ("stored", 2, None, "ok")
    ticked = tablet.do("tick", "down", "warm", opened["version"])
    assert (ticked["outcome"], ticked["version"]) == ("stored", opened["version"] + 1)
    assert job_of(db, tablet.job).state.down == ("warm",)
    row = rows(db, tablet.job)[-1]
    assert (row.kind, row.device_id, row.device_sequence) == ("tick", tablet.device, 2)


def test_the_same_entry_again_has_the_first_outcome_and_other_content_is_a_conflict(
    db: Database, tablet: Tablet
) -> None:
    tablet.do("open")
    entry = tablet.tap("tick", "down", "warm")
    first = tablet.send(entry)
    tablet.pass_ms(90_000)
    tablet.reload()
    again = tablet.send(entry)
    assert {k: v for k, v in again.items() if k not in ("received_ms", "clock")} == {
        k: v for k, v in first.items() if k not in ("received_ms", "clock")
    }
    assert len(entries_of(db, tablet.job, "tick")) == 1
    other = tablet.post({**entry, "step": "back"})
    assert other.status_code == 409
    assert "other content" in other.json()["detail"]
    assert len(rows(db, tablet.job)) == 2


def test_a_tick_stays_booked_when_it_comes_again_after_it_was_taken_back(db: Database, tablet: Tablet) -> None:
    tablet.do("open")
    entry = tablet.tap("tick", "down", "warm")
    tablet.send(entry)
    assert tablet.do("undo", undoes=entry["id"])["outcome"] == "stored"
    assert tablet.send(entry)["outcome"] == "stored"
    assert job_of(db, tablet.job).state.down == ()
    assert [row.kind for row in rows(db, tablet.job)] == ["opened", "tick", "undo"]


def test_a_whole_backlog_replays_in_order_with_what_had_to_cure(db: Database, tablet: Tablet) -> None:
    """The cure was waited out on the bench, hours before anything could be sent."""
    entries = whole(db, tablet)
    tablet.pass_ms(3 * 3600_000)
    answers = [tablet.send(entry) for entry in entries]
    assert {answer["outcome"] for answer in answers} == {"stored"}
    found = job_of(db, tablet.job)
    assert found.state.refitted
    assert found.state.questions == ()
    times = [row.at for row in rows(db, tablet.job)]
    assert times == sorted(times)
    assert (times[1] - times[0]).total_seconds() == pytest.approx(60, abs=2)
    assert all(row.data.get("received") for row in rows(db, tablet.job))
    sound(db)


def test_a_backlog_tapped_over_a_reload_replays_by_the_wall_clock(db: Database, tablet: Tablet) -> None:
    first = tablet.tap("open")
    tablet.pass_ms(60_000)
    second = tablet.tap("tick", "down", "warm")
    tablet.reload()
    tablet.pass_ms(600_000)
    assert [tablet.send(first)["clock"], tablet.send(second)["clock"]] == ["ok", "ok"]
    one, two = (row.at for row in rows(db, tablet.job))
    assert (two - one).total_seconds() == pytest.approx(60, abs=2)


def test_what_is_missing_before_an_entry_is_named(tablet: Tablet) -> None:
    tablet.do("open")
    tablet.seq += 3
    late = tablet.do("tick", "down", "warm")
    assert (late["gap"], late["expects"]) == ([2, 4], 6)
    tablet.seq = 1
    filled = tablet.do("pause", reason="Break")
    assert (filled["gap"], filled["expects"]) == (None, 6)


def test_a_second_tick_of_one_step_is_kept_as_also_reported(
    app: FastAPI, visit: Visit, db: Database, tablet: Tablet
) -> None:
    tablet.do("open")
    other = Tablet(app, tablet.right, tablet.job)
    tick = other.tap("tick", "down", "warm")
    tablet.do("tick", "down", "warm")
    found = other.send(tick)
    assert found["outcome"] == "also"
    assert other.send(tick)["outcome"] == "also"
    assert [row.kind for row in rows(db, tablet.job)] == ["opened", "tick", "also"]
    assert job_of(db, tablet.job).state.down == ("warm",)
    assert tablet.do("open")["outcome"] == "also"
    tablet.do("pause", reason="Break")
    assert other.do("pause", reason="Break")["outcome"] == "also"
    sound(db)


def test_a_tick_out_of_order_becomes_a_question_and_is_never_dropped(db: Database, tablet: Tablet) -> None:
    tablet.do("open")
    entry = tablet.tap("tick", "down", "back")
    found = tablet.send(entry)
    assert found["outcome"] == "question"
    assert "First:" in found["words"]
    assert tablet.send(entry) | {"received_ms": 0} == found | {"received_ms": 0}
    state = job_of(db, tablet.job).state
    assert state.questions == (entry["id"],)
    assert state.down == ()
    sound(db)


def test_ticks_of_somebody_whose_job_was_taken_over_become_questions(
    app: FastAPI, visit: Visit, db: Database, tablet: Tablet
) -> None:
    tablet.do("open")
    tablet.do("tick", "down", "warm")
    late = tablet.tap("tick", "down", "back", base=3)
    visit("second").open(f"/jobs/{tablet.job}/bench").form("/bench/open").submit()
    found = tablet.send(late)
    assert found["outcome"] == "question"
    assert "Another technician" in found["words"]
    assert job_of(db, tablet.job).state.down == ("warm",)
    assert "Taken over, Tomo Brandsma" in entries_of(db, tablet.job, "question")[0].data["changes"]


def test_a_tablet_that_resumes_late_does_not_take_the_job_back(visit: Visit, db: Database, tablet: Tablet) -> None:
    tablet.do("open")
    tablet.do("tick", "down", "warm")
    resumed = tablet.tap("open")
    second = visit("second")
    second.open(f"/jobs/{tablet.job}/bench").form("/bench/open").submit()
    found = tablet.send(resumed)
    assert found["outcome"] == "question"
    assert "Another technician has this job now" in found["words"]
    assert job_of(db, tablet.job).state.at_bench == SECOND


def test_photos_are_kept_once_with_the_report_they_belong_to(visit: Visit, db: Database, tablet: Tablet) -> None:
    tablet.do("open")
    report = tablet.tap("report", report="damage", item="back/screws", count=1)
    tablet.send(report)
    picture = a_picture()
    entry = tablet.tap("photo", step="back", of=report["id"], caption="Head stripped")
    first, again = tablet.photo(entry, picture), tablet.photo(entry, picture)
    assert (first.status_code, first.json()["outcome"]) == (200, "stored")
    assert again.json() | {"received_ms": 0} == first.json() | {"received_ms": 0}
    assert tablet.photo(entry, a_picture("red")).status_code == 409
    with db.read() as session:
        assert [p.caption for p in photos(session, job_of(db, tablet.job).id)] == ["Head stripped"]
    record = visit("supervisor").open(f"/review/jobs/{tablet.job}")
    assert record.soup.select_one('.entry.is-trouble img[alt="Head stripped"]') is not None
    sound(db)


def test_a_photo_that_is_none_is_refused_with_words_and_stays_on_the_tablet(db: Database, tablet: Tablet) -> None:
    tablet.do("open")
    answer = tablet.photo(tablet.tap("photo", step="back"), b"no picture")
    assert answer.status_code == 422
    assert "is not a photo that can be read" in answer.json()["detail"]
    assert tablet.post(tablet.tap("photo")).status_code == 422
    assert [row.kind for row in rows(db, tablet.job)] == ["opened"]


def test_a_photo_of_somebody_whose_right_ended_is_kept_with_its_question(
    visit: Visit, db: Database, tablet: Tablet
) -> None:
    tablet.do("open")
    entry = tablet.tap("photo", step="back")
    with db.write() as session:
        revoke_all(session, TECHNICIAN, clock.now())
    assert tablet.photo(entry, a_picture()).json()["outcome"] == "question"
    tick = tablet.do("tick", "down", "warm")
    assert tick["outcome"] == "question"
    assert "has been ended" in tick["words"]
    supervisor = visit("supervisor")
    page = supervisor.open(f"/jobs/{tablet.job}/questions")
    assert "Booked now" in page.form("/book").submit().words
    with db.read() as session:
        assert len(photos(session, job_of(db, tablet.job).id)) == 1
    assert len(job_of(db, tablet.job).state.questions) == 1
    sound(db)


def test_what_waits_on_a_tablet_is_noted_now_and_then(db: Database, tablet: Tablet) -> None:
    first, second = tablet.tap("open"), tablet.tap("tick", "down", "warm")
    tablet.post(first, waiting=2)
    with db.read() as session:
        waiting, since = session.exec(select(Tables.waiting, Tables.waiting_since)).one()
    assert (waiting, since is not None) == (1, True)
    tablet.post(second, waiting=1)
    with db.read() as session:
        assert session.exec(select(Tables.waiting)).one() == 0


def test_the_right_is_of_the_one_who_tapped_whoever_sends_it(visit: Visit, db: Database, tablet: Tablet) -> None:
    """Nobody is signed in on the sending side; after the sign-out the right stays good for what was tapped before."""
    visitor = visit("technician")
    tablet.right = right_of(visitor)
    opened, tick = tablet.tap("open"), tablet.tap("tick", "down", "warm")
    visitor.open("/me").form("/sign-out").submit()
    tablet.pass_ms(60_000)
    assert [tablet.send(opened)["outcome"], tablet.send(tick)["outcome"]] == ["stored", "stored"]
    with db.read() as session:
        assert people.names(session)[rows(db, tablet.job)[-1].person_id or 0] == "Ines Aldvik"


def test_an_unknown_right_is_not_let_in_and_another_site_is_refused(db: Database, tablet: Tablet) -> None:
    entry = tablet.tap("open")
    assert tablet.post(entry, right="made up").status_code == 401
    assert tablet.post(entry, right="").status_code == 401
    tablet.client.headers["sec-fetch-site"] = "cross-site"
    assert tablet.post(entry).status_code == 403
    assert rows(db, tablet.job) == []


def test_an_entry_that_makes_no_sense_is_named_and_not_stored(db: Database, tablet: Tablet) -> None:
    answer = tablet.post({**tablet.tap("open"), "kind": "dance"})
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert tablet.post({**tablet.tap("open"), "job": "J999999"}).status_code == 404
    assert rows(db, tablet.job) == []


def test_two_copies_of_a_tablets_store_lose_nothing(app: FastAPI, db: Database, tablet: Tablet) -> None:
    """A restored backup of a tablet counts from an old number again: the fact is kept without the number."""
    tablet.do("open")
    tablet.do("tick", "down", "warm")
    copy = Tablet(app, tablet.right, tablet.job, device=tablet.device, seq=1)
    assert copy.do("tick", "down", "back")["outcome"] == "stored"
    assert job_of(db, tablet.job).state.down == ("warm", "back")
    tick = entries_of(db, tablet.job, "tick")[-1]
    assert tick.data["tablet"] == {"id": tablet.device, "number": 2, "taken": True}
    sound(db)


def test_failed_inspections_and_a_tick_are_one_entry(db: Database, tablet: Tablet) -> None:
    tablet.do("open")
    for step in ("warm", "back"):
        tablet.do("tick", "down", step)
    state = job_of(db, tablet.job).state
    step = next(s for s in state.teardown if s not in state.down)
    entry = tablet.tap("tick", "down", step, rejects=["shield/flat"] if step == "shield" else [])
    tablet.send(entry)
    assert step in job_of(db, tablet.job).state.down
    sound(db)


def test_trouble_is_reported_and_taken_back_from_the_tablet(db: Database, tablet: Tablet) -> None:
    tablet.do("open")
    report = tablet.tap("report", report="damage", item="back/screws", count=2, note="Heads stripped")
    assert tablet.send(report)["outcome"] == "stored"
    assert job_of(db, tablet.job).state.items["back/screws"].damaged == 2
    assert tablet.do("take_back", undoes=report["id"])["outcome"] == "stored"
    assert tablet.do("take_back", undoes=report["id"])["outcome"] == "also"
    assert job_of(db, tablet.job).state.items["back/screws"].damaged == 0
    sound(db)


def test_what_is_undone_while_still_a_question_is_set_aside(db: Database, tablet: Tablet) -> None:
    tablet.do("open")
    entry = tablet.tap("tick", "down", "back")
    assert tablet.send(entry)["outcome"] == "question"
    assert tablet.do("undo", undoes=entry["id"])["outcome"] == "stored"
    assert job_of(db, tablet.job).state.questions == ()
    assert entries_of(db, tablet.job, "set aside")[0].data["answers"] == entry["id"]
    sound(db)


def test_what_arrives_after_the_job_was_closed_is_kept_and_the_seal_holds(
    visit: Visit, db: Database, tablet: Tablet
) -> None:
    entries = whole(db, tablet)
    late = tablet.tap("tick", "down", "warm"), tablet.tap("report", report="leftover", count=1)
    tablet.pass_ms(3600_000)
    for entry in entries:
        tablet.send(entry)
    close_it(visit, db, tablet.job)
    assert job_of(db, tablet.job).stage is Stage.CLOSED
    assert [tablet.send(entry)["outcome"] for entry in late] == ["also", "question"]
    sound(db)
    record = visit("supervisor").open(f"/review/jobs/{tablet.job}")
    assert "The record is sealed, and all its entries verify." in record.words
    assert "arrived after closing" in record.words.lower()


def test_the_same_entry_from_two_connections_at_once_is_one_row(db: Database, tablet: Tablet) -> None:
    tablet.do("open")
    entry = tablet.tap("tick", "down", "warm")
    answers: list[dict[str, Any]] = []
    start = Barrier(6)

    def deliver() -> None:
        start.wait(30)
        answers.append(tablet.send(entry))

    threads = [Thread(target=deliver) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert [answer["outcome"] for answer in answers] == ["stored"] * 6
    assert len(rows(db, tablet.job)) == 2
    sound(db)


def test_two_tablets_that_tick_one_step_at_once_make_one_tick_and_one_also(
    app: FastAPI, db: Database, tablet: Tablet
) -> None:
    tablet.do("open")
    tablets = [Tablet(app, tablet.right, tablet.job) for _ in range(4)]
    outcomes: list[str] = []
    start = Barrier(4)

    def deliver(one: Tablet) -> None:
        start.wait(30)
        outcomes.append(one.do("tick", "down", "warm")["outcome"])

    threads = [Thread(target=deliver, args=(one,)) for one in tablets]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert sorted(outcomes) == ["also", "also", "also", "stored"]
    sound(db)
