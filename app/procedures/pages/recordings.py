"""Context of the page on which a draft gets its recording."""

from dataclasses import dataclass
from typing import Any

from sqlmodel import Session

from app.platform.forms import Form
from app.procedures import queries
from app.procedures.queries import MediaInfo, drafts
from app.procedures.queries.drafts import DraftDetail
from app.procedures.queries.media import ClipView
from app.rules.draft_documents import rows


@dataclass(frozen=True)
class TimedStep:
    """A step with its clip, if it has one."""

    number: int
    id: str
    title: str
    clip: ClipView | None


@dataclass(frozen=True)
class RecordingPage:
    """The recording of a draft. ``kept`` is one that was stored with a try that was refused."""

    draft: DraftDetail
    form: Form[Any]
    recording: str
    kept: MediaInfo | None
    steps: tuple[TimedStep, ...]
    words_mb: int
    video_mb: int
    may_write: bool

    @property
    def timed(self) -> int:
        """How many steps have a clip."""
        return sum(step.clip is not None for step in self.steps)


def recording_page(
    session: Session, draft_id: int, form: Form[Any], kept: MediaInfo | None, words_mb: int, video_mb: int
) -> RecordingPage:
    """Read the recording of a draft and the times of its steps."""
    draft = drafts.draft(session, draft_id)
    listed = rows(draft.document, "steps")
    clips = queries.clips(session, listed)
    names = queries.recordings(session, [draft.video]) if draft.video else {}
    return RecordingPage(
        draft=draft,
        form=form,
        recording=names.get(draft.video or "", ""),
        kept=kept,
        steps=tuple(
            TimedStep(
                number,
                str(step.get("id")),
                str(step.get("title") or "No title yet"),
                clips.get(str(step.get("id"))),
            )
            for number, step in enumerate(listed, 1)
        ),
        words_mb=words_mb,
        video_mb=video_mb,
        may_write=draft.state.value == "in writing",
    )
