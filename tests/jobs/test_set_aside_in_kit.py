"""A lot that is set aside while it lies in a job's kit is not fitted: the bench says so, and what to do."""

from collections.abc import Callable

import pytest
from fastapi import FastAPI

from app.jobs.actions import bench
from app.jobs.actions.pick_kit import give_back
from app.jobs.queries.faults import bench_faults
from app.platform.clock import uuid7
from app.platform.db import Database
from app.platform.errors import Refused
from app.stores import actions as stores
from app.stores import queries as stock
from tests.jobs.bench_shop import CLERK, START, receive
from tests.jobs.bench_work import BenchWork, entries_of, job_of
from tests.jobs.tablet import Tablet, right_of
from tests.jobs.test_scanned_lots import two_lots_in_hand
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def set_aside(work: BenchWork, part: str, code: str) -> int:
    """Set a lot aside wherever it is; returns its id."""
    lot = next(row for row in stock.lots_of(work.session, [part], empty=True) if row.code == code)
    stores.quarantine_lot(work.session, lot.lot_id, "Maker's notice 14", at=START, who=CLERK)
    return lot.lot_id


def up(work: BenchWork, scanned: tuple[tuple[str, str], ...] = ()) -> None:
    """Tick the next refit step, which lays the cell in with two strips."""
    step = work.job.state.refit[len(work.job.state.up)]
    bench.tick(work.session, work.number, "up", step, scanned=scanned, **work.stamp())


def test_the_tick_is_refused_with_words_that_say_what_to_do(db: Database) -> None:
    with db.write() as session:
        work = two_lots_in_hand(session)
        lot = set_aside(work, "F-320", "OLD")
        with pytest.raises(Refused, match=r"Lot OLD of F-320 was set aside: Maker's notice 14\. Do not fit it\."):
            up(work)
        # The lot is changed: it goes back to the stores and another is handed out.
        give_back(
            session, work.number, lot, 1, "Set aside", at=work.shop.at(), who=CLERK, event_id=uuid7(),
            today=work.shop.now.date(),
        )  # fmt: skip
        work.shop.hand_out(work.number)
        up(work)
        assert bench_faults(session) == []
        assert stock.stock_faults(session) == []


def test_another_lot_in_hand_is_named_and_its_label_lets_the_tick_through(db: Database) -> None:
    with db.write() as session:
        work = two_lots_in_hand(session)
        set_aside(work, "F-320", "OLD")
        with pytest.raises(Refused, match="Scan the label of lot NEW, which you have too"):
            up(work)


def test_the_bench_page_says_it_before_the_tick(db: Database, visit: Visit) -> None:
    with db.write() as session:
        work = two_lots_in_hand(session)
        set_aside(work, "F-320", "OLD")
    page = visit("technician").open(f"/jobs/{work.number}/bench")
    assert "Lot OLD of F-320 was set aside" in page.words
    kit = visit("stores").open(f"/jobs/{work.number}/kit")
    assert "Set aside Maker's notice 14. Bring the 1 unused back." in kit.words


def test_from_a_tablet_it_becomes_a_question(app: FastAPI, db: Database, visit: Visit) -> None:
    with db.write() as session:
        work = two_lots_in_hand(session)
        step = work.job.state.refit[0]
        set_aside(work, "F-320", "OLD")
    tablet = Tablet(app, right_of(visit("technician")), work.number)
    entry = tablet.tap("tick", "up", step)
    tablet.send(entry)
    question = entries_of(db, work.number, "question")[0]
    assert "was set aside" in str(question.data)
    assert job_of(db, work.number).state.up == ()


def test_a_released_lot_is_fitted_again(db: Database) -> None:
    with db.write() as session:
        work = two_lots_in_hand(session)
        lot = set_aside(work, "F-320", "OLD")
        stores.release_lot(session, lot, "Checked, sound", at=START, who=CLERK)
        up(work)
        receive(session, "F-320", 1, "LATER")
