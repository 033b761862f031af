"""Pictures, recordings and texts as files named by the hash of their content, in a folder that all machines share.

A file is written under a temporary name, made durable, then renamed: whoever finds a name finds it whole. Nothing is
ever changed or taken away, so the same content sent twice, or by two machines at once, is one file.
"""

import hashlib
import os
import tempfile
import unicodedata
from collections.abc import AsyncGenerator, AsyncIterator, Iterable, Iterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import IO

from fastapi import Request
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException, MultiPartParser

from app.platform.errors import Refused
from app.platform.forms import RawForm

MB = 1_000_000
CHUNK = 1 << 20
LONGEST_NAME = 120
_ROOM_FOR_FIELDS = 1 * MB


@dataclass(frozen=True)
class Stored:
    """A stored file: the SHA-256 of its content as hex, which is its name, and its size in bytes."""

    sha256: str
    size: int


class MediaStore:
    """The folder with the files, each under the first two digits of its hash."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, sha256: str) -> Path:
        """Return where the file with this hash is, or would be; ValueError for what is no hash."""
        if len(sha256) != 64 or set(sha256) - set("0123456789abcdef"):
            raise ValueError("not a hash")
        return self.folder / sha256[:2] / sha256

    def keep(self, chunks: Iterable[bytes], most: int, too_large: str, about: str | None = None) -> Stored:
        """Store what comes in chunks; Refused with the words ``too_large`` when it is more than ``most`` bytes.

        ``about`` is the form field the refusal belongs to. OSError when the disk does not take it.
        """
        incoming = self.folder / "incoming"
        incoming.mkdir(parents=True, exist_ok=True)
        digest, size = hashlib.sha256(), 0
        with tempfile.NamedTemporaryFile(dir=incoming, delete=False) as file:
            written = Path(file.name)
            try:
                for chunk in chunks:
                    size += len(chunk)
                    if size > most:
                        raise Refused(too_large, about)
                    digest.update(chunk)
                    file.write(chunk)
                file.flush()
                os.fsync(file.fileno())
                sha256 = digest.hexdigest()
                self._put_in_place(written, self.path(sha256), size)
            finally:
                written.unlink(missing_ok=True)
        return Stored(sha256, size)

    def _put_in_place(self, written: Path, target: Path, size: int) -> None:
        if target.is_file() and target.stat().st_size == size:
            return
        target.parent.mkdir(exist_ok=True)
        os.chmod(written, 0o644)
        os.replace(written, target)
        _sync_folder(target.parent)

    def fault(self, sha256: str, size: int) -> str | None:
        """Return in words what is wrong with a file that should be there, None when it is as it should be."""
        try:
            found = self.path(sha256).stat().st_size
        except (OSError, ValueError):
            return f"{sha256} is not in {self.folder}."
        return None if found == size else f"{sha256} has {found} bytes in {self.folder}, not {size}."

    def files(self) -> Iterator[Path]:
        """Yield all stored files."""
        yield from sorted(path for path in self.folder.glob("[0-9a-f][0-9a-f]/*") if path.is_file())


def copy_media(source: MediaStore, target: MediaStore) -> tuple[int, int]:
    """Copy what the target does not have; returns the number of files copied and of all. Refused for a damaged file.

    Each is read, written and hashed as if it came anew, so a copy is always sound.
    """
    copied = total = 0
    for path in source.files():
        total += 1
        try:
            if target.path(path.name).is_file() and target.path(path.name).stat().st_size == path.stat().st_size:
                continue
        except ValueError:
            continue
        with path.open("rb") as file:
            stored = target.keep(chunks_of(file), path.stat().st_size, f"{path} grew while it was copied.")
        if stored.sha256 != path.name:
            raise Refused(f"{path} is damaged: its content is not what its name says.")
        copied += 1
    return copied, total


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError:
        pass  # Some systems cannot sync a folder; the file itself is durable.
    finally:
        os.close(handle)


def chunks_of(file: IO[bytes]) -> Iterator[bytes]:
    """Yield a file from its beginning in pieces."""
    file.seek(0)
    while chunk := file.read(CHUNK):
        yield chunk


def plain_name(filename: str, otherwise: str = "file") -> str:
    """Return the last part of a file's name without what could mislead: folders, control and direction characters."""
    last = filename.replace("\\", "/").rsplit("/", 1)[-1]
    kept = "".join(c for c in unicodedata.normalize("NFC", last) if unicodedata.category(c)[0] != "C")
    kept = " ".join(kept.split()).strip(". ")
    suffix = PurePosixPath(kept).suffix if len(PurePosixPath(kept).suffix) <= 8 else ""
    return (kept if len(kept) <= LONGEST_NAME else kept[: LONGEST_NAME - len(suffix)] + suffix) or otherwise


NO_VIDEO = "This is not a recording that a browser plays. Send an MP4, WebM or QuickTime file."
_STILL_OR_SOUND = (b"heic", b"heix", b"heim", b"heis", b"mif1", b"msf1", b"avif", b"avis", b"M4A ", b"M4B ", b"crx ")
_OLD_QUICKTIME = (b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot")


def video_type(head: bytes, about: str | None = None) -> str:
    """Return the media type of a recording by its first 4 KB; Refused for anything else, whatever it is called.

    ISO base media files begin with an ``ftyp`` box whose brand tells MP4 from QuickTime (ISO/IEC 14496-12), WebM is
    EBML whose document type says so (RFC 8794). Old QuickTime files begin with one of its other atoms.
    """
    kind, brand = head[4:8], head[8:12]
    if kind == b"ftyp" and brand not in _STILL_OR_SOUND:
        return "video/quicktime" if brand == b"qt  " else "video/mp4"
    if kind in _OLD_QUICKTIME and int.from_bytes(head[:4], "big") in range(1, 1 << 31):
        return "video/quicktime"
    if head.startswith(b"\x1a\x45\xdf\xa3") and b"\x42\x82\x84webm" in head[:4096]:
        return "video/webm"
    raise Refused(NO_VIDEO, about)


@dataclass(frozen=True)
class LargeUpload:
    """An uploaded file that stays on disk: the browser's name for it and the open file, good until the answer."""

    filename: str
    file: IO[bytes]
    size: int

    def head(self, count: int = 4096) -> bytes:
        """Return the first bytes."""
        self.file.seek(0)
        return self.file.read(count)


@dataclass(frozen=True)
class LargeForm:
    """A posted form whose files may be large: its fields, and one file a field."""

    raw: RawForm
    files: Mapping[str, LargeUpload] = field(default_factory=dict)


@asynccontextmanager
async def read_large_form(request: Request, most: int, longest_text: int) -> AsyncIterator[LargeForm]:
    """Read a posted form with its files kept on disk; 413 when all of it is more than ``most`` bytes.

    ``longest_text`` is the number of bytes one field may have.
    """
    most += _ROOM_FOR_FIELDS
    if int(request.headers.get("content-length") or 0) > most:
        raise HTTPException(413)
    if not request.headers.get("content-type", "").startswith("multipart/form-data"):
        async with request.form() as plain:
            yield LargeForm(RawForm(_fields(plain.multi_items())))
        return
    parser = MultiPartParser(
        request.headers, _counted(request, most), max_files=4, max_fields=3000, max_part_size=longest_text
    )
    try:
        form = await parser.parse()
    except MultiPartException as error:
        raise HTTPException(413 if "maximum size" in error.message else 400, detail=error.message) from error
    try:
        files = {
            name: LargeUpload(value.filename, value.file, value.size or 0)
            for name, value in form.multi_items()
            if isinstance(value, UploadFile) and value.filename
        }
        yield LargeForm(RawForm(_fields(form.multi_items())), files)
    finally:
        await form.close()


def _fields(items: Iterable[tuple[str, UploadFile | str]]) -> dict[str, tuple[str, ...]]:
    found: dict[str, list[str]] = {}
    for name, value in items:
        if isinstance(value, str):
            found.setdefault(name, []).append(value.replace("\0", ""))
    return {name: tuple(values) for name, values in found.items()}


async def _counted(request: Request, most: int) -> AsyncGenerator[bytes, None]:
    """Pass the request's body on, and stop it at ``most`` bytes: a sender need not tell its length truly."""
    size = 0
    async for chunk in request.stream():
        size += len(chunk)
        if size > most:
            raise HTTPException(413)
        yield chunk
