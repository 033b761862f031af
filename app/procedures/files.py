"""Procedure files on disk or as uploads, with the drawings they name."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from app.platform.forms import Upload
from app.procedures.document import ImportRefused, Problem, decode


@dataclass(frozen=True)
class SheetFile:
    """One procedure file: its name for messages, its text, and drawings by the name the file gives them."""

    name: str
    text: str
    drawings: Mapping[str, str] = field(default_factory=dict)


def read_folder(folder: Path) -> tuple[SheetFile, ...]:
    """Return all procedure files (*.yaml, *.yml) of a folder with all SVG files below it.

    Raises ImportRefused for a file that is not UTF-8 text.
    """
    drawings = {
        path.relative_to(folder).as_posix(): decode(path.name, path.read_bytes())
        for path in sorted(folder.rglob("*.svg"))
    }
    sheets = sorted([*folder.glob("*.yaml"), *folder.glob("*.yml")])
    return tuple(SheetFile(path.name, decode(path.name, path.read_bytes()), drawings) for path in sheets)


def read_uploads(uploads: Iterable[Upload]) -> tuple[SheetFile, ...]:
    """Return uploaded procedure files, each with all uploaded drawings by their bare file names.

    Browsers send no folders, so a picture is found by the last part of its name. Raises ImportRefused with all
    files that cannot be read, and when there is no procedure among them.
    """
    problems: list[Problem] = []
    sheets: list[tuple[str, str]] = []
    drawings: dict[str, str] = {}
    for upload in uploads:
        name = PurePosixPath(upload.filename.replace("\\", "/")).name
        kind = PurePosixPath(name).suffix.lower()
        if kind not in (".yaml", ".yml", ".svg"):
            problems.append(
                Problem(name, None, None, "This is neither YAML nor SVG.", "Choose .yaml and .svg files only.")
            )
            continue
        try:
            text = decode(name, upload.body)
        except ImportRefused as refusal:
            problems.extend(refusal.problems)
            continue
        if kind != ".svg":
            sheets.append((name, text))
        elif drawings.setdefault(name, text) != text:
            problems.append(
                Problem(name, None, None, "Two different drawings have this name.", "Give each its own name.")
            )
    if not sheets and not problems:
        problems.append(Problem("Upload", None, None, "There is no procedure file.", "Choose a .yaml file."))
    if problems:
        raise ImportRefused(problems)
    return tuple(SheetFile(name, text, drawings) for name, text in sheets)


def drawing_for(file: SheetFile, picture: str) -> str | None:
    """Return the text of the drawing a file names, by its full name or by its last part."""
    found = file.drawings.get(picture)
    return found if found is not None else file.drawings.get(PurePosixPath(picture).name)
