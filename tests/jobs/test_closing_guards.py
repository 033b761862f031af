"""What closing and handing out ask before they write, and what closing leaves behind: one guard or trace at a time."""

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from sqlmodel import col, select

from app.jobs.actions import close, hold, issue_kit
from app.jobs.actions.record import load_job, record
from app.jobs.models import Hold, Job, KitLot, PartUse, Stage
from app.platform.clock import uuid7
from app.platform.db import Database
from app.platform.errors import Conflict, Refused
from app.stores import actions as stores
from app.stores import queries as shelf
from app.stores.actions import Pick
from tests.jobs.bench_shop import CLERK, TECHNICIAN, BenchShop, picks_for, set_up
from tests.jobs.bench_work import BenchWork, kitted_work


def counted(work: BenchWork) -> None:
    """Bring a job to its signed count."""
    work.teardown()
    work.refit()
    work.shop.at(5)
    work.sign()


def shut(work: BenchWork) -> None:
    """Close a job as it stands."""
    close.close_job(work.session, work.number, work.job.version, work.shop.settings, **work.stamp())


def test_a_job_closes_after_its_count_its_tests_its_holds_and_its_questions(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        acts: tuple[Callable[[], object], ...] = (lambda: None, work.teardown, work.refit)
        for act in acts:
            act()
            with pytest.raises(Refused, match="after its closing count"):
                shut(work)
        work.shop.at(5)
        work.sign()
        with pytest.raises(Refused, match="Still to test: Powers up; Leak test"):
            shut(work)
        work.pass_tests()
        asked = work.stamp()
        record(session, load_job(session, work.number), kind="question", step="back", data={"of": "tick"}, **asked)
        with pytest.raises(Refused, match="still a question"):
            shut(work)
        record(session, load_job(session, work.number), kind="set aside", data={"answers": asked["event_id"]},
               **work.stamp())  # fmt: skip
        hold.put_on_hold(session, work.number, work.job.version, "safety", "It smells", **work.stamp())
        with pytest.raises(Refused, match="on hold"):
            shut(work)
        hold.end_hold(session, work.number, work.job.version, "The glue was fresh", **work.stamp(), supervisor=True)
        shut(work)
        assert work.job.stage is Stage.CLOSED


def test_closing_fixes_the_figures_lets_every_promise_go_and_names_who_closed(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        counted(work)
        work.pass_tests()
        source = f"job:{work.number}"
        stores.reserve(session, source, {"F-400": 2}, entry_id=uuid7(), at=work.shop.at(), who=CLERK)
        row = load_job(session, work.number)
        row.hold, row.hold_reason = Hold.PARTS, "2 × F-400"
        expected = close.account(session, row, work.shop.settings, work.shop.now)
        shut(work)
        assert shelf.reserved_for(session, source) == {}
        number = work.number
    with db.read() as session:
        job = session.exec(select(Job).where(col(Job.number) == number)).one()
        # Cell 31.80, rim seal 1.845 → 1.85, two strips 1.28, a wipe 0.155 → 0.16.
        assert job.parts_cost == Decimal("35.09")
        assert (job.bench_s, job.labour_cost) == (expected.bench.total_s, expected.labour)
        assert expected.bench.total_s > 0
        assert (job.closed_by, job.hold, job.hold_reason) == (TECHNICIAN, Hold.NONE, "")
        assert job.seal == job.chain != ""


def test_what_came_back_once_does_not_come_back_again(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        job = load_job(session, work.number)
        first = close.return_unused(session, job, at=work.shop.at(), who=CLERK, entry_id=uuid7())
        assert sum(count for _lot, count in first) == 5  # Cell, seal, two strips and a wipe.
        assert close.return_unused(session, job, at=work.shop.at(), who=CLERK, entry_id=uuid7()) == []
        lots = session.exec(select(KitLot).where(KitLot.job_id == job.id)).all()
        assert all(lot.returned == lot.issued for lot in lots)


def test_a_second_piece_of_a_lot_keeps_the_serials_of_both(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        work.teardown()
        first = session.exec(select(KitLot.serials).where(KitLot.part_number == "F-100")).one()
        work.report("spoiled", "cell/unit:cell", count=1)
        work.shop.hand_out(work.number)
        row = session.exec(select(KitLot).where(KitLot.part_number == "F-100")).one()
        assert (row.issued, row.spoiled, len(first), len(row.serials)) == (2, 1, 1, 2)
        assert row.serials[:1] == first
        work.refit()
        assert session.exec(select(PartUse.serial).where(PartUse.part_number == "F-100")).all() == row.serials[1:]


def test_a_failed_test_opens_the_job_for_a_new_plan(db: Database) -> None:
    with db.write() as session:
        work = kitted_work(session)
        counted(work)
        assert not work.test("power", accepted=False)
        assert (work.job.stage, list(work.job.targets)) == (Stage.SAFE, [])
        assert work.job.state.failed == ("power",)


def test_the_kit_goes_out_to_a_job_that_may_have_it_and_no_more_than_it_needs(db: Database) -> None:
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
        number = shop.book()
        lot = next(lot for lot in shelf.lots_of(session, ["F-320"]))

        def hand_out(*picks: Pick) -> None:
            issue_kit.hand_out_kit(session, number, picks, at=shop.at(), who=CLERK, event_id=uuid7())

        def strips(count: int) -> Pick:
            return Pick("F-320", lot.lot_id, lot.location_id, count)

        with pytest.raises(Refused, match="no plan yet"):
            hand_out(strips(1))
        shop.safe(number)
        shop.plan(number, ("cell",))
        for picks in ((strips(3),), (strips(2), strips(1))):
            with pytest.raises(Refused, match="the job still needs 2, not 3"):
                hand_out(*picks)
        with pytest.raises(Refused, match="below zero"):
            hand_out(strips(-1))
        (cell,) = picks_for(session, number, {"F-100": 1}, shop.now.date())
        for serials in ((), ("C-1", "C-2")):
            with pytest.raises(Refused, match="one for each piece"):
                hand_out(Pick("F-100", cell.lot_id, cell.location_id, 1, serials))
        sent: dict[str, Any] = {"at": shop.at(), "who": CLERK, "event_id": uuid7()}
        given = Pick("F-100", cell.lot_id, cell.location_id, 1, ("C-1",))
        issue_kit.hand_out_kit(session, number, [given], **sent)
        assert issue_kit.hand_out_kit(session, number, [given], **sent) == ()
        with pytest.raises(Conflict):
            issue_kit.hand_out_kit(session, number, [replace(given, serials=("C-2",))], **sent)
        hand_out(strips(1))
        hand_out(strips(1))
        work = BenchWork(shop, number)
        rows = session.exec(select(KitLot).where(KitLot.job_id == work.job.id)).all()
        assert [(row.part_number, row.issued) for row in rows] == [("F-100", 1), ("F-320", 2)]
        assert work.job.stage is Stage.PLANNED
        shop.hand_out(number)
        assert work.job.stage.value == Stage.KITTED.value
        hold.put_on_hold(session, number, work.job.version, "safety", "It is hot", **work.stamp())
        with pytest.raises(Refused, match="safety hold"):
            hand_out(strips(1))
