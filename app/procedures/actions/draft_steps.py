"""Changes of a draft's content: its heading, its release tests, its steps and their pictures."""

from collections.abc import Callable, Collection, Mapping
from copy import deepcopy
from datetime import datetime
from pathlib import PurePosixPath
from typing import Any

from sqlmodel import Session

from app.platform.errors import Refused
from app.platform.forms import RawForm, Upload
from app.platform.media import Stored
from app.platform.pictures import Picture
from app.platform.submissions import insert_once
from app.procedures.actions.drafts import load_draft, save_draft
from app.procedures.actions.media import note_media
from app.procedures.document import ImportRefused, decode
from app.procedures.draft_fields import read
from app.procedures.drawings import DrawingRefused, clean_svg
from app.procedures.gaps import shape_faults
from app.procedures.models import Drawing, MediaKind
from app.rules import draft_steps as rules
from app.rules.draft_documents import Document, rows, settle_ids, slug, step_index
from app.rules.draft_steps import Split
from app.rules.sheet import Sheet, Step

HEAD, TESTS = "head", "tests"


def save_part(
    session: Session, draft_id: int, version: int, part: str, raw: RawForm, fields: Collection[str],
    *, settle: bool, who: int, at: datetime,
) -> int:  # fmt: skip
    """Keep the heading ('head') or the release tests ('tests') as the form has them; returns the version."""
    draft = load_draft(session, draft_id, version)
    document = read(Sheet, raw, draft.document, only=fields)
    renamed: Mapping[str, str] = {}
    if settle:
        document, renamed = settle_ids(document)
    words = "Heading written" if part == HEAD else "Release tests written"
    return save_draft(session, draft, document, words, who=who, at=at, renamed=renamed)


def save_step(
    session: Session, draft_id: int, version: int, step_id: str, raw: RawForm, fields: Collection[str],
    *, settle: bool, who: int, at: datetime,
) -> tuple[int, str]:  # fmt: skip
    """Keep a step as the form has it; returns the version and the step's id, which may be a new one.

    ``settle`` gives rows their lasting ids. While somebody is typing they stay as they are on the page.
    """
    draft = load_draft(session, draft_id, version)
    document = deepcopy(draft.document)
    index = step_index(document, step_id)
    steps = rows(document, "steps")
    steps[index] = read(Step, raw, steps[index], only=fields)
    document["steps"] = steps
    renamed: Mapping[str, str] = {}
    if settle:
        document, renamed = settle_ids(document)
    words = f"Step {index + 1} written: {steps[index].get('title') or 'no title yet'}"
    version = save_draft(session, draft, document, words, who=who, at=at, renamed=renamed)
    return version, renamed.get(step_id, step_id)


def replace_step(
    session: Session, draft_id: int, version: int, step_id: str, step: Mapping[str, Any], *, who: int, at: datetime
) -> int:
    """Put a step, as plain data that may have gaps, in the place of one; returns the version.

    It keeps the id of the one it replaces, which others wait for. Refused when it has not the shape of a step.
    """
    faults = shape_faults(Step, step)
    if faults:
        where = ".".join(str(part) for part in faults[0]["loc"])
        raise Refused(f"This has not the shape of a step: {where}: {faults[0]['msg']}.")
    draft = load_draft(session, draft_id, version)
    document = deepcopy(draft.document)
    index = step_index(document, step_id)
    steps = rows(document, "steps")
    steps[index] = {**step, "id": step_id}
    document["steps"] = steps
    document, renamed = settle_ids(document)
    words = f"Step {index + 1} replaced: {steps[index].get('title') or 'no title yet'}"
    return save_draft(session, draft, document, words, who=who, at=at, renamed=renamed)


def _edit(
    session: Session, draft_id: int, version: int, words: str, edit: Callable[[Document], Document],
    *, who: int, at: datetime,
) -> None:  # fmt: skip
    draft = load_draft(session, draft_id, version)
    save_draft(session, draft, edit(draft.document), words, who=who, at=at)


def add_step(session: Session, draft_id: int, version: int, after: str | None, *, who: int, at: datetime) -> str:
    """Add an empty step behind another, or at the end; returns its id."""
    draft = load_draft(session, draft_id, version)
    document, step_id = rules.add_step(draft.document, after)
    save_draft(session, draft, document, f"Step {step_index(document, step_id) + 1} added", who=who, at=at)
    return step_id


def _title(document: Document, step_id: str) -> str:
    return str(rows(document, "steps")[step_index(document, step_id)].get("title") or "no title yet")


def move_step(session: Session, draft_id: int, version: int, step_id: str, by: int, *, who: int, at: datetime) -> None:
    """Move a step up or down in the list."""
    draft = load_draft(session, draft_id, version)
    words = f"Step moved {'up' if by < 0 else 'down'}: {_title(draft.document, step_id)}"
    save_draft(session, draft, rules.move_step(draft.document, step_id, by), words, who=who, at=at)


def remove_step(session: Session, draft_id: int, version: int, step_id: str, *, who: int, at: datetime) -> None:
    """Take a step out; an earlier save still has it."""
    draft = load_draft(session, draft_id, version)
    words = f"Step taken out: {_title(draft.document, step_id)}"
    save_draft(session, draft, rules.remove_step(draft.document, step_id), words, who=who, at=at)


def merge_steps(
    session: Session, draft_id: int, version: int, step_id: str, other: str, *, who: int, at: datetime
) -> str:
    """Make one step of two, in the place of the earlier one; returns its id."""
    draft = load_draft(session, draft_id, version)
    first, second = step_id, other
    if step_index(draft.document, other) < step_index(draft.document, step_id):
        first, second = other, step_id
    words = f"Merged: {_title(draft.document, first)}; {_title(draft.document, second)}"
    save_draft(session, draft, rules.merge_steps(draft.document, first, second), words, who=who, at=at)
    return first


def split_step(
    session: Session, draft_id: int, version: int, step_id: str, split: Split, *, who: int, at: datetime
) -> str:
    """Make two steps of one; returns the second's id."""
    draft = load_draft(session, draft_id, version)
    document, second = rules.split_step(draft.document, step_id, split)
    save_draft(session, draft, document, f"Split: {_title(draft.document, step_id)}", who=who, at=at)
    return second


def chain_steps(session: Session, draft_id: int, version: int, *, who: int, at: datetime) -> None:
    """Let every step wait for the one before it."""
    _edit(session, draft_id, version, "Every step waits for the one before it", rules.chain_steps, who=who, at=at)


def loosen(session: Session, draft_id: int, version: int, step_id: str, other: str, *, who: int, at: datetime) -> None:
    """Let a step wait for what another waits for, no longer for that one itself."""
    _edit(session, draft_id, version, "Order loosened", lambda d: rules.loosen(d, step_id, other), who=who, at=at)


def keep_drawing(session: Session, upload: Upload) -> tuple[str, str]:
    """Store an uploaded line drawing; returns the name it gets in the draft and its hash. Refused when unclean."""
    name = PurePosixPath(upload.filename.replace("\\", "/")).stem
    try:
        clean = clean_svg(decode(upload.filename, upload.body))
    except DrawingRefused as refusal:
        raise Refused(refusal.reason, "picture") from refusal
    except ImportRefused as refusal:
        raise Refused(f"{refusal.problems[0].message} {refusal.problems[0].remedy}", "picture") from refusal
    insert_once(session, Drawing, {"sha256": clean.sha256, "title": clean.title, "svg": clean.svg})
    # The name carries the content's mark, so that an earlier save still finds its own picture.
    return f"{slug(name, 'drawing')}-{clean.sha256[:8]}.svg", clean.sha256


def keep_photo(
    session: Session, stored: Stored, photo: Picture, name: str, *, who: int, at: datetime
) -> tuple[str, str]:
    """Note a photo that is stored already; returns the name it gets in the draft and its hash."""
    note_media(session, stored, MediaKind.PICTURE, "image/jpeg", name, at=at, who=who, picture=photo)
    stem = PurePosixPath(name.replace("\\", "/")).stem
    return f"{slug(stem, 'photo')}-{stored.sha256[:8]}.jpg", stored.sha256


def set_picture(
    session: Session, draft_id: int, version: int, step_id: str, picture: tuple[str, str] | None,
    *, who: int, at: datetime,
) -> None:  # fmt: skip
    """Give a step a stored picture (name and hash), or none; an empty id means the overview of the procedure.

    Places belong to the picture they were set on, so a step's places go with its picture.
    """
    draft = load_draft(session, draft_id, version)
    document = deepcopy(draft.document)
    holder: dict[str, Any] = document
    if step_id:
        holder = rows(document, "steps")[step_index(document, step_id)]
    if picture is None:
        holder.pop("picture", None)
        for fixing in rows(holder, "releases"):
            fixing.pop("places", None)
    else:
        holder["picture"] = picture[0]
    words = "Picture taken out" if picture is None else "Picture added"
    named = {picture[0]: picture[1]} if picture else None
    save_draft(session, draft, document, words, who=who, at=at, drawings=named)
