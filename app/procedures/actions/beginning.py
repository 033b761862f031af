"""Begin a draft: blank for a device model, or from a procedure file that may have gaps."""

from datetime import datetime
from typing import Any

from pydantic import ValidationError
from sqlmodel import Session

from app.platform.submissions import insert_once
from app.procedures import queries
from app.procedures.actions.drafts import create_draft, pictures_of
from app.procedures.document import ImportRefused, Located, Problem, as_json, read_yaml
from app.procedures.drawings import DrawingRefused, clean_svg
from app.procedures.files import SheetFile, drawing_for
from app.procedures.gaps import is_gap
from app.procedures.models import Drawing
from app.procedures.words import remedy_for, words_for
from app.rules.draft_documents import slug
from app.rules.sheet import Sheet
from app.rules.verdict import Refused


def begin_blank(session: Session, title: str, model: str, writer: str, *, who: int, at: datetime) -> int:
    """Begin a draft with a title for a device model by its code, empty for one that is new; returns its id."""
    found = next((m for m in queries.device_models(session) if m.code == model), None)
    if model and found is None:
        raise Refused("Choose one of the device models in the list.", "device_model")
    document: dict[str, Any] = {"code": slug(title, "procedure"), "title": title, "written_by": writer}
    if found is not None:
        device = {"code": found.code, "name": found.name, "kind": found.kind}
        device |= {"identifier": found.identifier.value} if found.identifier.value != "serial" else {}
        device |= {"ingress": found.ingress} if found.ingress else {}
        document["device_model"] = device if found.has_cell else {**device, "has_cell": False}
    return create_draft(session, title=title, document=document, who=who, at=at)


def begin_from_file(session: Session, file: SheetFile, *, who: int, at: datetime) -> int:
    """Begin a draft from a procedure file with its drawings; returns its id.

    A file with gaps or mistakes of sense is taken; one that is no procedure by its shape raises ImportRefused. When
    the code is published, the draft is of its next revision, and drawings that do not come along are that one's.
    """
    located = read_yaml(file.name, file.text)
    if not isinstance(located.data, dict):
        raise ImportRefused([Problem(file.name, 1, None, "This is not a procedure.", "Follow the schema.")])
    document = _checked(file, located)
    newest = queries.newest_revision(session, str(document.get("code") or ""))
    before = queries.drawing_hashes(session, newest.id) if newest else {}
    drawings, problems = dict(before), []
    for picture in pictures_of(document):
        text = drawing_for(file, picture)
        if text is None:
            continue
        try:
            clean = clean_svg(text)
        except DrawingRefused as refusal:
            problems.append(Problem(file.name, None, None, f"The drawing {picture}: {refusal.reason}", ""))
            continue
        insert_once(session, Drawing, {"sha256": clean.sha256, "title": clean.title, "svg": clean.svg})
        drawings[picture] = clean.sha256
    if problems:
        raise ImportRefused(problems)
    return create_draft(
        session,
        title=str(document.get("title") or ""),
        document=document,
        drawings=drawings,
        base_revision_id=newest.id if newest else None,
        who=who,
        at=at,
        words=f"Begun from {file.name}"[:200],
    )


def _checked(file: SheetFile, located: Located) -> dict[str, Any]:
    """Return the file's data when it has the shape of a procedure, however many gaps."""
    try:
        sheet = Sheet.model_validate(located.data)
    except ValidationError as error:
        details = [d for d in error.errors(include_url=False) if not is_gap(d)]
        if details:
            raise ImportRefused(
                [
                    Problem(
                        file.name,
                        located.line(tuple(d["loc"])),
                        located.step(tuple(d["loc"])),
                        words_for(d, str(d["loc"][-1]) if d["loc"] else "the file"),
                        remedy_for(d, str(d["loc"][-1]) if d["loc"] else "the file"),
                    )
                    for d in details
                ]
            ) from error
        found = as_json(located.data)
        assert isinstance(found, dict)
        return found
    return sheet.model_dump(mode="json", exclude_defaults=True)
