"""HTTP: the recording of a draft added or replaced, its clips shifted, its steps timed by captions."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Caller, PostedLarge, Supervisor
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import NotFound, Refused, Stale
from app.platform.forms import Form, blank, check
from app.platform.media import LargeForm, chunks_of, plain_name
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other
from app.procedures import queries
from app.procedures.actions.media import note_media, store_video, store_words
from app.procedures.actions.recordings import set_recording
from app.procedures.forms import Change
from app.procedures.models import MediaKind
from app.procedures.pages.recordings import recording_page
from app.procedures.queries import MediaInfo
from app.procedures.routes.draft_change import DraftId, address, told
from app.rules.draft_clips import read_shift
from app.rules.narration import Source, read_source

router = APIRouter(include_in_schema=False)


def recording_of(db: Database, settings: Settings, caller: Caller, posted: LargeForm) -> MediaInfo | None:
    """Return the recording that came, stored, or the one that came with an earlier try."""
    upload = posted.files.get("video")
    if upload is None:
        return kept_recording(db, posted.raw.get("kept_video"))
    stored, content_type = store_video(settings, upload)
    with db.write() as session:
        name = plain_name(upload.filename, "recording")
        note_media(session, stored, MediaKind.VIDEO, content_type, name, at=clock.now(), who=caller.person_id)
    return kept_recording(db, stored.sha256)


def kept_recording(db: Database, sha256: str) -> MediaInfo | None:
    """Return a stored recording by its hash; None when there is none."""
    if not sha256:
        return None
    with db.read() as session:
        try:
            found = queries.media(session, sha256)
        except NotFound:
            return None
    return found if found.kind is MediaKind.VIDEO else None


@router.get("/procedures/drafts/{draft_id}/recording")
def show_recording(
    request: Request, db: Db, settings: SiteSettings, _caller: Supervisor, draft_id: DraftId
) -> Response:
    """Show the recording of a draft and the form that changes it."""
    return _page(request, db, settings, draft_id, blank(), None)


def _page(
    request: Request,
    db: Database,
    settings: Settings,
    draft_id: int,
    form: Form[Any],
    kept: MediaInfo | None,
    status: int = 200,
) -> Response:
    with db.read() as session:
        shown = recording_page(session, draft_id, form, kept, settings.words_mb, settings.video_mb)
    return page(request, "procedures/edit/recording.html", shown, status=status)


@router.post("/procedures/drafts/{draft_id}/recording")
def save_recording(
    request: Request, db: Db, settings: SiteSettings, caller: Supervisor, posted: PostedLarge, draft_id: DraftId
) -> Response:
    """Add or replace the recording, shift the clips, time the steps by captions."""
    raw = posted.raw
    checked = check(Change, raw)
    form: Form[Any] = Form({k: v[-1] for k, v in raw.fields.items() if v}, checked.errors, checked.refusal)
    recording: MediaInfo | None = None
    captions: tuple[str, Source] | None = None
    try:
        # A file is stored before the transaction begins, for a recording takes its time.
        recording = recording_of(db, settings, caller, posted)
        captions = _captions(db, settings, caller, posted)
        shift = read_shift(raw.get("shift"))
    except Refused as refusal:
        form = form.refused(refusal)
    if checked.data is None or form.errors or form.refusal:
        return _page(request, db, settings, draft_id, form, recording, 422)
    at = clock.now()
    try:
        with db.write() as session:
            content = [draft_id, raw.content(), recording.sha256 if recording else "", captions[0] if captions else ""]
            key = claim(session, raw.get("submission_id"), content, caller.person_id, at)
            set_recording(
                session, draft_id, checked.data.version, recording.sha256 if recording else None, shift, captions,
                who=caller.person_id, at=at,
            )  # fmt: skip
            settle(session, key, f"{address(draft_id)}/recording")
    except (Refused, Stale) as refusal:
        said = told(refusal) if isinstance(refusal, Stale) else refusal
        return _page(request, db, settings, draft_id, form.refused(said), recording, 409)
    return see_other(f"{address(draft_id)}/recording")


def _captions(db: Database, settings: Settings, caller: Caller, posted: LargeForm) -> tuple[str, Source] | None:
    """Return the captions that came, stored and read; None when none came. Refused when they carry no times."""
    upload = posted.files.get("captions")
    if upload is None:
        return None
    name = plain_name(upload.filename, "captions.vtt")
    if upload.size > settings.words_mb * 1_000_000:
        raise Refused(f"{name} is larger than {settings.words_mb} MB. Cut it up.", "captions")
    body = b"".join(chunks_of(upload.file))
    try:
        source = read_source(name, body)
    except Refused as refusal:
        raise Refused(refusal.reason, "captions") from refusal
    if not source.cues:
        raise Refused("These words carry no times. Choose captions, WebVTT or SRT.", "captions")
    stored = store_words(settings, body, "captions")
    with db.write() as session:
        note_media(session, stored, MediaKind.WORDS, "text/plain", name, at=clock.now(), who=caller.person_id)
    return stored.sha256, source
