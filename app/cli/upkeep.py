"""Upkeep: tables, the first supervisor, backup and restore."""

from pathlib import Path

from app.cli.console import load_settings, open_database, ready_database, say, stop
from app.cli.serving import address
from app.platform import clock
from app.platform.db import make_database
from app.platform.errors import Refused


def migrate(data_dir: Path | None) -> None:
    """Bring the database to the newest migration."""
    from app.platform.migrations import current_revision, upgrade

    db = make_database(load_settings(data_dir))
    before = current_revision(db)
    upgrade(db)
    after = current_revision(db)
    say(f"The database is at migration {after}, as it was." if before == after else f"The database is now at {after}.")
    db.dispose()


def init(data_dir: Path | None, base: str) -> None:
    """Print the first supervisor's one-time link."""
    from app.people.actions import make_setup_link

    settings = load_settings(data_dir)
    db = ready_database(settings)
    try:
        with db.write() as session:
            token = make_setup_link(session, None, clock.now())
    except Refused as refusal:
        stop(refusal.reason)
    finally:
        db.dispose()
    where = (base or address(settings.host, settings.port)).rstrip("/")
    say("Open this once, within 24 hours, and choose the name and passphrase of the first supervisor:")
    say(f"{where}/setup/{token}")


def backup(path: Path, data_dir: Path | None) -> None:
    """Write a verified copy, or name the tool for PostgreSQL."""
    from app.platform import backup as copies

    settings = load_settings(data_dir)
    if settings.database_url:
        command = copies.postgres_command(settings.url, path, restore=False)
        stop(f"Nothing was copied: PostgreSQL is backed up with its own tool. Run:\n{command}")
    open_database(settings).dispose()
    try:
        done = copies.backup_sqlite(copies.sqlite_path(settings.url), path)
    except Refused as refusal:
        stop(refusal.reason)
    say(f"{done.path}: {done.size / 1e6:.1f} MB, migration {done.migration}, checked and sound.")


def restore(path: Path, replace: bool, data_dir: Path | None) -> None:
    """Put a copy in place, or name the tool for PostgreSQL."""
    from app.platform import backup as copies

    settings = load_settings(data_dir)
    if settings.database_url:
        command = copies.postgres_command(settings.url, path, restore=True, replace=replace)
        stop(f"Nothing was restored: PostgreSQL is restored with its own tool. Stop the server, then run:\n{command}")
    try:
        done = copies.restore_sqlite(path, copies.sqlite_path(settings.url), replace=replace, at=clock.now())
    except Refused as refusal:
        stop(refusal.reason)
    say(f"{done.path}: restored, checked and sound, migration {done.migration}.")
    if done.kept is not None:
        say(f"The database that was there is kept as {done.kept}.")
