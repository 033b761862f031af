"""Make the demo workshop where there is none yet, and serve it."""

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from pathlib import Path

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from app.cli.console import load_settings, ready_database, say
from app.cli.serving import bind, serve_app
from app.people.demo_staff import demo_sign_ins
from app.platform import clock
from app.platform.db import Database, make_database
from app.platform.logging import set_up_logging
from app.platform.settings import Settings

DEFAULT_FOLDER = Path("data") / "demo"
ENDS = time(15, 30)
UNFINISHED = "unfinished"


def run(
    data_dir: Path | None, host: str | None, port: int | None, jobs: int, seed: int, today: date | None, serve: bool
) -> None:
    """Make the workshop if need be; then serve it, unless told not to."""
    if data_dir is None and "COUNTBACK_DATA_DIR" not in os.environ:
        data_dir = DEFAULT_FOLDER
    settings = load_settings(data_dir, host=host, port=port, demo=True, site_name=_name())
    set_up_logging(settings.log_level)
    taken = bind(settings.host, settings.port) if serve else None
    if _is_made(settings):
        say(f"The demo workshop in {settings.data_dir} is there already.")
    else:
        with _broken_off_in_words():
            _make(settings, jobs, seed, _end(settings, today))
    _show_staff()
    if taken is None:
        return
    from app.main import build_app

    db = ready_database(settings)
    serve_app(build_app(settings, db), settings, taken)
    db.dispose()


@contextmanager
def _broken_off_in_words() -> Iterator[None]:
    """Let a stop by the system end the invention as Ctrl+C does: what lies about is tidied away, and it is said."""
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        yield
    except KeyboardInterrupt as error:
        typer.echo("Broken off. Nothing of it is kept: the next start begins anew.", err=True)
        raise typer.Exit(130) from error
    finally:
        signal.signal(signal.SIGTERM, before)


def _name() -> str | None:
    return None if "COUNTBACK_SITE_NAME" in os.environ else "Marevind device workshop"


def _is_made(settings: Settings) -> bool:
    if settings.database_url:
        from app.people.queries import names
        from app.platform.migrations import current_revision

        db = make_database(settings)
        try:
            if current_revision(db) is None:
                return False
            with db.read() as session:
                return bool(names(session))
        finally:
            db.dispose()
    return (settings.data_dir / "countback.db").is_file()


def _end(settings: Settings, today: date | None) -> datetime:
    """Return where the history ends: just now, or in the afternoon of the day that was asked for."""
    if today is None:
        return clock.now().replace(second=0, microsecond=0)
    return datetime.combine(today, ENDS, tzinfo=settings.zone).astimezone(clock.now().tzinfo)


def _make(settings: Settings, jobs: int, seed: int, until: datetime) -> None:
    """Make the database under another name first: a start that was broken off leaves nothing half-made."""
    from app.demo.history import make_history
    from app.platform.migrations import upgrade

    began = clock.now()
    if settings.database_url:
        db, path = make_database(settings), None
    else:
        settings.data_dir.mkdir(parents=True, exist_ok=True)
        path = settings.data_dir / f"countback.db.{UNFINISHED}"
        _forget(settings.data_dir)
        db = Database(f"sqlite:///{path.resolve()}")
    upgrade(db)
    bar = Progress(
        TextColumn("Inventing a year of the workshop"), BarColumn(), MofNCompleteColumn(), TextColumn("jobs"),
        TimeElapsedColumn(), console=Console(stderr=True),
    )  # fmt: skip
    try:
        with bar:
            task = bar.add_task("", total=jobs)
            make_history(
                db, settings, jobs=jobs, seed=seed, until=until,
                progress=lambda done, total: bar.update(task, completed=done, total=total),
            )  # fmt: skip
    except BaseException:
        db.dispose()
        if path is not None:
            _forget(settings.data_dir)
        raise
    if path is not None:
        with db.engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        db.dispose()
        path.rename(settings.data_dir / "countback.db")
    else:
        db.dispose()
    took = (clock.now() - began) / timedelta(seconds=1)
    say(f"The demo workshop is ready in {settings.data_dir} ({took:.0f} s).")


def _forget(folder: Path) -> None:
    for old in folder.glob(f"countback.db.{UNFINISHED}*"):
        old.unlink()


def _show_staff() -> None:
    say("Sign in as one of the demo's staff:")
    width = max(len(name) for name, _role, _secret in demo_sign_ins())
    for name, role, secret in demo_sign_ins():
        say(f"  {name:<{width}}  {role.value:<10}  {secret}")
