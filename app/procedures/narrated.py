"""A stored narration, read: what the pages from words to a draft share."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from app.platform.errors import NotFound, Refused
from app.platform.media import MediaStore
from app.procedures.models import MediaKind
from app.procedures.queries.media import MediaInfo
from app.rules.narration import Draft, draft_from, read_source

MOST_STEPS = 2000
LONGEST_READ = 200_000
"""In characters: two hours of speech. More is no single strip-down, and takes long to read."""


@dataclass(frozen=True)
class Narrated:
    """A narration and the draft that was read from it."""

    info: MediaInfo
    draft: Draft


def read_words(name: str, body: bytes) -> Draft:
    """Read a narration; Refused when it is no text, tells no step, or tells more than one procedure holds."""
    source = read_source(name, body)
    if len(source.text) > LONGEST_READ:
        raise Refused(
            f"These words have {len(source.text):,} characters; at most {LONGEST_READ:,} are read at once. "
            "Keep the part that tells one strip-down."
        )
    draft = draft_from(source)
    if not draft.steps:
        raise Refused(
            "No step was found in these words. A step says what is done to what, such as “undo the four screws”."
        )
    if len(draft.steps) > MOST_STEPS:
        raise Refused(f"{len(draft.steps):,} steps were read; a procedure has at most {MOST_STEPS:,}. Cut it up.")
    return draft


def stored_words(store: MediaStore, info: MediaInfo) -> Narrated:
    """Read a stored narration again; NotFound when it is none, or its file is not in the media folder."""
    path = store.path(info.sha256)
    if info.kind is not MediaKind.WORDS or not path.is_file():
        raise NotFound("such narration")
    return Narrated(info, _read(path, info.name))


@lru_cache(maxsize=8)
def _read(path: Path, name: str) -> Draft:
    """Kept for a while: the path is made of the hash, so the same path has the same words."""
    return read_words(name, path.read_bytes())
