"""The clips of a draft: which recording they are of, and when each begins and ends."""

from collections.abc import Sequence
from copy import deepcopy
from decimal import Decimal, InvalidOperation
from typing import Any

from app.rules.draft_documents import Document, part_of, rows
from app.rules.verdict import Refused

LONGEST_S = Decimal(24 * 60 * 60)
Spans = Sequence[tuple[float, float] | None]


def read_shift(text: str) -> Decimal:
    """Return a shift in seconds, to thousandths, at most a day either way; empty is none. Refused for anything else."""
    plain = text.strip().replace(",", ".").replace("−", "-")
    if not plain:
        return Decimal(0)
    try:
        found = Decimal(plain)
    except InvalidOperation:
        found = Decimal("NaN")
    if not found.is_finite() or abs(found) > LONGEST_S:
        raise Refused("Enter seconds, such as 2.5, or -3 to show clips earlier.", "shift")
    return found.quantize(Decimal("0.001"))


def with_recording(document: Document, video: str, shift: Decimal, spans: Spans | None = None) -> Document:
    """Return the document with all clips of this recording, ``shift`` seconds later than they were.

    ``spans`` are times in seconds for each step; where there are some they replace the clip, and a step without one
    keeps what it had. Refused when a clip would begin before the recording or end after a day.
    """
    new = deepcopy(document)
    for number, step in enumerate(rows(new, "steps")):
        clip: dict[str, Any] = dict(part_of(step, "clip"))
        span = spans[number] if spans is not None and number < len(spans) else None
        if span is not None:
            begin, end = (Decimal(str(round(moment, 3))) for moment in span)
        elif clip:
            moments = (_moment(clip.get("from_s")), _moment(clip.get("to_s")))
            if moments[0] is None or moments[1] is None:
                # What was typed and is no number stays to be mended.
                step["clip"] = {**clip, "video": video}
                continue
            begin, end = moments[0], moments[1]
        else:
            continue
        begin, end = begin + shift, max(end, begin + Decimal("0.1")) + shift
        if begin < 0 or end > LONGEST_S:
            title = str(step.get("title") or f"step {number + 1}")
            raise Refused(f"With this shift the clip of “{title}” lies outside the recording.", "shift")
        step["clip"] = {"video": video, "from_s": _text(begin), "to_s": _text(end)}
    return new


def _moment(value: object) -> Decimal | None:
    try:
        found = Decimal(str(value))
    except InvalidOperation:
        return None
    return found if found.is_finite() else None


def _text(moment: Decimal) -> str:
    return format(moment.quantize(Decimal("0.001")).normalize(), "f")
