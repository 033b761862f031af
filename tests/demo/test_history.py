"""The demo's year: whole, sound and repeatable, with a job at every stage."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import create_engine, text

from app.demo import second
from app.demo.history import make_history
from app.jobs.queries.faults import bench_faults
from app.jobs.queries.jobs import JobFilter, job_page, stage_counts
from app.platform import clock
from app.platform.db import Database
from app.platform.migrations import upgrade
from app.platform.settings import Settings
from app.stores.queries import open_orders, quarantined, reorder_lines, short_parts, stock_faults, supplier_terms

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("demo")]

UNTIL = datetime(2026, 3, 31, 13, 30, tzinfo=UTC)
JOBS = 34

FACTS = (
    "SELECT job_id, sequence, kind, step, at, person_id FROM bench_event ORDER BY job_id, sequence",
    "SELECT kind, part_id, lot_id, quantity, unit_cost, source_ref, at FROM movement ORDER BY id",
    "SELECT part_id, source_ref, quantity, at FROM reservation_entry ORDER BY id",
    "SELECT number, serial, fault, stage, hold, quoted, parts_cost, bench_s FROM job ORDER BY id",
)


def made(path: Path, jobs: int = JOBS, seed: int = 7) -> Database:
    """Make a demo workshop in a file."""
    db = Database(f"sqlite:///{path}")
    upgrade(db)
    told: list[tuple[int, int]] = []
    settings = Settings(data_dir=path.parent, demo=True)
    make_history(db, settings, jobs=jobs, seed=seed, until=UNTIL, progress=lambda n, of: told.append((n, of)))
    assert told[-1] == (jobs, jobs)
    assert told == sorted(told)
    return db


def facts(db: Database) -> list[list[Any]]:
    """Return the facts of a workshop without the ids of its entries."""
    with db.read() as session:
        return [[tuple(row) for row in session.connection().execute(text(query))] for query in FACTS]


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Database:
    """A small demo workshop."""
    return made(tmp_path_factory.mktemp("demo") / "one.db")


def test_the_clerks_last_day_leaves_something_on_the_pages_of_the_stores(workshop: Database) -> None:
    today = UNTIL.date()
    with workshop.read() as session:
        terms = supplier_terms(session)
        orders = open_orders(session)
        assert len(terms) == 3
        assert [order.status for order in orders if order.expected_on < today] == ["confirmed"]
        assert {order.status for order in orders} <= {"confirmed", "part received"}
        assert len(quarantined(session)) == 1
        opened = session.connection().execute(text("SELECT count(*) FROM lot_opening")).scalar_one()
        assert opened >= 1


def test_all_that_is_stored_agrees(workshop: Database) -> None:
    """Records, seals, kits, the ledger and all projections."""
    with workshop.read() as session:
        assert stock_faults(session) == []
        assert bench_faults(session) == []


def test_there_is_a_job_at_every_stage(workshop: Database) -> None:
    """And one on each hold that a visitor should see."""
    with workshop.read() as session:
        counts = stage_counts(session)
        jobs = job_page(session, JobFilter(stage="all"), limit=200)
    assert len(jobs) == JOBS
    assert {stage.value for stage, n in counts.items() if n} == {stage.value for stage in counts}
    assert {job.hold.value for job in jobs} == {"none", "parts", "safety", "owner's answer"}
    assert [job.number for job in jobs] == sorted((job.number for job in jobs), reverse=True)


def test_the_shelf_is_short_of_something_and_says_what_to_order(workshop: Database) -> None:
    """The stores clerk has something to do."""
    with workshop.read() as session:
        assert short_parts(session, UNTIL.date())
        reorder_lines(session, UNTIL.date())


def test_the_same_seed_and_day_make_the_same_facts(
    workshop: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With one processor too, where the crews' years are told one after the other."""
    monkeypatch.setattr(second, "_processors", lambda: 1)
    again = made(tmp_path / "again.db")
    other = made(tmp_path / "other.db", seed=8)
    assert facts(again) == facts(workshop)
    assert facts(other) != facts(workshop)
    again.dispose()
    other.dispose()


def test_it_is_made_on_postgresql_too(workshop: Database, request: pytest.FixtureRequest) -> None:
    """With the same facts, and numbering that goes on behind them."""
    if request.config.getoption("--database") == "sqlite":
        pytest.skip("PostgreSQL was not asked for")
    server = request.getfixturevalue("postgres_server")
    name = f"demo_{clock.uuid7()[-12:]}"
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    db = Database(engine.url.set(database=name).render_as_string(hide_password=False))
    upgrade(db)
    make_history(db, Settings(demo=True), jobs=JOBS, seed=7, until=UNTIL, progress=lambda _n, _of: None)
    with db.read() as session:
        assert stock_faults(session) == []
        assert bench_faults(session) == []
    with db.write() as session:
        query = "SELECT nextval(pg_get_serial_sequence('job', 'id')), (SELECT max(id) FROM job)"
        following, most = session.connection().execute(text(query)).one()
        assert following == most + 1
    db.dispose()
    with engine.connect() as connection:
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    engine.dispose()
