"""The page of times set aside: entries from tablets whose clocks did not agree, to be looked at by a supervisor."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from app.platform.forms import Form
from app.platform.web import duration_text
from app.review.queries.clocks import ClockRow
from app.review.words import words
from app.rules.sheet import Sheet
from app.rules.tap_clock import ASIDE_MS

BY = {
    "wall clock": "its two clocks",
    "order": "the entry tapped before it",
    "receipt": "the moment it was sent",
}


@dataclass(frozen=True)
class ClockLine:
    """One entry: what it says, when it was tapped as far as is known, and what its clocks disagree with."""

    number: str
    place: int
    what: str
    person: str
    at: datetime
    differs: str
    by: str
    received: datetime | None
    aside: bool


@dataclass(frozen=True)
class ClocksPage:
    """The entries of a stretch of time. ``small`` is whether those are shown too whose time counts."""

    form: Form[Any]
    first: date
    last: date
    small: bool
    lines: tuple[ClockLine, ...]


def clocks_page(
    form: Form[Any],
    first: date,
    last: date,
    rows: Sequence[ClockRow],
    sheets: Mapping[int, Sheet],
    names: Mapping[int, str],
) -> ClocksPage:
    """Return the page; ``sheets`` are the procedures' sheets by revision."""
    small = form.value("small") == "yes"
    return ClocksPage(form, first, last, small, tuple(_line(row, sheets[row.revision_id], names) for row in rows))


def _line(row: ClockRow, sheet: Sheet, names: Mapping[int, str]) -> ClockLine:
    received = row.data.get("received")
    return ClockLine(
        number=row.number,
        place=row.sequence,
        what=words(row.kind, {**row.data, "step": row.step}, sheet, names),
        person=names.get(row.person_id or 0, ""),
        at=row.at,
        differs=duration_text(row.skew_ms / 1000),
        by=BY.get(str(row.data["clock"].get("by")), ""),
        received=datetime.fromisoformat(str(received)) if received else None,
        aside=row.skew_ms > ASIDE_MS,
    )
