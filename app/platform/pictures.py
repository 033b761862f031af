"""Pictures: decoded, made smaller and encoded anew, so that nothing but the picture is kept."""

from collections.abc import Iterable
from dataclasses import dataclass
from io import BytesIO

from PIL import Image, ImageOps

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
