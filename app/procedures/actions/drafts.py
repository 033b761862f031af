"""Drafts: begun, saved, taken back to an earlier save, sent to be checked, checked and published."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused, Stale
from app.platform.submissions import canonical
from app.procedures.actions.publishing import Imported, publish_sheet
from app.procedures.document import MAX_BYTES
from app.procedures.draft_checks import look
from app.procedures.models import Draft, DraftSave, DraftState
from app.procedures.queries import published
from app.procedures.queries.drafts import saved_document
from app.rules import draft_flow
from app.rules.draft_documents import Document, rows, settle_ids
from app.rules.draft_flow import DraftStanding
from app.rules.draft_questions import bound, followed, still_open
from app.rules.sheet import Sheet
from app.rules.sheet_difference import difference

NO_TITLE = "Procedure without a title"
# Words that stand where an address has a procedure's code.
TAKEN_CODES = frozenset({"drafts", "import", "dita", "schema"})


def create_draft(
    session: Session,
    *,
    title: str,
    document: Mapping[str, Any],
    asked: Sequence[Mapping[str, Any]] = (),
    drawings: Mapping[str, str] | None = None,
    source: str | None = None,
    video: str | None = None,
    base_revision_id: int | None = None,
    who: int | None,
    at: datetime,
    words: str = "Begun",
) -> int:
    """Begin a draft; returns its id.

    ``document`` is plain JSON in the shape of a procedure file, as far as known. ``asked`` are open questions about
    it, each with ``path`` (keys and indices from the top), ``question`` and ``words``; they are tied to their step.
    ``drawings`` are picture name → hash of what is stored; ``source`` and ``video`` are hashes of stored media.
    """
    plain = {key: value for key, value in document.items() if key not in ("countback", "revision")}
    draft = Draft(
        title=(title.strip() or NO_TITLE)[:120],
        state=DraftState.WRITING,
        document=plain,
        asked=[bound(plain, question) for question in asked],
        drawings=dict(drawings or {}),
        base_revision_id=base_revision_id,
        source=source,
        video=video,
        created_at=at,
        created_by=who,
        saved_at=at,
        saved_by=who,
    )
    session.add(draft)
    session.flush()
    _keep(session, draft, words, at, who)
    return draft.id or 0


def next_revision(session: Session, revision_id: int, *, who: int | None, at: datetime) -> int:
    """Begin the next revision of a published one; returns the draft's id."""
    info = published.revision_info(session, revision_id)
    sheet = published.sheet(session, revision_id)
    return create_draft(
        session,
        title=sheet.title,
        document=sheet.model_dump(mode="json", exclude_defaults=True),
        drawings=published.drawing_hashes(session, revision_id),
        base_revision_id=revision_id,
        who=who,
        at=at,
        words=f"Begun from revision {info.number}",
    )


def load_draft(session: Session, draft_id: int, version: int | None) -> Draft:
    """Load a draft for writing, its row locked; Stale with what changed when ``version`` is not the newest."""
    draft = session.exec(
        select(Draft).where(col(Draft.id) == draft_id).with_for_update().execution_options(populate_existing=True)
    ).first()
    if draft is None:
        raise NotFound(f"draft {draft_id}")
    if version is not None and version != draft.version:
        raise Stale("This draft", changes_since(session, draft, version), f"/procedures/drafts/{draft_id}")
    return draft


def changes_since(session: Session, draft: Draft, version: int) -> tuple[str, ...]:
    """Return in words how a draft differs from what it was at an earlier version."""
    try:
        before = saved_document(session, draft.id or 0, version)
    except NotFound:
        return ()
    return difference(before, draft.document).said() or (f"It is {draft.state.value} now",)


def standing_of(draft: Draft) -> DraftStanding:
    """Return where a draft stands, for the rules."""
    return DraftStanding(draft.state.value, draft.sent_by, draft.saved_by)


def save_draft(
    session: Session,
    draft: Draft,
    document: Document,
    words: str,
    *,
    who: int | None,
    at: datetime,
    renamed: Mapping[str, str] | None = None,
    drawings: Mapping[str, str] | None = None,
) -> int:
    """Keep a draft, loaded with ``load_draft``, with another document; returns its version, unchanged if nothing is.

    ``renamed`` are old → new ids of steps, for the open questions to follow. Refused while it is not in writing.
    """
    draft_flow.check_writable(standing_of(draft))
    if drawings:
        draft.drawings = {**draft.drawings, **drawings}
    if len(canonical(document)) > MAX_BYTES:
        raise Refused("The draft is larger than 2 MB with this. Shorten its texts, or make two procedures of it.")
    if document == draft.document:
        session.add(draft)
        session.flush()
        return draft.version
    draft.document = document
    draft.asked = followed(draft.asked, document, renamed or {})
    draft.title = (str(document.get("title") or "").strip() or NO_TITLE)[:120]
    _touch(session, draft, words, at, who)
    return draft.version


def touch_draft(session: Session, draft: Draft, words: str, *, who: int | None, at: datetime) -> None:
    """Keep a draft of which something beside its document changed; Refused while it is not in writing."""
    draft_flow.check_writable(standing_of(draft))
    _touch(session, draft, words, at, who)


def _touch(session: Session, draft: Draft, words: str, at: datetime, who: int | None) -> None:
    draft.version += 1
    draft.saved_at, draft.saved_by = at, who
    session.add(draft)
    session.flush()
    _keep(session, draft, words, at, who)


def _keep(session: Session, draft: Draft, words: str, at: datetime, who: int | None) -> None:
    session.add(
        DraftSave(
            draft_id=draft.id or 0,
            version=draft.version,
            document=draft.document,
            words=words[:200],
            saved_at=at,
            saved_by=who,
        )
    )
    session.flush()


def take_back_to(session: Session, draft_id: int, version: int, to: int, *, who: int, at: datetime) -> None:
    """Make a draft again what it was at an earlier save; that is a new save, so nothing is lost."""
    draft = load_draft(session, draft_id, version)
    save_draft(session, draft, saved_document(session, draft_id, to), f"Taken back to save {to}", who=who, at=at)


def settle_question(session: Session, draft_id: int, version: int, number: int, done: bool) -> None:
    """Mark an open question as settled, or open it again."""
    draft = load_draft(session, draft_id, version)
    draft_flow.check_writable(standing_of(draft))
    if not 0 <= number < len(draft.asked):
        raise Refused("This question is not in the draft any more.")
    draft.asked = [{**q, "done": done} if n == number else q for n, q in enumerate(draft.asked)]
    session.add(draft)
    session.flush()


def ready_sheet(session: Session, draft: Draft, known_parts: frozenset[str] | None) -> Sheet:
    """Return a draft as the sheet it would be published as; Refused when anything stands in the way."""
    code = str(draft.document.get("code") or "")
    newest = published.newest_revision(session, code)
    looked = look(draft.document, draft_flow.next_number(newest.number if newest else None), known_parts)
    if code in TAKEN_CODES:
        raise Refused(f"“{code}” is a word of this site's addresses. Give the procedure another code.", "code")
    if looked.sheet is None:
        draft_flow.check_sending(replace(standing_of(draft), state=draft_flow.WRITING), len(looked.problems), 0)
        raise Refused("This draft is not sound yet.")
    missing = [p for p in pictures_of(draft.document) if p not in draft.drawings]
    if missing:
        raise Refused(f"The picture {missing[0]} is not stored. Upload it in its step, or take it out.")
    if newest is not None and draft.base_revision_id != newest.id:
        if draft.base_revision_id is None:
            raise Refused(f"A procedure {code} is published already. Give this one a code of its own.", "code")
        raise Refused(
            f"Revision {newest.number} was published since this draft began. Look at what it changed, carry that "
            "over, then say on this page that the draft builds on it."
        )
    return looked.sheet


def pictures_of(document: Document) -> tuple[str, ...]:
    """Return the names of all pictures a document shows, each once."""
    named = [document.get("picture"), *(step.get("picture") for step in rows(document, "steps"))]
    return tuple(dict.fromkeys(str(name) for name in named if name))


def build_on_newest(session: Session, draft_id: int, version: int, *, who: int, at: datetime) -> None:
    """Say that a draft builds on the newest revision, which was published after it began."""
    draft = load_draft(session, draft_id, version)
    draft_flow.check_writable(standing_of(draft))
    newest = published.newest_revision(session, str(draft.document.get("code") or ""))
    if newest is None or newest.id == draft.base_revision_id:
        raise Refused("This draft builds on the newest revision already.")
    draft.base_revision_id = newest.id
    _touch(session, draft, f"Builds on revision {newest.number} now", at, who)


def send_to_check(
    session: Session, draft_id: int, version: int, known_parts: frozenset[str] | None, *, who: int, at: datetime
) -> None:
    """Send a sound draft to a second supervisor; Refused while anything is to be mended or asked."""
    draft = load_draft(session, draft_id, version)
    draft_flow.check_sending(standing_of(draft), 0, len(still_open(draft.document, draft.asked)))
    document, renamed = settle_ids(draft.document)
    save_draft(session, draft, document, "Short names settled", who=who, at=at, renamed=renamed)
    ready_sheet(session, draft, known_parts)
    draft.state = DraftState.CHECKING
    draft.sent_at, draft.sent_by = at, who
    draft.checked_at = draft.checked_by = None
    draft.remarks = ""
    _move(session, draft)


def take_back(session: Session, draft_id: int, version: int) -> None:
    """Take a draft back from its checker to write on."""
    draft = load_draft(session, draft_id, version)
    draft_flow.check_taking_back(standing_of(draft))
    draft.state = DraftState.WRITING
    _move(session, draft)


def send_back(session: Session, draft_id: int, version: int, remarks: str, *, who: int, at: datetime) -> None:
    """Send a draft back to its writer with remarks; only a second person may."""
    draft = load_draft(session, draft_id, version)
    draft_flow.check_sending_back(standing_of(draft), who, remarks)
    draft.state = DraftState.WRITING
    draft.checked_at, draft.checked_by, draft.remarks = at, who, remarks.strip()[:2000]
    _move(session, draft)


def publish_draft(
    session: Session, draft_id: int, version: int, known_parts: frozenset[str] | None, *, who: int, at: datetime
) -> Imported:
    """Publish a draft that this person, who is not its writer, has checked; it becomes the next frozen revision."""
    draft = load_draft(session, draft_id, version)
    draft_flow.check_checking(standing_of(draft), who)
    sheet = ready_sheet(session, draft, known_parts)
    used = {picture: draft.drawings[picture] for picture in pictures_of(draft.document)}
    done = publish_sheet(session, sheet, used, at, who)
    draft.state = DraftState.PUBLISHED
    draft.checked_at, draft.checked_by, draft.revision_id = at, who, done.revision_id
    _move(session, draft)
    return done


def drop_draft(session: Session, draft_id: int, version: int) -> None:
    """Put a draft away; it can be taken up again."""
    draft = load_draft(session, draft_id, version)
    draft_flow.check_dropping(standing_of(draft))
    draft.state = DraftState.DROPPED
    _move(session, draft)


def take_up(session: Session, draft_id: int, version: int) -> None:
    """Take up a dropped draft again."""
    draft = load_draft(session, draft_id, version)
    draft_flow.check_taking_up(standing_of(draft))
    draft.state = DraftState.WRITING
    _move(session, draft)


def _move(session: Session, draft: Draft) -> None:
    """Keep a draft that went to another state; its document is the same, so this is no save of its own."""
    session.add(draft)
    session.flush()
