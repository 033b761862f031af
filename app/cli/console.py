"""What the commands share: settings with options on top, messages, and the end with a reason."""

import os
from pathlib import Path
from typing import NoReturn

import typer
from pydantic import ValidationError
from sqlalchemy.exc import SQLAlchemyError

from app.platform.db import Database, make_database
from app.platform.settings import Settings

DATABASE_URL = "COUNTBACK_DATABASE_URL"
# Read by the tests, not by the program.
ELSEWHERE = {"COUNTBACK_CHROMIUM", "COUNTBACK_EXAMPLES", "COUNTBACK_REQUIRE_BROWSER", "COUNTBACK_REQUIRE_TMPFS"}


def say(text: str = "") -> None:
    """Print a line."""
    typer.echo(text)


def stop(reason: str) -> NoReturn:
    """End the command with a reason on the error stream and exit status 1."""
    typer.echo(reason, err=True)
    raise typer.Exit(1)


def setting_faults(error: ValidationError) -> list[str]:
    """Return in words which settings are faulty. The database's address is not shown: it has a password in it."""
    found = []
    for detail in error.errors():
        message = detail["msg"].removeprefix("Value error, ").rstrip(".")
        if not detail["loc"]:  # About several settings together; their values would be all there are.
            found.append(f"{message}.")
            continue
        name = "COUNTBACK_" + "_".join(str(part) for part in detail["loc"]).upper()
        shown = "empty" if detail["input"] == "" else f"{detail['input']!s:.60}"
        found.append(f"{name} is {'not shown here' if name == DATABASE_URL else shown}: {message}.")
    return found


def unknown_settings() -> list[str]:
    """Return names in the environment that look like settings and are none: a slip of the pen is not passed over."""
    known = {f"COUNTBACK_{name.upper()}" for name in Settings.model_fields} | ELSEWHERE
    return sorted(name for name in os.environ if name.startswith("COUNTBACK_") and name not in known)


def end_in_words(error: Exception) -> None:
    """End the command with a reason when a database, folder or file did not answer; returns for any other error."""
    if isinstance(error, SQLAlchemyError):
        stop(database_words(error))
    if isinstance(error, OSError) and not isinstance(error, BrokenPipeError):
        where = f"{error.filename}: " if error.filename else ""
        stop(f"{where}{error.strerror or error}.")


def database_words(error: SQLAlchemyError, db: Database | None = None) -> str:
    """Return why a database does not answer: the driver's first line, without statement and values."""
    reason = str(getattr(error, "orig", None) or error).strip().partition("\n")[0].rstrip(".")
    if "disk is full" in reason or "No space left" in reason or (db is not None and db.out_of_space(error)):
        return "The disk is full: the database does not take writes. Free some space."
    if "unable to open" in reason or "readonly" in reason:
        return f"The database does not answer: {reason}. Check that its folder is there and may be written to."
    return f"The database does not answer: {reason}."


def load_settings(data_dir: Path | None = None, **given: object) -> Settings:
    """Return the settings of the environment with options on top; ends the command when one is faulty."""
    options = {name: value for name, value in given.items() if value is not None}
    if data_dir is not None:
        options["data_dir"] = data_dir
    try:
        return Settings(**options)  # type: ignore[arg-type]
    except ValidationError as error:
        stop("\n".join(["The settings are faulty.", *setting_faults(error)]))


def open_database(settings: Settings) -> Database:
    """Open the database; ends the command when the SQLite file is missing."""
    if not settings.database_url and not (settings.data_dir / "countback.db").is_file():
        stop(f"There is no database in {settings.data_dir}. Make one with: countback migrate")
    return make_database(settings)


def ready_database(settings: Settings) -> Database:
    """Open the database; ends the command, in words, when it cannot take work."""
    from app.platform.health import readiness

    db = open_database(settings)
    try:
        db.server_version()
    except SQLAlchemyError as error:
        stop(database_words(error, db))
    found = readiness(db, settings)
    for warning in found.warnings:
        typer.echo(f"Note: {warning}", err=True)
    if not found.ready:
        db.dispose()
        stop("\n".join(found.faults))
    return db
