"""A file to a Source: plain text, WebVTT (W3C recommendation) or SubRip captions, also broken ones."""

import html
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from webvtt import WebVTT
from webvtt.errors import MalformedCaptionError, MalformedFileError

from app.rules.narration.decoding import decode
from app.rules.narration.shapes import CueSpan, Source, SourceKind
from app.rules.verdict import Refused

_STAMP: Final = r"(?:\d{1,4}:)?\d{1,2}:\d{1,2}(?:[.,]\d{1,3})?"
_TIMING: Final = re.compile(rf"^[ \t]*({_STAMP})[ \t]*-{{1,2}}>[ \t]*({_STAMP})", re.MULTILINE)
_INLINE: Final = re.compile(rf"<({_STAMP})>")
_TAG: Final = re.compile(r"</?[a-zA-Z][^<>\n]{0,200}>|\{\\[^{}\n]{0,80}\}")
_ALONE: Final = re.compile(r"[ \t]*\d{1,7}[ \t]*")
_HEADER_BLOCK: Final = re.compile(r"(NOTE|STYLE|REGION)\b")
_FAR_S: Final = 2.0
"""A cue that begins later than this after the one before is new speech, even in the same few words."""
_LINE_FAR_S: Final = 15.0
"""The same for four words or more: a rolling caption keeps its last line up while nobody speaks."""
_LONGEST_OVERLAP: Final = 60
"""In words. A rolling caption shows two or three lines."""


@dataclass(frozen=True, slots=True)
class Cue:
    """One cue as it stands in the file: seconds and payload with its tags."""

    from_s: float
    until_s: float
    payload: str


def read_source(name: str, body: bytes) -> Source:
    """Return the narration of a file; Refused when it is no text, has no words or is too large.

    Captions are known by their timing lines, whatever the file is called.
    """
    text, warnings = decode(body)
    if not text.lstrip().startswith("WEBVTT") and not _TIMING.search(text):
        if name.lower().endswith((".vtt", ".srt")):
            warnings += ("No cue times were found, so the file was read as plain text.",)
        return Source(name, SourceKind.TEXT, text, (), warnings)
    kind = SourceKind.WEBVTT if text.lstrip().startswith("WEBVTT") else SourceKind.SUBRIP
    cues, said = _cues(text, kind)
    if not cues:
        raise Refused("The captions have no cue with words in it. Export them again, or paste the words as plain text.")
    return joined(name, kind, cues, warnings + said)


def _cues(text: str, kind: SourceKind) -> tuple[list[Cue], tuple[str, ...]]:
    strict = _strictly(text, kind)
    if strict is not None:
        return strict, ()
    return list(_leniently(text.split("\n"), kind)), (
        "The captions do not follow their format everywhere. All lines with words were kept: check the times.",
    )


def _strictly(text: str, kind: SourceKind) -> list[Cue] | None:
    """Return the cues as the caption library reads them, or None when the file is not sound or words would be lost."""
    lines = text.split("\n")
    form = "vtt" if kind is SourceKind.WEBVTT else "srt"
    try:
        read = WebVTT.from_buffer(lines, format=form, strict=True)
        cues = [Cue(c.start_in_seconds + _thousandths(c.start), c.end_in_seconds + _thousandths(c.end), c.raw_text)
                for c in read.captions]  # fmt: skip
    except (MalformedFileError, MalformedCaptionError, ValueError, IndexError):
        return None
    return cues if sum(1 for line in lines if "-->" in line) == len(cues) else None


def _thousandths(stamp: str) -> float:
    """Return the part below a second; the library's seconds are whole."""
    return int((re.split(r"[.,]", stamp)[1:] or ["0"])[0].ljust(3, "0")[:3]) / 1000


def _seconds(stamp: str) -> float:
    whole, _, part = stamp.replace(",", ".").partition(".")
    total = 0
    for field in whole.split(":"):
        total = total * 60 + int(field)
    return total + int(part.ljust(3, "0")) / 1000 if part else float(total)


def _leniently(lines: list[str], kind: SourceKind) -> Iterator[Cue]:
    """Yield a cue for every timing line, with all lines up to the next; lines before the first get its start."""
    start = end = None
    held: list[str] = []
    skipping = kind is SourceKind.WEBVTT
    for number, line in enumerate(lines):
        timing = _TIMING.match(line)
        if timing:
            if any(part.strip() for part in held):
                yield Cue(start if start is not None else _seconds(timing[1]),
                          end if end is not None else _seconds(timing[1]), "\n".join(held))  # fmt: skip
            start, end, held, skipping = _seconds(timing[1]), _seconds(timing[2]), [], False
        elif kind is SourceKind.WEBVTT and _HEADER_BLOCK.match(line) and not lines[max(0, number - 1)].strip():
            skipping = True
        elif not line.strip():
            skipping = False
        elif not (skipping or (_ALONE.fullmatch(line) and _before_timing(lines, number))):
            held.append(line)
    if start is not None and end is not None and any(part.strip() for part in held):
        yield Cue(start, end, "\n".join(held))


def _before_timing(lines: list[str], number: int) -> bool:
    return number + 1 < len(lines) and _TIMING.match(lines[number + 1]) is not None


@dataclass(slots=True)
class _Piece:
    """Words to be shown in one stretch of time."""

    text: str
    from_s: float
    until_s: float


def _pieces(cue: Cue) -> list[_Piece]:
    """Return the cue's payload as plain words, cut where WebVTT sets a time inside the cue."""
    parts = _INLINE.split(cue.payload)
    starts = [cue.from_s, *(_seconds(stamp) for stamp in parts[1::2])]
    pieces = []
    for index, part in enumerate(parts[0::2]):
        start = min(max(starts[index], cue.from_s), cue.until_s)
        end = min(max(starts[index + 1], start), cue.until_s) if index + 1 < len(starts) else cue.until_s
        pieces.append(_Piece(html.unescape(_TAG.sub("", part)).replace("\xa0", " "), start, end))
    return pieces


def _key(word: str) -> str:
    return word.strip(".,;:!?\"'()[]…").casefold()


def joined(name: str, kind: SourceKind, cues: Iterable[Cue], warnings: tuple[str, ...]) -> Source:
    """Return the cues' words in order of time as one text; words that a rolling caption shows again are left out."""
    ordered = list(cues)
    turned = sum(1 for cue in ordered if cue.until_s < cue.from_s)
    mended = [Cue(cue.from_s, max(cue.from_s, cue.until_s), cue.payload) for cue in ordered]
    in_time = sorted(mended, key=lambda cue: cue.from_s)
    if in_time != mended:
        warnings += ("Some cues stood out of order; they were sorted by their start.",)
    if turned:
        warnings += (f"{turned} of the cues ended before they began; check the times there.",)
    text: list[str] = []
    spans: list[CueSpan] = []
    length = repeated = 0
    before: list[str] = []
    before_until = float("-inf")
    for cue in in_time:
        pieces = _pieces(cue)
        shown = [_key(word) for piece in pieces for word in piece.text.split()]
        if not shown:
            continue
        again = _overlap(before, shown)
        if cue.from_s - before_until > (_LINE_FAR_S if again >= 4 else _FAR_S):
            again = 0
        repeated += again
        before, before_until = shown, max(before_until, cue.until_s)
        for piece in pieces:
            words = piece.text.split()
            fresh = " ".join(words[again:])
            again = max(0, again - len(words))
            if fresh:
                spans.append(CueSpan(length, length + len(fresh), piece.from_s, piece.until_s))
                text.append(fresh)
                length += len(fresh) + 1
    if repeated:
        warnings += (f"{repeated} words that the captions show again were left out.",)
    if not spans:
        raise Refused("The captions have no cue with words in it. Export them again, or paste the words as plain text.")
    return Source(name, kind, "\n".join(text), tuple(spans), warnings)


def _overlap(before: list[str], shown: list[str]) -> int:
    """Return how many of the words shown were there already: all that came before, or its end."""
    longest = min(len(before), len(shown))
    if before and shown[: len(before)] == before:
        return len(before)
    if 1 < len(shown) < len(before) and before[: len(shown)] == shown:
        return len(shown)
    for size in range(min(longest, _LONGEST_OVERLAP), 0, -1):
        # A single word said twice may be meant twice; two or more in a row are a line shown again.
        if before[-size:] == shown[:size] and (size > 1 or size == len(shown)):
            return size
    return 0
