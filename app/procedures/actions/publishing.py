"""Publish revisions, from files or from drafts; keep fault words."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused
from app.platform.submissions import content_hash, insert_once
from app.procedures.document import ImportRefused, Problem, essence, picture_lines, plain, read_sheet
from app.procedures.drawings import CleanDrawing, DrawingRefused, clean_svg
from app.procedures.files import SheetFile, drawing_for
from app.procedures.models import DeviceModelRow, Drawing, Fault, Procedure, Revision
from app.procedures.queries.published import UNSETTLED, drawing_hashes, newest_revision
from app.rules.sheet import Sheet


@dataclass(frozen=True)
class Imported:
    """What became of one file; ``new`` is false when the very same revision was there before."""

    code: str
    revision: int
    title: str
    steps: int
    revision_id: int
    new: bool


@dataclass(frozen=True)
class _Read:
    """A file that was read and found sound; ``missing`` are pictures that did not come with it."""

    file: SheetFile
    sheet: Sheet
    drawings: Mapping[str, CleanDrawing]
    missing: tuple[str, ...]


def import_sheets(
    session: Session,
    files: Sequence[SheetFile],
    known_parts: Collection[str] | None,
    at: datetime,
    who: int | None,
) -> tuple[Imported, ...]:
    """Publish all files, or none: ImportRefused names every problem with file, line, step and remedy.

    A revision that is there already with the same content is left alone; with other content it is refused, as
    jobs stand on it. A picture that does not come along is taken from the procedure's newest revision.
    """
    problems: list[Problem] = []
    read: list[_Read] = []
    for file in files:
        try:
            read.append(_read(file, known_parts))
        except ImportRefused as refusal:
            problems.extend(refusal.problems)
    problems += _same_revision_twice(read)
    outcome: list[Imported] = []
    if not problems:
        session.info[UNSETTLED] = True
        for one in read:
            try:
                outcome.append(_publish(session, one, at, who))
            except ImportRefused as refusal:
                problems.extend(refusal.problems)
    if problems:
        raise ImportRefused(problems)
    return tuple(outcome)


def _read(file: SheetFile, known_parts: Collection[str] | None) -> _Read:
    sheet = read_sheet(file.name, file.text, known_parts)
    drawings: dict[str, CleanDrawing] = {}
    missing: list[str] = []
    problems: list[Problem] = []
    for picture, (line, step) in picture_lines(file.name, file.text, sheet).items():
        text = drawing_for(file, picture)
        if text is None:
            missing.append(picture)
            continue
        try:
            drawings[picture] = clean_svg(text)
        except DrawingRefused as refusal:
            said, _, remedy = refusal.reason.partition(". ")
            problems.append(Problem(file.name, line, step, f"The drawing {picture}: {said}.", remedy))
    if problems:
        raise ImportRefused(problems)
    return _Read(file, sheet, drawings, tuple(missing))


def _same_revision_twice(read: Iterable[_Read]) -> list[Problem]:
    seen: dict[tuple[str, int], str] = {}
    found = []
    for one in read:
        key = (one.sheet.code, one.sheet.revision)
        if key in seen:
            message = f"Revision {key[1]} of {key[0]} stands in {seen[key]} too."
            found.append(Problem(one.file.name, None, None, message, "Import one of the two."))
        seen[key] = one.file.name
    return found


def _publish(session: Session, one: _Read, at: datetime, who: int | None) -> Imported:
    newest = newest_revision(session, one.sheet.code)
    hashes = _hashes(one, drawing_hashes(session, newest.id) if newest is not None else {})
    for drawing in one.drawings.values():
        insert_once(session, Drawing, {"sha256": drawing.sha256, "title": drawing.title, "svg": drawing.svg})
    try:
        return publish_sheet(session, one.sheet, hashes, at, who)
    except Refused as refusal:
        said, _, remedy = refusal.reason.rpartition(". ")
        key = refusal.field or "revision"
        line = next((n for n, text in enumerate(one.file.text.splitlines(), 1) if text.startswith(f"{key}:")), None)
        raise ImportRefused([Problem(one.file.name, line, None, f"{said}.", remedy)]) from refusal


def publish_sheet(session: Session, sheet: Sheet, hashes: Mapping[str, str], at: datetime, who: int | None) -> Imported:
    """Publish a checked sheet; ``hashes`` are picture name → hash of what is stored of it already.

    The same revision with the same content is left alone. Raises Refused, naming the key it is about, when the
    revision is published with other content, comes before a published one, or the code is another model's.
    """
    session.info[UNSETTLED] = True
    procedure = session.exec(select(Procedure).where(col(Procedure.code) == sheet.code).with_for_update()).first()
    newest = newest_revision(session, sheet.code)
    hashes = dict(sorted(hashes.items()))
    digest = content_hash({"sheet": essence(sheet), "drawings": hashes})
    known = _known(session, procedure, sheet.revision)
    next_number = (newest.number if newest else sheet.revision) + 1
    if known is not None:
        if known.sha256 != digest:
            raise Refused(
                f"Revision {sheet.revision} of {sheet.code} is published with other content, "
                f"and published revisions never change. Raise the revision number to {next_number}.",
                "revision",
            )
        return _outcome(sheet, known, new=False)
    if newest is not None and sheet.revision < newest.number:
        raise Refused(
            f"Revision {sheet.revision} comes before the published revision {newest.number}. "
            f"Raise the revision number to {next_number}.",
            "revision",
        )
    model_id = _device_model(session, sheet)
    if procedure is None:
        procedure = Procedure(code=sheet.code, title=sheet.title, device_model_id=model_id)
    elif procedure.device_model_id != model_id:
        raise Refused(f"{sheet.code} is a procedure of another device model. Give this one a code of its own.", "code")
    procedure.title = sheet.title
    session.add(procedure)
    session.flush()
    revision = Revision(
        procedure_id=procedure.id or 0,
        number=sheet.revision,
        document=plain(sheet),
        drawings=hashes,
        sha256=digest,
        published_at=at,
        published_by=who,
    )
    session.add(revision)
    session.flush()
    return _outcome(sheet, revision, new=True)


def _outcome(sheet: Sheet, revision: Revision, new: bool) -> Imported:
    return Imported(sheet.code, sheet.revision, sheet.title, len(sheet.steps), revision.id or 0, new)


def _known(session: Session, procedure: Procedure | None, number: int) -> Revision | None:
    if procedure is None:
        return None
    return session.exec(
        select(Revision).where(col(Revision.procedure_id) == procedure.id, col(Revision.number) == number)
    ).first()


def _hashes(one: _Read, before: Mapping[str, str]) -> dict[str, str]:
    """Return picture name → hash; pictures that did not come along are the newest revision's of that name."""
    lost = [picture for picture in one.missing if picture not in before]
    if lost:
        where = picture_lines(one.file.name, one.file.text, one.sheet)
        raise ImportRefused(
            [
                Problem(
                    one.file.name,
                    *where[picture],
                    f"The drawing {picture} did not come with the file.",
                    "Add the SVG file, or take the picture out.",
                )
                for picture in lost
            ]
        )
    found = {picture: drawing.sha256 for picture, drawing in one.drawings.items()}
    found |= {picture: before[picture] for picture in one.missing}
    return dict(sorted(found.items()))


def _device_model(session: Session, sheet: Sheet) -> int:
    """Add the device model or bring it up to date; its code is what it is known by."""
    model = sheet.device_model
    row = session.exec(select(DeviceModelRow).where(col(DeviceModelRow.code) == model.code)).first()
    if row is None:
        row = DeviceModelRow(code=model.code, name=model.name, kind=model.kind, identifier=model.identifier)
    row.name, row.kind, row.identifier = model.name, model.kind, model.identifier
    row.has_cell, row.ingress = model.has_cell, model.ingress
    session.add(row)
    session.flush()
    return row.id or 0


def set_faults(session: Session, device_model: str, words: Iterable[tuple[str, str, str | None]]) -> None:
    """Keep the fault words (code, words, likely unit) of a device model, by its code; those not named stay."""
    row = session.exec(select(DeviceModelRow).where(col(DeviceModelRow.code) == device_model)).first()
    if row is None:
        raise NotFound(f"device model {device_model}")
    known = {f.code: f for f in session.exec(select(Fault).where(col(Fault.device_model_id) == row.id)).all()}
    for code, said, unit in words:
        fault = known.get(code) or Fault(device_model_id=row.id or 0, code=code, words=said)
        fault.words, fault.unit = said, unit
        session.add(fault)
    session.flush()
