"""Give a draft a recording, another one, a shift of its clips, or captions that time its steps."""

from datetime import datetime
from decimal import Decimal

from sqlmodel import Session

from app.platform.errors import Refused
from app.procedures.actions.drafts import load_draft, save_draft, touch_draft
from app.rules.draft_clips import with_recording
from app.rules.draft_documents import rows
from app.rules.narration import Source
from app.rules.narration.timing import spans_of


def set_recording(
    session: Session,
    draft_id: int,
    version: int,
    video: str | None,
    shift: Decimal,
    captions: tuple[str, Source] | None,
    *,
    who: int,
    at: datetime,
) -> tuple[int, int]:
    """Keep the recording (hash) of a draft; returns how many steps the captions timed, and of how many.

    None keeps the recording it has. ``captions`` are the hash of the stored words and what was read of them: their
    times become the steps' clips, ``shift`` seconds later; without captions the clips there are move by ``shift``.
    """
    draft = load_draft(session, draft_id, version)
    video = video or draft.video
    if video is None:
        raise Refused("Choose the recording first.", "video")
    if captions is None and video == draft.video and not shift:
        raise Refused("Choose another recording, captions or a shift; nothing would change.", "video")
    steps = rows(draft.document, "steps")
    spans = spans_of([str(step.get("do") or "") for step in steps], captions[1]) if captions else None
    timed = sum(span is not None for span in spans) if spans else 0
    if captions and not timed:
        raise Refused("No step's words are in these captions. Are they of this recording?", "captions")
    document = with_recording(draft.document, video, shift, spans)
    if video != draft.video:
        words = "Recording replaced" if draft.video else "Recording added"
    else:
        words = f"Clips moved by {shift.normalize():f} s"
    words = f"{words}; captions timed {timed} of {len(steps)} steps" if captions else words
    draft.video = video
    if captions and draft.source is None:
        draft.source = captions[0]
    if document == draft.document:
        touch_draft(session, draft, words, who=who, at=at)
    else:
        save_draft(session, draft, document, words, who=who, at=at)
    return timed, len(steps)
