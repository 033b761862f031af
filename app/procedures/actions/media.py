"""Note stored files. The file itself is stored before the transaction begins, for a recording takes its time."""

from datetime import datetime
from io import BytesIO

from sqlmodel import Session

from app.platform.forms import Upload
from app.platform.media import MB, LargeUpload, MediaStore, Stored, chunks_of, plain_name, video_type
from app.platform.pictures import Picture, prepare_pictures
from app.platform.settings import Settings
from app.platform.submissions import insert_once
from app.procedures.models import Media, MediaKind


def store_video(settings: Settings, upload: LargeUpload, about: str = "video") -> tuple[Stored, str]:
    """Store a recording; returns it with its media type. Refused when it is none, or too large."""
    content_type = video_type(upload.head(), about)
    most = f"{plain_name(upload.filename)} is larger than {settings.video_mb:,} MB. Cut it, or send a smaller one."
    store = MediaStore(settings.media_folder)
    return store.keep(chunks_of(upload.file), settings.video_mb * MB, most, about), content_type


def store_words(settings: Settings, body: bytes, about: str = "words") -> Stored:
    """Store the words of a narration as they came; Refused when they are too long."""
    most = f"The narration is larger than {settings.words_mb} MB. Cut it into parts and read one part at a time."
    return MediaStore(settings.media_folder).keep([body], settings.words_mb * MB, most, about)


def store_picture(settings: Settings, upload: Upload, about: str = "picture") -> tuple[Stored, Picture]:
    """Decode a photo, encode it anew without metadata and store it as JPEG; Refused when it is none, or too large."""
    most = f"{plain_name(upload.filename)} is larger than {settings.picture_mb} MB. Send a smaller photo."
    store = MediaStore(settings.media_folder)
    if len(upload.body) > settings.picture_mb * MB:
        store.keep([upload.body], settings.picture_mb * MB, most, about)
    (picture,) = prepare_pictures([upload], about)
    return store.keep(chunks_of(BytesIO(picture.body)), settings.picture_mb * MB, most, about), picture


def note_media(
    session: Session,
    stored: Stored,
    kind: MediaKind,
    content_type: str,
    name: str,
    *,
    at: datetime,
    who: int | None,
    picture: Picture | None = None,
) -> str:
    """Note a stored file under its hash, once, whoever sends it again; returns the hash."""
    values = {
        "sha256": stored.sha256,
        "kind": kind,
        "content_type": content_type,
        "name": plain_name(name),
        "size": stored.size,
        "width": picture.width if picture else None,
        "height": picture.height if picture else None,
        "stored_at": at,
        "stored_by": who,
    }
    insert_once(session, Media, values)
    return stored.sha256
