"""HTTP: a supervisor drafts a procedure from somebody's words, with a recording if there is one."""

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response

from app.people.access import Posted, PostedLarge, Supervisor
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, blank, check
from app.platform.media import LargeForm, MediaStore, chunks_of, plain_name
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other
from app.procedures import queries
from app.procedures.actions import narrated as actions
from app.procedures.actions.media import note_media, store_words
from app.procedures.forms import NarratedHeading
from app.procedures.models import MediaKind
from app.procedures.narrated import Narrated, read_words, stored_words
from app.procedures.pages.from_words import BeginPage, mark_of, read_page
from app.procedures.queries import MediaInfo
from app.procedures.routes.recordings import kept_recording, recording_of
from app.rules.draft_documents import free_id, slug
from app.rules.narrated_answers import answered
from app.rules.narration import SheetDraft, to_sheet_draft
from app.rules.narration.decoding import decode

router = APIRouter(include_in_schema=False)

HERE = "/procedures/drafts/from-words"
OTHERWISE = "Procedure from words"
Sha256 = Annotated[str, Path(pattern=r"^[0-9a-f]{64}$")]
Video = Annotated[str, Query(pattern=r"^([0-9a-f]{64})?$")]


@router.get(HERE)
def show_begin(request: Request, settings: SiteSettings, _caller: Supervisor) -> Response:
    """Show the form that takes the words."""
    return _begin(request, settings, blank(), None)


def _begin(
    request: Request, settings: Settings, form: Form[Any], recording: MediaInfo | None, status: int = 200
) -> Response:
    shown = BeginPage(form, recording, settings.words_mb, settings.video_mb)
    return page(request, "procedures/words/begin.html", shown, status=status)


@router.post(HERE)
def take_words(request: Request, db: Db, settings: SiteSettings, caller: Supervisor, posted: PostedLarge) -> Response:
    """Store the words and the recording, read the words, and go to what was read."""
    form: Form[Any] = Form(values={k: v[-1] for k, v in posted.raw.fields.items() if v})
    recording: MediaInfo | None = None
    try:
        recording = recording_of(db, settings, caller, posted)
    except Refused as refusal:
        form = form.refused(refusal)
    try:
        name, body = _words(posted, settings)
    except Refused as refusal:
        return _begin(request, settings, form.refused(refusal), recording, 422)
    try:
        read_words(name, body)
    except Refused as refusal:
        beside = "words_file" if "words_file" in posted.files else "words"
        form = _with_words(form, body).refused(Refused(refusal.reason, beside))
    if form.errors or form.refusal:
        return _begin(request, settings, _with_words(form, body), recording, 422)
    stored = store_words(settings, body)
    with db.write() as session:
        note_media(session, stored, MediaKind.WORDS, "text/plain", name, at=clock.now(), who=caller.person_id)
    follow = {"title": posted.raw.get("title")[:120], "video": recording.sha256 if recording else ""}
    return see_other(f"{HERE}/{stored.sha256}?{urlencode(follow)}")


def _words(posted: LargeForm, settings: Settings) -> tuple[str, bytes]:
    """Return the name and the bytes of the narration; Refused when there is none, two, or too much of it."""
    upload, pasted = posted.files.get("words_file"), posted.raw.get("words")
    if upload is not None and pasted:
        raise Refused("Paste the words or choose a file, not both: empty one of the two.", "words_file")
    if upload is None:
        if not pasted:
            raise Refused("Paste the words of the narration, or choose its file.", "words")
        body = pasted.encode()
        if len(body) > settings.words_mb * 1_000_000:
            raise Refused(f"These words are larger than {settings.words_mb} MB. Paste one part at a time.", "words")
        return "pasted.txt", body
    if upload.size > settings.words_mb * 1_000_000:
        raise Refused(f"{plain_name(upload.filename)} is larger than {settings.words_mb} MB. Cut it up.", "words_file")
    return plain_name(upload.filename, "words.txt"), b"".join(chunks_of(upload.file))


def _with_words(form: Form[Any], body: bytes) -> Form[Any]:
    """Return the form with the words of a file in its text field: a browser forgets which file was chosen."""
    try:
        text, _warnings = decode(body)
    except Refused:
        return form
    return Form({**form.values, "words": text}, form.errors, form.refusal)


@router.get(HERE + "/{sha256}")
def show_read(
    request: Request,
    db: Db,
    settings: SiteSettings,
    caller: Supervisor,
    sha256: Sha256,
    title: Annotated[str, Query(max_length=120)] = "",
    video: Video = "",
) -> Response:
    """Show what was read from the words, and ask what is uncertain."""
    narrated = _stored(db, settings, sha256)
    with db.read() as session:
        wanted = slug(title, "procedure")
        taken = {wanted} if queries.newest_revision(session, wanted) else set()
    form = blank(title=title, code=free_id(wanted, taken), written_by=caller.name, video=video)
    return _read(request, db, narrated, form)


def _stored(db: Database, settings: Settings, sha256: str) -> Narrated:
    with db.read() as session:
        info = queries.media(session, sha256)
    return stored_words(MediaStore(settings.media_folder), info)


def _read(request: Request, db: Database, narrated: Narrated, form: Form[Any], status: int = 200) -> Response:
    drafted = to_sheet_draft(narrated.draft, code="procedure", title=OTHERWISE)
    recording = kept_recording(db, form.value("video"))
    with db.read() as session:
        models = queries.device_models(session)
    shown = read_page(narrated, drafted, recording, models, form)
    return page(request, "procedures/words/read.html", shown, status=status)


@router.post(HERE + "/{sha256}")
def make_draft(
    request: Request, db: Db, settings: SiteSettings, caller: Supervisor, raw: Posted, sha256: Sha256
) -> Response:
    """Make the draft of what was read and answered, and go to it."""
    narrated = _stored(db, settings, sha256)
    heading = check(NarratedHeading, raw)
    data = heading.data
    drafted: SheetDraft | None = None
    form: Form[Any] = Form(heading.values, heading.errors, heading.refusal)
    if data is not None:
        try:
            drafted = actions.drafted(narrated.draft, data.code, data.title, data.kind, data.written_by)
        except Refused as refusal:
            form = form.refused(refusal)
    drafted = drafted or to_sheet_draft(narrated.draft, code="procedure", title=OTHERWISE)
    found = answered(drafted.document, drafted.questions, _typed(raw))
    for name, message in found.errors.items():
        form = form.wrong(name, message)
    if raw.get("mark") != mark_of(drafted):
        form = form.refused(Refused("These words are read otherwise than when this page was shown. Look again."))
    if data is None or form.errors or form.refusal:
        return _read(request, db, narrated, form, 422)
    recording = kept_recording(db, data.video)
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            made = actions.begin_narrated(
                session, narrated, found, data, recording.sha256 if recording else None, who=caller.person_id, at=at
            )
            location = f"/procedures/drafts/{made}"
            settle(session, key, location)
    except Refused as refusal:
        return _read(request, db, narrated, form.refused(refusal), 409)
    return see_other(location)


def _typed(raw: RawForm) -> dict[str, str]:
    return {name: values[-1] for name, values in raw.fields.items() if values and name.startswith("a-")}
