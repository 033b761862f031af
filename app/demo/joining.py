"""Two crews' databases become one, and a SQLite database becomes a PostgreSQL one.

Each crew numbers its rows in steps, so that no two rows of the crews have the same id. Facts are numbered anew,
in the order in which they happened. Projections are rebuilt from the facts.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import event, func, insert, select
from sqlmodel import Session

from app.demo.workshop import CREWS, Workshop
from app.platform.db import Database
from app.stores.actions import rebuild_projections
from app.tables import metadata

ROWS = (
    "job", "lot", "purchase_order", "purchase_order_line", "stocktake", "stocktake_line", "kit_line", "kit_lot",
)  # fmt: skip
# What has no number of its own; a crew's sources are its own.
UNNUMBERED = ("wanted",)
# Facts with a time: their order within a crew is kept, and the crews' are put together by time.
TIMED_FACTS = ("bench_event", "movement", "reservation_entry", "order_event")
FACTS = ("part_use", "discard", "step_time")


def give_ids(session: Session, shop: Workshop) -> None:
    """Number what a crew's session adds: a job as it was told beforehand, other rows in steps of the crews."""

    @event.listens_for(session, "before_flush")
    def _number(flushing: Any, _context: Any, _instances: Any) -> None:
        for row in flushing.new:
            name = row.__tablename__
            if name not in ROWS or row.id is not None:
                continue
            if name == "job":
                row.id = shop.next_job_id
            else:
                shop.numbers[name] = shop.numbers.get(name, 0) + 1
                row.id = shop.numbers[name] * CREWS - shop.crew


def copy_file(db: Database, target: Path) -> None:
    """Write a copy of a SQLite database."""
    with db.engine.connect() as connection:
        driver: Any = connection.connection.dbapi_connection
        driver.execute("VACUUM INTO ?", (str(target),))


def join_crews(db: Database, files: Sequence[Path]) -> None:
    """Bring the crews' rows and facts into the sown database, and rebuild its projections."""
    with db.engine.connect() as connection:
        driver: Any = connection.connection.dbapi_connection
        for n, file in enumerate(files):
            driver.execute(f"ATTACH ? AS crew{n}", (str(file),))
        driver.execute("BEGIN IMMEDIATE")
        for name in (*ROWS, *UNNUMBERED):
            columns = _columns(name)
            for n in range(len(files)):
                driver.execute(f"INSERT INTO main.{name} ({columns}) SELECT {columns} FROM crew{n}.{name}")  # noqa: S608
        for name in (*TIMED_FACTS, *FACTS):
            columns = _columns(name, but="id")
            both = " UNION ALL ".join(_facts(name, columns, n) for n in range(len(files)))
            ordered = f"SELECT {columns} FROM ({both}) ORDER BY place, crew, id"  # noqa: S608
            driver.execute(f"INSERT INTO main.{name} ({columns}) {ordered}")
        driver.execute("COMMIT")
        for n in range(len(files)):
            driver.execute(f"DETACH crew{n}")
    with db.write() as session:
        rebuild_projections(session)


def _columns(name: str, but: str = "") -> str:
    return ", ".join(f'"{column.name}"' for column in metadata.tables[name].columns if column.name != but)


def _facts(name: str, columns: str, crew: int) -> str:
    """Select a crew's facts. A fact is placed no earlier than the one that was appended before it."""
    place = "max(at) OVER (ORDER BY id)" if name in TIMED_FACTS else "job_id"
    return f"SELECT {columns}, id, {crew} AS crew, {place} AS place FROM crew{crew}.{name}"  # noqa: S608


def copy_all(source: Database, target: Database) -> None:
    """Copy every row of a database into an empty, migrated one, and let its numbering go on from there."""
    with source.read() as reading, target.write() as writing:
        rows_from, rows_to = reading.connection(), writing.connection()
        for table in metadata.sorted_tables:
            rows = [dict(row) for row in rows_from.execute(select(table)).mappings()]
            if rows:
                rows_to.execute(insert(table), rows)
            if rows and "id" in table.columns and not target.is_sqlite and _is_numbered(table):
                most = rows_to.execute(select(func.max(table.c.id))).scalar_one()
                sequence = func.pg_get_serial_sequence(table.name, "id")
                rows_to.execute(select(func.setval(sequence, most)))


def _is_numbered(table: Any) -> bool:
    return table.autoincrement_column is not None
