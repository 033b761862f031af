"""What an entry of a job's record is, in a word or two: for lists where its whole story would be too long."""

from collections.abc import Mapping
from typing import Final

ENTRY_WORDS: Final[Mapping[str, str]] = {
    "booked": "Booked in",
    "corrected": "Booking corrected",
    "safe": "Made safe",
    "planned": "Planned",
    "revised": "Moved to another revision",
    "extended": "Planned again in mid-work",
    "promised": "A day was promised",
    "quoted": "Quoted",
    "approved": "Quote approved",
    "declined": "Quote declined",
    "kit issued": "Kit handed out",
    "kit returned": "Parts put back on the shelf",
    "alternate taken": "Alternate taken in place of a part",
    "alternate given up": "Alternate given up",
    "hold": "Put on hold",
    "hold ended": "Hold ended",
    "opened": "Opened at the bench",
    "paused": "Paused",
    "takeover": "Taken over",
    "recount": "Tray recounted",
    "tick": "Step ticked",
    "place": "Place counted",
    "turned": "Teardown done, refit begun",
    "undo": "Entry taken back",
    "damage": "Damage reported",
    "absent": "Missing on arrival",
    "lost": "Reported lost",
    "spoiled": "Spoilt in fitting",
    "leftover": "Piece left over reported",
    "reject": "Inspection failed",
    "count": "Closing count signed",
    "override": "Count overridden by a supervisor",
    "test": "Release test done",
    "reopened": "Opened again for a new plan",
    "closed": "Closed",
    "returned": "Returned unrepaired",
    "also": "Also reported from a tablet",
    "question": "Question from a tablet",
    "set aside": "Question set aside",
    "photo": "Photo taken",
}

TROUBLE_WORDS: Final[Mapping[str, str]] = {
    "damage": "damaged",
    "absent": "missing on arrival",
    "lost": "lost",
    "spoiled": "spoilt in fitting",
    "leftover": "left over",
    "reject": "failed inspection",
}
"""The kinds of trouble that are reported at the bench."""


def entry_words(kind: str, title: str = "") -> str:
    """Return an entry's kind in words, with the title of its step."""
    return ENTRY_WORDS.get(kind, kind.capitalize()) + (f": {title}" if title else "")


def plain_change(told: str) -> str:
    """Return a stored note of a change in plain words: older notes begin with the bare kind of the entry."""
    for kind in sorted(ENTRY_WORDS, key=len, reverse=True):
        rest = told.removeprefix(kind)
        if rest != told and rest[:2] in ("", " (", ", "):
            return ENTRY_WORDS[kind] + rest
    return told
