"""Begin a draft from a narration that was read."""

from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.platform.errors import Refused
from app.procedures import queries
from app.procedures.actions.drafts import create_draft
from app.procedures.forms import NarratedHeading
from app.procedures.narrated import Narrated
from app.rules.narrated_answers import Answered, as_asked, with_clips
from app.rules.narration import Draft, SheetDraft, to_sheet_draft
from app.rules.sheet import DeviceModel


def drafted(draft: Draft, code: str, title: str, kind: str, written_by: str) -> SheetDraft:
    """Return what was read as a sheet under this code and title; Refused for those that no procedure can have."""
    return to_sheet_draft(draft, code=code, title=title, kind=kind or None, written_by=written_by or None)


def begin_narrated(
    session: Session,
    narrated: Narrated,
    found: Answered,
    heading: NarratedHeading,
    video: str | None,
    *,
    who: int,
    at: datetime,
) -> int:
    """Begin a draft of what was read and answered; returns its id. What was not answered is kept as asked."""
    document, asked = dict(found.document), list(found.questions)
    if heading.device_model:
        document["device_model"] = _device(session, heading.device_model)
        asked = [q for q in asked if q.path[:1] != ("device_model",)]
    elif heading.model:
        document["device_model"] = {**document["device_model"], "name": heading.model}
    if heading.summary:
        document["summary"] = heading.summary
        asked = [q for q in asked if q.path != ("summary",)]
    if video is not None:
        document = with_clips(document, (step.clip for step in narrated.draft.steps), video)
    return create_draft(
        session,
        title=heading.title,
        document=document,
        asked=[as_asked(question) for question in asked],
        source=narrated.info.sha256,
        video=video,
        who=who,
        at=at,
        words=f"Read from {narrated.info.name}",
    )


def _device(session: Session, code: str) -> dict[str, Any]:
    found = next((m for m in queries.device_models(session) if m.code == code), None)
    if found is None:
        raise Refused("Choose one of the device models in the list.", "device_model")
    model = DeviceModel(
        code=found.code,
        name=found.name,
        kind=found.kind,
        identifier=found.identifier,
        has_cell=found.has_cell,
        ingress=found.ingress,
    )
    return model.model_dump(mode="json", exclude_defaults=True)
