"""Import of procedures and of the parts catalogue from files."""

from collections.abc import Sequence
from pathlib import Path

from app.cli.console import load_settings, ready_database, say, stop
from app.platform import clock
from app.platform.errors import Refused
from app.procedures.document import ImportRefused
from app.procedures.files import SheetFile, read_folder


def _files(paths: Sequence[Path]) -> list[SheetFile]:
    """Return the procedure files; a single file brings the drawings of its own folder along."""
    found: list[SheetFile] = []
    for path in paths:
        if path.is_dir():
            found += read_folder(path)
        else:
            found += [file for file in read_folder(path.parent) if file.name == path.name]
    if not found:
        stop("There is no procedure file there. Procedures are files that end in .yaml or .yml.")
    return found


def procedures(paths: Sequence[Path], data_dir: Path | None) -> None:
    """Publish procedures: all, or none with every problem named."""
    from app.procedures.actions import import_sheets
    from app.stores.queries import known_numbers

    db = ready_database(load_settings(data_dir))
    try:
        files = _files(paths)
        with db.write() as session:
            done = import_sheets(session, files, known_numbers(session), clock.now(), None)
    except ImportRefused as refusal:
        stop("\n".join(["Nothing was imported.", *(str(problem) for problem in refusal.problems)]))
    finally:
        db.dispose()
    for one in done:
        word = "published" if one.new else "is there already"
        say(f"{one.code}, revision {one.revision}: {one.steps} steps, {word}.")


def parts(
    parts_file: Path, suppliers: Path | None, locations: Path | None, dry_run: bool, data_dir: Path | None
) -> None:
    """Import a catalogue: all of it, or nothing with errors by row."""
    from app.stores.actions import import_catalogue, read_csv

    db = ready_database(load_settings(data_dir))
    try:
        rows = [read_csv(path.read_bytes()) if path else [] for path in (suppliers, locations, parts_file)]
        with db.write() as session:
            report = import_catalogue(session, *rows, entry_id=clock.uuid7(), at=clock.now(), who=None, dry_run=dry_run)
    except Refused as refusal:
        stop(f"Nothing was imported. {refusal.reason}")
    finally:
        db.dispose()
    if report.errors:
        words = [f"{e.file}, row {e.row}, {e.column or 'the row'}: {e.message}" for e in report.errors]
        stop("\n".join(["Nothing was imported.", *words]))
    verb = "would be" if dry_run else "were"
    say(f"{len(report.added)} {verb} added, {len(report.changed)} changed, {report.same} stay as they are.")
