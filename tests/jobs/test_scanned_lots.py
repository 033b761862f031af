"""Scanned lots through HTTP: the very lot is fitted, and what does not fit is refused in words with nothing ticked."""

from collections.abc import Callable

import pytest
from fastapi import FastAPI
from sqlmodel import Session

from app.people.models import Role
from app.platform.clock import uuid7
from app.platform.db import Database
from app.rules.scan_codes import job_code, lot_code
from tests.jobs.bench_shop import SUPERVISOR, TECHNICIAN, BenchShop, receive, set_up
from tests.jobs.bench_work import BenchWork, entries_of
from tests.jobs.test_bench_api import token
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]


def two_lots_in_hand(session: Session, who: int = TECHNICIAN) -> BenchWork:
    """A job at the refit of its cell, with one strip of lot OLD and one of lot NEW in hand."""
    shop = BenchShop(session, set_up(session, quantity=0))
    for part in ("F-100", "F-110", "F-210", "F-211", "F-220", "F-230", "F-310", "F-330", "F-340", "F-400"):
        receive(session, part, 9, f"L-{part}")
    receive(session, "F-320", 1, "OLD")
    receive(session, "F-320", 9, "NEW")
    work = BenchWork(shop, shop.kitted(("cell",)), who)
    work.open()
    work.teardown()
    return work


@pytest.fixture
def number(db: Database) -> str:
    """A job whose next step lays the cell in, with one strip of lot OLD and one of lot NEW handed out."""
    with db.write() as session:
        return two_lots_in_hand(session).number


def at_bench(visitor: Visitor, number: str) -> Page:
    return visitor.open(f"/jobs/{number}/bench")


def fitted(db: Database, number: str) -> list[list[object]]:
    """Return what the newest tick fitted of the strips, as (lot code, pieces)."""
    data = entries_of(db, number, "tick")[-1].data
    return [[lot, count] for _item, part, _id, lot, count, _serial in data.get("fitted", ()) if part == "F-320"]


def test_the_lines_say_which_lots_a_scan_confirms(visit: Visit, number: str) -> None:
    line = at_bench(visit("technician"), number).soup.select_one('li[data-part="F-320"]')
    assert line is not None
    assert line["data-lots"] == '["OLD", "NEW"]'
    assert line["data-new"] == "2"


def test_a_scanned_lot_is_fitted_and_the_record_says_so(visit: Visit, db: Database, number: str) -> None:
    page = at_bench(visit("technician"), number)
    after = page.form("/bench/tick").submit(scanned=[lot_code("F-320", "NEW")])
    assert after.status == 200
    assert fitted(db, number) == [["NEW", 1], ["OLD", 1]]
    assert entries_of(db, number, "tick")[-1].data["scanned"] == [["F-320", "NEW"]]


def test_the_same_scanned_tick_again_is_stored_once(visit: Visit, db: Database, number: str) -> None:
    form = at_bench(visit("technician"), number).form("/bench/tick")
    codes = [lot_code("F-320", "NEW")]
    assert form.submit(scanned=codes).status == 200
    before = len(entries_of(db, number, "tick"))
    assert form.submit(scanned=codes).status == 200
    assert len(entries_of(db, number, "tick")) == before
    assert form.submit(scanned=[lot_code("F-320", "OLD")]).status == 409


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (lot_code("F-320", "L-77"), "Lot L-77 of F-320 is not in this job's hands (in hand: OLD, NEW)."),
        (lot_code("F-310", "L-F-310"), "F-310 does not go in at this step. Nothing was ticked."),
        (job_code("J000001"), "That label is not on a lot."),
        ("CBLF320X", "Misread: scan again."),
        ("4006381333931", "Not one of our labels."),
    ],
)
def test_a_scan_that_does_not_fit_ticks_nothing(visit: Visit, db: Database, number: str, code: str, words: str) -> None:
    page = at_bench(visit("technician"), number)
    before = len(entries_of(db, number, "tick"))
    refused = page.form("/bench/tick").submit(scanned=[code])
    assert refused.status == 409
    assert words in refused.words
    assert len(entries_of(db, number, "tick")) == before


def test_nothing_is_scanned_on_the_way_down(visit: Visit, db: Database) -> None:
    with db.write() as session:
        work = BenchWork(BenchShop(session, set_up(session)), "")
        work.number = work.shop.kitted(("cell",))
        work.open()
    page = at_bench(visit("technician"), work.number).form("/bench/tick").submit(scanned=[lot_code("F-310", "L-F-310")])
    assert page.status == 409
    assert "nothing new goes in on the way down" in page.words


def test_the_api_takes_scanned_lots_too(app: FastAPI, db: Database) -> None:
    with db.write() as session:
        number = two_lots_in_hand(session, SUPERVISOR).number
    client = token(app, db, Role.TECHNICIAN)
    address = f"/api/v1/jobs/{number}/events"
    at_step = {"kind": "tick", "side": "up", "step": "cell"}
    foreign = client.post(address, json={**at_step, "id": uuid7(), "scanned": [{"part": "F-320", "lot": "L-77"}]})
    assert foreign.status_code == 409
    assert "Lot L-77 of F-320 is not in this job's hands" in foreign.json()["detail"]
    done = client.post(address, json={**at_step, "id": uuid7(), "scanned": [{"part": "F-320", "lot": "NEW"}]})
    assert done.status_code == 200, done.text
    assert fitted(db, number) == [["NEW", 1], ["OLD", 1]]
