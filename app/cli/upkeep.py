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
    try:
        upgrade(db)
    except Refused as refusal:
        stop(refusal.reason)
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
    if not settings.demo:
        say("Then enrol the bench tablets under People, Tablets: a PIN is taken on an enrolled tablet alone.")


def backup(path: Path, media: bool, data_dir: Path | None) -> None:
    """Write a verified copy, or name the tool for PostgreSQL; copy the media folder when asked to."""
    from app.platform import backup as copies

    settings = load_settings(data_dir)
    if settings.database_url and media:
        _copy_media(settings.media_folder, _media_of(path))
    if settings.database_url:
        command = copies.postgres_command(settings.url, path, restore=False)
        stop(f"Nothing was copied: PostgreSQL is backed up with its own tool. Run:\n{command}")
    open_database(settings).dispose()
    try:
        done = copies.backup_sqlite(copies.sqlite_path(settings.url), path)
    except Refused as refusal:
        stop(refusal.reason)
    say(f"{done.path}: {done.size / 1e6:.1f} MB, migration {done.migration}, checked and sound.")
    # After the database: whatever its copy names was stored before, for nothing is ever taken away.
    if media:
        _copy_media(settings.media_folder, _media_of(path))
    else:
        say(f"Pictures and recordings are not in it. They lie in {settings.media_folder}; --media copies them too.")


def _media_of(path: Path) -> Path:
    return path.with_name(f"{path.name}.media")


def _copy_media(source: Path, target: Path) -> None:
    from app.platform.media import MediaStore, copy_media

    try:
        copied, total = copy_media(MediaStore(source), MediaStore(target))
    except (OSError, Refused) as error:
        stop(f"Pictures and recordings were not copied whole: {error}")
    say(f"{target}: {copied} of {total} pictures and recordings copied, the others were there.")


def restore(path: Path, replace: bool, media: bool, data_dir: Path | None) -> None:
    """Put a copy in place, or name the tool for PostgreSQL; copy the media back when asked to."""
    from app.platform import backup as copies

    settings = load_settings(data_dir)
    if media:
        _copy_media(_media_of(path), settings.media_folder)
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


def retime(data_dir: Path | None) -> None:
    """Work the step times of all closed jobs out anew, for jobs closed before they were kept or a new end of shift."""
    from app.jobs.actions.step_times import rebuild_step_times

    settings = load_settings(data_dir)
    db = ready_database(settings)
    with db.write() as session:
        jobs, times = rebuild_step_times(session, settings)
    db.dispose()
    say(f"{times} steps of {jobs} closed jobs are timed.")
