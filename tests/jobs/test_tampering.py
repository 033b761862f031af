"""A record, a projection or a sum that is changed behind the program's back is found, and named."""

import pytest
from sqlalchemy import text

from app.jobs.actions import close
from app.jobs.queries.faults import bench_faults
from app.platform.db import Database
from app.procedures.queries import sheet_faults
from app.stores.queries import stock_faults
from tests.jobs.bench_work import kitted_work


@pytest.fixture
def closed(db: Database) -> str:
    """A closed job in which nothing is wrong."""
    with db.write() as session:
        work = kitted_work(session)
        work.teardown()
        work.refit()
        work.sign()
        work.pass_tests()
        work.pause()
        close.close_job(session, work.number, work.job.version, work.shop.settings, **work.stamp())
        assert [*bench_faults(session), *stock_faults(session), *sheet_faults(session)] == []
        return work.number


def found_after(db: Database, statement: str) -> str:
    """Return what is found after a change, which is then taken back."""
    with db.engine.connect() as connection:
        connection.execute(text(statement))
        connection.commit()
    with db.read() as session:
        return " ".join([*bench_faults(session), *stock_faults(session), *sheet_faults(session)])


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("parts_cost", "parts_cost + 10000", "cost of parts"),
        ("labour_cost", "labour_cost + 10000", "cost of labour"),
        ("bench_s", "bench_s + 60", "bench time"),
        ("closed_at", "booked_at", "who ended it"),
        ("closed_by", "booked_by + 1", "who ended it"),
        ("overridden", "not overridden", "overridden"),
        ("stage", "'counted'", "its entries say that it was closed"),
        ("seal", "'00'", "seal"),
        ("serial", "'X-1'", "serial 'X-1'"),
        ("fault", "'Something else'", "fault 'Something else'"),
        ("consent", "not consent", "consent"),
        ("booked_at", "closed_at", "who booked it in"),
        ("bench", "'{\"odd\": 1}'", "counting state"),
    ],
)
def test_a_closed_job_that_says_something_else_than_its_entries_is_named(
    db: Database, closed: str, column: str, value: str, words: str
) -> None:
    said = found_after(db, f"UPDATE job SET {column} = {value} WHERE number = '{closed}'")
    assert closed in said
    assert words in said


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE movement SET unit_cost = unit_cost + 10000 WHERE id = 1", "Movement 1 was written at"),
        ("UPDATE lot SET unit_cost = unit_cost + 10000 WHERE id = 1", "is kept at"),
        ("UPDATE kit_lot SET unit_cost = unit_cost + 10000 WHERE id = 1", "is charged at"),
        ("UPDATE movement SET quantity = quantity + 1 WHERE id = 1", "the facts give"),
        ("UPDATE step_time SET seconds = seconds + 60 WHERE id = 1", "step times add up to"),
        ("UPDATE bench_event SET kind = 'opened' WHERE sequence = 9", "the chain breaks there"),
        ("UPDATE revision SET sha256 = '00' WHERE id = 1", "is not what was published"),
        ("INSERT INTO drawing (sha256, title, svg) VALUES ('00', '', '<svg/>')", "is not what was stored"),
    ],
)
def test_a_changed_cost_sum_time_entry_or_sheet_is_named(db: Database, closed: str, statement: str, words: str) -> None:
    assert words in found_after(db, statement)


def test_what_differs_in_the_stores_is_named_as_people_know_it(db: Database, closed: str) -> None:
    """A part by its number, a lot by its code: nobody sees the ids of rows."""
    with db.read() as session:
        number = session.connection().execute(text("SELECT number FROM part WHERE id = 1")).scalar_one()
    said = found_after(db, "UPDATE stock_level SET on_hand = on_hand + 1 WHERE part_id = 1")
    assert f"On hand of part {number}: stored" in said
