"""Bytes to text: byte order mark, then UTF-8, then Windows-1252; what is no text is refused."""

import codecs
import re
from typing import Final

from app.rules.verdict import Refused

MAX_BYTES: Final = 5 * 1024 * 1024
"""The longest narration taken, in bytes; an hour of speech is about 60 kB."""

_MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
# Leading bytes of files that people pick by mistake: documents, archives, pictures, recordings.
_NOT_TEXT: Final = (
    b"%PDF-", b"PK\x03\x04", b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"\x1f\x8b", b"\x7fELF", b"MZ\x90",
    b"\xd0\xcf\x11\xe0", b"RIFF", b"OggS", b"ID3", b"\x1aE\xdf\xa3", b"{\\rtf",
)  # fmt: skip
_CONTROL: Final = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff\ufffe\uffff]")
_ASK_FOR_TEXT: Final = (
    "This file is not text. Save the narration as plain text, or export its captions as WebVTT or SRT, "
    "and choose that file."
)


def decode(body: bytes) -> tuple[str, tuple[str, ...]]:
    """Return the text with plain line ends, and warnings in words; Refused when it is no text or too long."""
    if len(body) > MAX_BYTES:
        raise Refused("The narration is larger than 5 MB. Cut it into parts and read one part at a time.")
    if body.startswith(_NOT_TEXT) or body[4:8] == b"ftyp":
        raise Refused(_ASK_FOR_TEXT)
    text, warnings = _decoded(body)
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\x85", "\n")
    return cleaned(text, warnings)


def cleaned(text: str, warnings: tuple[str, ...] = ()) -> tuple[str, tuple[str, ...]]:
    """Return text with control characters as spaces, counted in a warning; Refused when most is control characters."""
    text, count = _CONTROL.subn(" ", text)
    if count > 20 and count * 20 > len(text):
        raise Refused(_ASK_FOR_TEXT)
    if count:
        warnings += (f"{_times(count, 'control character')} became spaces.",)
    if not text.strip():
        raise Refused("There are no words in this file. Choose a file with the narration in it.")
    return text, warnings


def _times(count: int, noun: str) -> str:
    return f"1 {noun}" if count == 1 else f"{count} {noun}s"


def _decoded(body: bytes) -> tuple[str, tuple[str, ...]]:
    for mark, encoding in _MARKS:
        if body.startswith(mark):
            try:
                return body[len(mark) :].decode(encoding), ()
            except UnicodeDecodeError:
                text = body[len(mark) :].decode(encoding, errors="replace")
                return text, (f"Some bytes were not sound {encoding.upper()}; they show as \N{REPLACEMENT CHARACTER}.",)
    guessed = _unmarked_utf16(body)
    if guessed:
        return body.decode(guessed, errors="replace"), ("The file was read as UTF-16 without its mark.",)
    if body.count(0) > max(2, len(body) // 100):
        raise Refused(_ASK_FOR_TEXT)
    try:
        return body.decode("utf-8"), ()
    except UnicodeDecodeError:
        said = "The file is not UTF-8. It was read as Windows-1252: check letters with accents."
        return body.decode("cp1252", errors="replace"), (said,)


def _unmarked_utf16(body: bytes) -> str | None:
    """Return the byte order when every other byte of a sample is zero, as in UTF-16 of Latin letters."""
    sample = body[:4000]
    half = len(sample) // 2
    if half < 4:
        return None
    even, odd = sample[0::2].count(0), sample[1::2].count(0)
    if odd > half * 0.8 and even < half * 0.1:
        return "utf-16-le"
    return "utf-16-be" if even > half * 0.8 and odd < half * 0.1 else None
