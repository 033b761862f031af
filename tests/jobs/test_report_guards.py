"""Taking a report back, once and at the bench, leaves what was before it; a booking is corrected by its own people."""

from typing import Any

import pytest
from sqlmodel import col, func, select

from app.jobs.actions import bench, close, trouble
from app.jobs.actions.correct_booking import Corrected, correct_booking
from app.jobs.models import BenchEvent, Hold, KitLot, Stage
from app.platform.db import Database
from app.platform.errors import Refused
from app.procedures.files import SheetFile
from tests.jobs.bench_shop import SECOND, TECHNICIAN, BenchShop, set_up
from tests.jobs.bench_work import BenchWork, entries_of, kitted_work
from tests.jobs.sheets import TEXT


def last_entry(work: BenchWork) -> str:
    """Return the id of the newest entry."""
    query = select(BenchEvent.event_id).where(BenchEvent.job_id == work.job.id)
    return work.session.exec(query.order_by(col(BenchEvent.sequence).desc())).first() or ""


def entries(work: BenchWork) -> int:
    """Return how many entries the job has."""
    return work.session.exec(select(func.count()).where(BenchEvent.job_id == work.job.id)).one()


def take_back(work: BenchWork, entry: str) -> None:
    """Take a report back."""
    trouble.take_report_back(work.session, work.number, entry, **work.stamp())


def spoiled(work: BenchWork) -> int:
    """Return how many new pieces are counted as spoilt on their lots."""
    return sum(work.session.exec(select(KitLot.spoiled).where(KitLot.job_id == work.job.id)).all())


def test_a_spoilt_part_that_was_not_spoilt_is_in_hand_again(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        work.teardown()
        work.report("spoiled", "cell/strips", count=2)
        assert (spoiled(work), work.job.state.items["cell/strips"].spoiled) == (2, 2)
        take_back(work, last_entry(work))
        assert (spoiled(work), work.job.state.items["cell/strips"].spoiled) == (0, 0)
        work.refit()  # With the very strips that were reported: no others were handed out.
        assert work.job.state.refitted


def test_a_report_is_taken_back_once_and_nothing_else_is_one(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        opened = last_entry(work)
        work.teardown()
        turned = last_entry(work)
        work.report("leftover", count=1)
        report = last_entry(work)
        take_back(work, report)
        before = entries(work)
        with pytest.raises(Refused, match="already taken back"):
            take_back(work, report)
        for entry in (opened, turned, "", last_entry(work)):
            with pytest.raises(Refused, match="one of this job's reports"):
                take_back(work, entry)
        with pytest.raises(Refused, match="At least one piece"):
            work.report("leftover", count=0)
        assert entries(work) == before
        assert work.job.state.leftover == 0


def test_taking_a_report_back_opens_the_signed_count_and_an_ended_job_takes_none(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        work.teardown()
        work.refit()
        work.shop.at(5)
        work.report("leftover", count=1)
        leftover = last_entry(work)
        close.override(session, work.number, "final", "It is a spare one", 4, **work.stamp())
        assert work.job.stage.value == Stage.COUNTED.value
        take_back(work, leftover)
        assert (work.job.stage, work.job.state.counted) == (Stage.REFIT, False)
        work.report("leftover", count=1)
        leftover = last_entry(work)
        close.override(session, work.number, "final", "It is a spare one", 4, **work.stamp())
        work.pass_tests()
        close.close_job(session, work.number, work.job.version, work.shop.settings, **work.stamp())
        with pytest.raises(Refused, match="while the job is at the bench"):
            take_back(work, leftover)


def test_a_report_of_an_earlier_pass_stands(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        work.teardown()
        work.refit()
        work.shop.at(5)
        work.report("leftover", count=1)
        report = last_entry(work)
        close.override(session, work.number, "final", "It is a spare one", 4, **work.stamp())
        work.test("power", accepted=False)
        work.shop.plan(work.number, ("cell",))
        work.shop.hand_out(work.number)
        work.open()
        with pytest.raises(Refused, match="belongs to an earlier pass"):
            take_back(work, report)


def test_two_reports_choose_a_part_and_the_one_that_stands_is_kept(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session, ("speaker",))
        work.report("damage", "gasket/clips", count=1, part="F-400")
        work.report("damage", "gasket/clips", count=1, part="F-210")
        second = last_entry(work)
        assert work.job.state.new_part["gasket/clips"] == "F-210"
        take_back(work, second)
        assert work.job.state.new_part["gasket/clips"] == "F-400"


def test_a_correction_is_made_once_by_the_one_who_booked_in_or_a_supervisor(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        said = Corrected("FR-9", "Harbour office 12", "Read it again")

        def correct(**stamp: Any) -> None:
            correct_booking(session, work.number, work.job.version, said, supervisor=False, **stamp)

        before = entries(work)
        with pytest.raises(Refused, match="Whoever booked the device in"):
            correct(**work.stamp(SECOND))
        assert entries(work) == before
        stamp = work.stamp(TECHNICIAN)
        correct(**stamp)
        assert (work.job.serial, entries(work)) == ("FR-9", before + 1)
        correct(**stamp)  # Sent again: nothing differs now, and nothing is said of it.
        assert entries(work) == before + 1


def test_a_failed_inspection_that_endangers_people_puts_the_job_down_at_once(db: Database) -> None:
    words = "say: A bent shield touches the board."
    assert words in TEXT
    file = SheetFile("field-recorder.yaml", TEXT.replace(words, f"{words[:-1]} and the cell., hold: true"))
    with db.write() as session:
        shop = BenchShop(session, set_up(session, file=file))
        work = BenchWork(shop, shop.kitted(("speaker",)))
        work.open()
        for step in ("warm", "back"):
            bench.tick(session, work.number, "down", step, **work.stamp())
        work.report("reject", inspection="shield/flat")
        assert (work.job.hold, work.job.hold_reason) == (Hold.SAFETY, "A bent shield touches the board and the cell.")
        assert work.job.state.at_bench is None  # Put down: the bench time stops with it.
        with pytest.raises(Refused, match="on hold"):
            work.open()
        number = work.number
    assert len(entries_of(db, number, "hold")) == 1
