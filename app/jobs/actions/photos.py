"""Photos: decoded, made smaller and encoded anew, so that nothing but the picture is kept."""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO

from PIL import Image, ImageOps
from sqlmodel import Session

from app.jobs.actions.record import load_job
from app.jobs.models import Photo
from app.platform.errors import Refused
from app.platform.forms import Upload

MAX_BYTES = 15 * 1024 * 1024
MAX_PIXELS = 40_000_000
LONGEST_SIDE = 1600
QUALITY = 82
# Only what cameras and screenshots make: each further decoder is one more way in.
FORMATS = ("JPEG", "PNG", "WEBP")


@dataclass(frozen=True)
class Picture:
    """A picture ready to be kept: JPEG bytes without metadata, and its size in pixels."""

    body: bytes
    width: int
    height: int
    caption: str = ""


def prepare_pictures(uploads: Iterable[Upload], field: str = "photos", caption: str = "") -> tuple[Picture, ...]:
    """Decode uploads and encode them anew; Refused names the file that is no picture, or too large.

    This is slow work on strangers' bytes, so it is done before a transaction is opened.
    """
    return tuple(_prepare(upload, field, caption) for upload in uploads)


def _prepare(upload: Upload, field: str, caption: str) -> Picture:
    if len(upload.body) > MAX_BYTES:
        raise Refused(f"{upload.filename} is larger than 15 MB. Send a smaller photo.", field)
    try:
        with Image.open(BytesIO(upload.body), formats=FORMATS) as image:
            if image.width * image.height > MAX_PIXELS:
                raise Refused(f"{upload.filename} has more than 40 million pixels. Send a smaller photo.", field)
            image.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
            return _encoded(image, caption)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise Refused(f"{upload.filename} has more than 40 million pixels. Send a smaller photo.", field) from error
    except (OSError, ValueError, SyntaxError, ArithmeticError) as error:
        raise Refused(
            f"{upload.filename} is not a photo that can be read. Send a JPEG, PNG or WebP file.", field
        ) from error


def _encoded(image: Image.Image, caption: str) -> Picture:
    upright = ImageOps.exif_transpose(image)
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    if upright.mode in ("RGBA", "LA", "P"):
        upright = upright.convert("RGBA")
        plain = Image.new("RGB", upright.size, "white")
        plain.paste(upright, mask=upright.getchannel("A"))
    else:
        # A new image carries none of the old one's comments, profiles or places.
        plain = Image.new("RGB", upright.size)
        plain.paste(upright.convert("RGB"))
    out = BytesIO()
    plain.save(out, "JPEG", quality=QUALITY, optimize=True)
    return Picture(out.getvalue(), plain.width, plain.height, caption)


def keep_pictures(
    session: Session, job_id: int, pictures: Sequence[Picture], *, at: datetime, who: int | None, event_id: str | None
) -> None:
    """Keep pictures with a job; ``event_id`` is the entry they belong to."""
    for picture in pictures:
        session.add(
            Photo(
                job_id=job_id,
                event_id=event_id,
                caption=picture.caption[:120],
                width=picture.width,
                height=picture.height,
                sha256=hashlib.sha256(picture.body).hexdigest(),
                body=picture.body,
                taken_at=at,
                person_id=who,
            )
        )
    session.flush()


def add_photos(
    session: Session, number: str, pictures: Sequence[Picture], *, at: datetime, who: int | None, event_id: str
) -> None:
    """Add photos to a job that is booked in; Refused when none came."""
    if not pictures:
        raise Refused("Choose a photo first.", "photos")
    job = load_job(session, number)
    keep_pictures(session, job.id or 0, pictures, at=at, who=who, event_id=event_id)
