"""Backup and restore of a SQLite database, verified after writing; the command to use on PostgreSQL.

``VACUUM INTO`` copies one consistent state while the server goes on. The copy is checked before it gets its
name, so a file of that name is always a whole database.
"""

import os
import shlex
import shutil
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import make_url

from app.platform.db import sqlite_driver
from app.platform.errors import Refused
from app.platform.migrations import head_revision


@dataclass(frozen=True)
class Copied:
    """A verified copy: where it is, its size in bytes, its migration, and the old file kept beside, if any."""

    path: Path
    size: int
    migration: str
    kept: Path | None = None


def sqlite_path(url: str) -> Path:
    """Return the file of a SQLite URL."""
    database = make_url(url).database
    if not database:
        raise Refused("This database is in memory only; there is nothing to copy.")
    return Path(database)


def backup_sqlite(source: Path, target: Path) -> Copied:
    """Write a verified copy of a running database; Refused when the target exists or the copy is not sound."""
    if not source.is_file():
        raise Refused(f"There is no database at {source}.")
    if target.exists():
        raise Refused(f"{target} exists. Choose another name; a backup never overwrites one.")
    target.parent.mkdir(parents=True, exist_ok=True)
    unfinished = target.with_name(f"{target.name}.unfinished")
    unfinished.unlink(missing_ok=True)
    connection = sqlite_driver.connect(str(source), isolation_level=None, timeout=15)
    try:
        connection.execute("VACUUM INTO ?", (str(unfinished),))
    except sqlite_driver.Error as error:
        unfinished.unlink(missing_ok=True)
        raise Refused(f"The copy could not be written: {error}. The database is as it was.") from error
    finally:
        connection.close()
    migration = _sound(unfinished)
    os.replace(unfinished, target)
    _forget(unfinished)
    _sync([target, target.parent])
    return Copied(target, target.stat().st_size, migration)


def restore_sqlite(copy: Path, target: Path, *, replace: bool, at: datetime) -> Copied:
    """Put a verified copy in place of a database whose server is stopped; the old file is kept beside it.

    Refused when the copy is not sound, when a database is there and ``replace`` is not given, and while another
    process has that database open.
    """
    if not copy.is_file():
        raise Refused(f"There is no file {copy}.")
    if target.exists() and not replace:
        raise Refused(f"There is a database at {target}. Give --replace to put the copy in its place.")
    target.parent.mkdir(parents=True, exist_ok=True)
    unfinished = target.with_name(f"{target.name}.unfinished")
    try:
        shutil.copyfile(copy, unfinished)
        migration = _sound(unfinished)
        if target.exists():
            _must_be_idle(target)
    except (OSError, Refused):
        _forget(unfinished)
        raise
    kept = None
    if target.exists():
        kept = target.with_name(f"{target.name}.before-{at:%Y%m%d-%H%M%S}")
        os.replace(target, kept)
    os.replace(unfinished, target)
    _forget(unfinished)
    _sync([target, target.parent])
    return Copied(target, target.stat().st_size, migration, kept)


def _forget(unfinished: Path) -> None:
    """Remove a copy that did not come to be, and what looking at it has left beside it."""
    for end in ("", "-wal", "-shm"):
        unfinished.with_name(f"{unfinished.name}{end}").unlink(missing_ok=True)


def faults_of(path: Path) -> tuple[str, ...]:
    """Check a database file: pages and indexes, foreign keys, migration. Returns what is wrong, in words."""
    connection = sqlite_driver.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
    try:
        found = [str(row[0]) for row in connection.execute("PRAGMA integrity_check") if row[0] != "ok"]
        found += [f"{row[0]} row {row[1]} points at no row of {row[2]}." for row in _broken_keys(connection)]
        migration = _migration(connection)
    except sqlite_driver.DatabaseError as error:
        return (f"{path} is not a Countback database: {error}.",)
    finally:
        connection.close()
    if migration != head_revision():
        found.append(f"It stands at migration {migration}, this program at {head_revision()}.")
    return tuple(found)


def _broken_keys(connection: sqlite_driver.Connection) -> Iterable[tuple[str, int, str]]:
    return [tuple(row)[:3] for row in connection.execute("PRAGMA foreign_key_check")]


def _migration(connection: sqlite_driver.Connection) -> str:
    row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    return str(row[0]) if row else "none"


def _sound(path: Path) -> str:
    """Return the migration of a written copy; Refused, and the copy removed, when it is not sound."""
    faults = faults_of(path)
    if faults:
        _forget(path)
        raise Refused("The copy is not sound: " + " ".join(faults))
    return head_revision()


def _must_be_idle(path: Path) -> None:
    """Refuse while another process has the file open: the last one to close it removes its write-ahead log."""
    connection = sqlite_driver.connect(str(path), timeout=1)
    try:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    except sqlite_driver.OperationalError as error:
        raise Refused("The database is in use. Stop the server, then restore.") from error
    except sqlite_driver.DatabaseError:
        return  # It is damaged, which is why a copy is to take its place.
    finally:
        connection.close()
    if path.with_name(f"{path.name}-wal").exists():
        raise Refused("The database is in use. Stop the server, then restore.")


def _sync(paths: Iterable[Path]) -> None:
    """Make files and folders durable, so that a power cut right after leaves the copy."""
    for path in paths:
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        except OSError:
            if path.is_file():  # Some systems cannot sync a folder.
                raise
        finally:
            os.close(handle)


def postgres_command(url: str, path: Path, *, restore: bool, replace: bool = False) -> str:
    """Return the shell command that backs up or restores a PostgreSQL database; it asks for the password."""
    # ``set`` leaves out what is None, so the password is taken from the fields themselves.
    plain = make_url(url).set(drivername="postgresql")._replace(password=None).render_as_string(hide_password=False)
    file = shlex.quote(str(path))
    if not restore:
        return f"pg_dump --format=custom --file={file} {shlex.quote(plain)}"
    clean = " --clean --if-exists" if replace else ""
    return f"pg_restore --exit-on-error --single-transaction --no-owner{clean} --dbname={shlex.quote(plain)} {file}"
