"""What the database promises: exact numbers, no lost update, whole transactions, one snapshot for a reader."""

import threading
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as profile
from hypothesis import strategies as st
from sqlalchemy import BigInteger, Column, MetaData, Table, func, insert, select, text
from sqlmodel import col

from app.platform.db import Database, FairLock
from app.platform.models import Heartbeat
from app.platform.types import Money4, Scaled

AMOUNTS = st.decimals(-(10**12), 10**12, places=4, allow_nan=False, allow_infinity=False)


def test_the_durability_settings_are_what_they_should_be(db: Database) -> None:
    """Read back from the database itself; a driver's known fault would be told apart."""
    assert [fault for fault in db.setting_faults() if " setting " in fault] == []
    assert db.server_version().startswith("SQLite 3." if db.is_sqlite else "PostgreSQL 1")


@profile(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(AMOUNTS, min_size=1, max_size=20))
def test_money_is_exact_and_so_are_its_sums(db: Database, amounts: list[Decimal]) -> None:
    """What is stored comes back with four decimals, and the database's own sum is the true one."""
    table = Table(
        "exact_amount", MetaData(), Column("amount", Money4), Column("place", BigInteger), prefixes=["TEMPORARY"]
    )
    with db.engine.connect() as connection:
        # A temporary table of the connection: the database itself is left as it is.
        connection.execute(text("DROP TABLE IF EXISTS exact_amount"))
        connection.execute(text("CREATE TEMPORARY TABLE exact_amount (amount BIGINT, place BIGINT)"))
        connection.execute(insert(table), [{"amount": a, "place": n} for n, a in enumerate(amounts)])
        stored = connection.execute(select(table.c.amount).order_by(table.c.place)).scalars().all()
        total = connection.execute(select(func.sum(table.c.amount))).scalar_one()
        connection.rollback()
    assert stored == amounts
    assert all(-a.as_tuple().exponent == 4 for a in stored)
    assert total == sum(amounts)


def test_more_decimals_than_are_kept_are_refused() -> None:
    """They are never rounded in silence."""
    with pytest.raises(ValueError, match="more than 4 decimals"):
        Scaled(4).process_bind_param(Decimal("0.00001"), None)  # type: ignore[arg-type]


def test_no_update_is_lost_between_threads(db: Database) -> None:
    """Twelve threads read, add one and write, fifty times each."""
    with db.write() as session:
        session.add(Heartbeat(id=9, beats=0))
    problems: list[str] = []

    def add() -> None:
        try:
            for _ in range(50):
                with db.write() as session:
                    row = session.get_one(Heartbeat, 9, with_for_update=True)
                    row.beats += 1
        except Exception as error:
            problems.append(repr(error))

    threads = [threading.Thread(target=add) for _ in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(90)
    assert problems == []
    with db.read() as session:
        assert session.get_one(Heartbeat, 9).beats == 600


def test_what_raises_leaves_nothing_behind(db: Database) -> None:
    """A transaction is whole or not at all."""

    def broken() -> None:
        with db.write() as session:
            session.add(Heartbeat(id=5, beats=1))
            session.flush()
            raise RuntimeError("power cut")

    with pytest.raises(RuntimeError):
        broken()
    with db.read() as session:
        assert session.get(Heartbeat, 5) is None


def test_a_reader_sees_one_snapshot(db: Database) -> None:
    """What others store meanwhile does not show in the middle of a page."""
    query = select(func.count()).select_from(Heartbeat).where(col(Heartbeat.id) == 11)
    with db.read() as reader:
        assert reader.scalar(query) == 0
        with db.write() as writer:
            writer.add(Heartbeat(id=11, beats=1))
        assert reader.scalar(query) == 0
    with db.read() as reader:
        assert reader.scalar(query) == 1


def test_a_reader_stores_nothing(db: Database) -> None:
    """Whatever is added in a read session is dropped at its end."""
    with db.read() as session:
        session.add(Heartbeat(id=13, beats=1))
    with db.read() as session:
        assert session.get(Heartbeat, 13) is None


def test_the_write_lock_is_fair() -> None:
    """Those who wait get their turn in the order in which they came."""
    lock, order = FairLock(), []
    lock.acquire()
    arrived = [threading.Event() for _ in range(6)]

    def wait(n: int) -> None:
        arrived[n].set()
        lock.acquire()
        order.append(n)
        lock.release()

    threads = []
    for n in range(6):
        thread = threading.Thread(target=wait, args=(n,))
        thread.start()
        arrived[n].wait()
        while len(lock._queue) <= n:
            pass
        threads.append(thread)
    lock.release()
    for thread in threads:
        thread.join(10)
    assert order == list(range(6))
