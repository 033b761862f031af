"""The database: engine, read and write sessions, and what is checked at start.

SQLite: own BEGIN (IMMEDIATE for writes), one fair in-process write lock, WAL, synchronous FULL, foreign keys on.
PostgreSQL: READ COMMITTED; actions lock the rows they decide on. ``write`` is the one place that commits.
"""

import shutil
import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event, text
from sqlmodel import Session

from app.platform.settings import Settings

try:
    import pysqlite3 as sqlite_driver
except ImportError:  # No wheel for this machine: the Python's own SQLite, whose version `check` reports.
    import sqlite3 as sqlite_driver


__all__ = ["Database", "FairLock", "make_database", "sqlite_driver"]

# Bytes below which a disk is as good as full: a write-ahead log needs that much to begin.
LEAST_SPACE = 64 * 1024


class FairLock:
    """A first-come, first-served lock. A plain Lock lets one busy thread overtake the others for seconds."""

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._queue: deque[threading.Lock] = deque()
        self._held = False

    def acquire(self) -> None:
        """Wait for the turn of this thread."""
        with self._guard:
            if not self._held:
                self._held = True
                return
            turn = threading.Lock()
            turn.acquire()
            self._queue.append(turn)
        turn.acquire()

    def release(self) -> None:
        """Hand the lock to the thread that has waited longest."""
        with self._guard:
            if self._queue:
                self._queue.popleft().release()
            else:
                self._held = False


class Database:
    """One database with its connection pool. ``read()`` and ``write()`` give short sessions."""

    def __init__(self, url: str, pool_size: int = 20) -> None:
        self.url = url
        self.is_sqlite = url.startswith("sqlite")
        self.engine = _sqlite_engine(url, pool_size) if self.is_sqlite else _postgres_engine(url, pool_size)
        self._write_lock = FairLock() if self.is_sqlite else None

    @contextmanager
    def read(self) -> Iterator[Session]:
        """Yield a session on one consistent snapshot; nothing is written."""
        with Session(self.engine, expire_on_commit=False) as session:
            if not self.is_sqlite:
                session.connection(execution_options={"isolation_level": "REPEATABLE READ"})
            yield session
            session.rollback()

    @contextmanager
    def write(self) -> Iterator[Session]:
        """Yield a session whose work is committed at the end, or rolled back whole when anything raises."""
        if self._write_lock is not None:
            self._write_lock.acquire()
        try:
            with Session(self.engine, expire_on_commit=False) as session:
                session.connection(execution_options={"countback_write": True})
                try:
                    yield session
                    session.commit()
                except BaseException:
                    session.rollback()
                    raise
        finally:
            if self._write_lock is not None:
                self._write_lock.release()

    def dispose(self) -> None:
        """Close all pooled connections."""
        self.engine.dispose()

    def server_version(self) -> str:
        """Return the name and version of the database that answers."""
        with self.engine.connect() as connection:
            if self.is_sqlite:
                return f"SQLite {connection.execute(text('select sqlite_version()')).scalar_one()}"
            return f"PostgreSQL {connection.execute(text('show server_version')).scalar_one()}"

    def out_of_space(self, error: Exception) -> bool:
        """Whether an error of this database means that its disk is full."""
        # The driver's own words: those of the wrapped error have the statement and what was sent in them.
        words = str(getattr(error, "orig", None) or error).lower()
        if "full" in words or "no space" in words:
            return True
        # SQLite names a write-ahead log that it cannot begin for want of space a fault of the disk.
        return self.is_sqlite and "disk i/o error" in words and _space_left(self.engine) < LEAST_SPACE

    def setting_faults(self) -> list[str]:
        """Read the settings that durability rests on back from the database; return what is wrong, in words."""
        if not self.is_sqlite:
            return self._postgres_faults()
        faults = []
        with self.engine.connect() as connection:
            wanted = {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}
            for name, value in wanted.items():
                found = connection.execute(text(f"PRAGMA {name}")).scalar_one()
                if found != value:
                    faults.append(f"SQLite setting {name} is {found}, wanted {value}.")
        version = tuple(int(n) for n in sqlite_driver.sqlite_version.split("."))
        if (3, 7, 0) <= version <= (3, 51, 2):
            faults.append(
                f"SQLite {sqlite_driver.sqlite_version} has a rare write-ahead-log fault "
                "(fixed in 3.51.3); only one process may write. Install the pysqlite3 package where there is one."
            )
        return faults

    def _postgres_faults(self) -> list[str]:
        with self.engine.connect() as connection:
            off = [n for n in ("fsync", "synchronous_commit") if _show(connection, n) == "off"]
        return [f"PostgreSQL setting {name} is off: an acknowledged write can be lost." for name in off]


def _space_left(engine: Engine) -> int:
    """Return the bytes that are free where a SQLite file stands; many when nobody knows."""
    try:
        return shutil.disk_usage(Path(engine.url.database or ".").parent).free
    except OSError:
        return LEAST_SPACE


def _show(connection: Any, name: str) -> str:
    return str(connection.execute(text(f"SHOW {name}")).scalar_one())


def _sqlite_engine(url: str, pool_size: int) -> Engine:
    engine = create_engine(
        url,
        module=sqlite_driver,
        hide_parameters=True,
        pool_size=pool_size,
        max_overflow=20,
        pool_timeout=30,
        connect_args={"check_same_thread": False, "timeout": 15},
    )

    @event.listens_for(engine, "connect")
    def _connect(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # The driver's own BEGIN is deferred and loses updates.
        cursor = connection.cursor()
        for pragma in (
            "journal_mode=WAL",
            "synchronous=FULL",
            "foreign_keys=ON",
            "busy_timeout=15000",
            "cache_size=-32000",
            "temp_store=MEMORY",
        ):
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _begin(connection: Any) -> None:
        write = connection.get_execution_options().get("countback_write", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

    return engine


def _postgres_engine(url: str, pool_size: int) -> Engine:
    return create_engine(
        url,
        hide_parameters=True,  # What was sent has names and secrets in it, and errors go to the log.
        pool_size=pool_size,
        max_overflow=20,
        pool_timeout=30,
        pool_pre_ping=True,
        isolation_level="READ COMMITTED",
    )


def make_database(settings: Settings) -> Database:
    """Open the database the settings name; the SQLite folder is made when it is missing."""
    if not settings.database_url:
        settings.data_dir.mkdir(parents=True, exist_ok=True)
    return Database(settings.url, settings.pool_size)
