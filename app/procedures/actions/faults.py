"""The supervisor's table of faults: the words of the booking page and the units that usually explain them."""

import re
from collections.abc import Sequence

from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused
from app.procedures.models import Fault

MOST_UNITS = 6


def keep_fault(
    session: Session, device_model_id: int, code: str, words: str, units: Sequence[str], known: Sequence[str]
) -> str:
    """Add a fault, or change the one with this code; returns its code. ``known`` are the units that can be reached.

    Words that it had before are kept, so that earlier jobs still count. Refused for words that another fault has, and
    for a unit that is not of the device.
    """
    query = select(Fault).where(col(Fault.device_model_id) == device_model_id).order_by(col(Fault.id))
    rows = session.exec(query).all()
    chosen = list(dict.fromkeys(unit for unit in units if unit))
    unknown = [unit for unit in chosen if unit not in known]
    if unknown:
        raise Refused(f"There is no unit “{unknown[0]}” that a step frees.", "units")
    if len(chosen) > MOST_UNITS:
        raise Refused(f"At most {MOST_UNITS} units for one fault; a table that names all of them names none.", "units")
    row = next((row for row in rows if row.code == code), None) if code else None
    if code and row is None:
        raise NotFound("that fault")
    if any(words.casefold() == other.words.casefold() for other in rows if other is not row):
        raise Refused("Another fault of this device has these words already.", "words")
    if row is None:
        row = Fault(device_model_id=device_model_id, code=_code(words, {other.code for other in rows}), words=words)
    elif row.words.casefold() != words.casefold():
        row.formerly = [*dict.fromkeys((*row.formerly, row.words))]
    row.words, row.unit, row.also = words, chosen[0] if chosen else None, chosen[1:]
    session.add(row)
    session.flush()
    return row.code


def _code(words: str, taken: set[str]) -> str:
    """Return a code made of the words that no other fault has."""
    base = re.sub(r"[^a-z0-9]+", "-", words.casefold()).strip("-")[:40].strip("-") or "fault"
    return next(code for n in range(1, 10_000) if (code := base if n == 1 else f"{base}-{n}") not in taken)


def remove_fault(session: Session, device_model_id: int, code: str) -> None:
    """Take a fault out of the table; jobs keep the words they were booked in with."""
    row = session.exec(
        select(Fault).where(col(Fault.device_model_id) == device_model_id, col(Fault.code) == code)
    ).first()
    if row is None:
        raise NotFound("that fault")
    session.delete(row)
    session.flush()
