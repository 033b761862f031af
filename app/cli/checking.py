"""The check of everything that can go wrong in silence."""

from collections.abc import Callable, Iterable
from pathlib import Path

import typer
from pydantic import ValidationError
from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session

from app.cli.console import database_words, open_database, say, setting_faults, unknown_settings
from app.platform.db import Database
from app.platform.settings import Settings

MOST_SHOWN = 20


def run(data_dir: Path | None) -> None:
    """Check everything, print the outcome, and end with exit status 1 when there is a fault."""
    try:
        settings = Settings() if data_dir is None else Settings(data_dir=data_dir)
    except ValidationError as error:
        _tell("settings", setting_faults(error))
        raise typer.Exit(1) from error
    _tell("settings", ())
    for name in unknown_settings():
        say(f"  note: {name} is no setting and changes nothing. Is it spelt right?")
    db = open_database(settings)
    try:
        sound = _check_database(db, settings)
    except SQLAlchemyError as error:
        sound = _tell("database", [database_words(error, db)])
    finally:
        db.dispose()
    if not sound:
        raise typer.Exit(1)


def _check_database(db: Database, settings: Settings) -> bool:
    from app.jobs.queries.faults import bench_faults
    from app.platform.media import MediaStore
    from app.platform.migrations import behind
    from app.procedures.queries import media_faults, sheet_faults
    from app.stores.queries import stock_faults

    say(f"  database: {db.server_version()}")
    durable = db.setting_faults()
    # A driver's known fault is told but stops nobody: there may be no newer one for this machine.
    for note in (n for n in durable if " setting " not in n):
        say(f"  note: {note}")
    sound = _tell("durability settings", [n for n in durable if " setting " in n])
    late = behind(db)
    if not _tell("migration", [late] if late else []):
        return False
    checks: tuple[tuple[str, Callable[[Session], Iterable[str]]], ...] = (
        ("stock ledger and its projections", stock_faults),
        ("job records, their seals and projections", bench_faults),
        ("published procedures and their drawings", sheet_faults),
        ("pictures and recordings", lambda session: media_faults(session, MediaStore(settings.media_folder))),
    )
    for name, find in checks:
        with db.read() as session:
            sound = _tell(name, _found(find, session)) and sound
    return sound


def _found(find: Callable[[Session], Iterable[str]], session: Session) -> list[str]:
    """Return the faults a check finds; a row that cannot be read at all is one too."""
    try:
        return list(find(session))
    except (LookupError, TypeError, ValueError) as error:
        return [f"A row cannot be read, and the rest was not looked at: {error.__class__.__name__}: {error}"]


def _tell(what: str, faults: Iterable[str]) -> bool:
    """Print one outcome; returns whether there was no fault."""
    found = list(faults)
    say(f"{'FAULT' if found else 'ok'}  {what}")
    for fault in found[:MOST_SHOWN]:
        say(f"       {fault}")
    if len(found) > MOST_SHOWN:
        say(f"       and {len(found) - MOST_SHOWN} more")
    return not found
