"""What the commands share: settings with options on top, messages, and the end with a reason."""

from pathlib import Path
from typing import NoReturn

import typer
from pydantic import ValidationError

from app.platform.db import Database, make_database
from app.platform.settings import Settings


def say(text: str = "") -> None:
    """Print a line."""
    typer.echo(text)


def stop(reason: str) -> NoReturn:
    """End the command with a reason on the error stream and exit status 1."""
    typer.echo(reason, err=True)
    raise typer.Exit(1)


def setting_faults(error: ValidationError) -> list[str]:
    """Return in words which settings are faulty."""
    found = []
    for detail in error.errors():
        name = "COUNTBACK_" + "_".join(str(part) for part in detail["loc"]).upper()
        message = detail["msg"].removeprefix("Value error, ").rstrip(".")
        found.append(f"{name} is {detail['input']!s:.60}: {message}.")
    return found


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
    found = readiness(db, settings)
    for warning in found.warnings:
        typer.echo(f"Note: {warning}", err=True)
    if not found.ready:
        db.dispose()
        stop("\n".join(found.faults))
    return db
