"""What jobs want of parts beyond what is promised to them."""

from collections.abc import Mapping
from datetime import date, datetime

from sqlalchemy import bindparam
from sqlmodel import Session, col, select

from app.stores.actions.ledger import lock_parts, note_changes
from app.stores.models import Part, Wanted

# Built once, as it is run for every kit: making a statement anew costs as much as running it.
_WANTED = (
    select(Wanted, Part.number)
    .join(Part, col(Part.id) == col(Wanted.part_id))
    .where(col(Wanted.source_ref) == bindparam("source"))
)


def want(session: Session, source_ref: str, short: Mapping[str, int], on_day: date, *, at: datetime) -> None:
    """Keep what a source still wants by part number: exactly this; what is not named is wanted no more.

    ``on_day`` is the day it is needed; a part that was wanted before keeps its day. Raises NotFound.
    """
    rows = session.exec(_WANTED, params={"source": source_ref}).all()
    known = {number: row for row, number in rows}
    asked = {number: quantity for number, quantity in short.items() if quantity > 0}
    changed = [n for n in {*asked, *known} if asked.get(n, 0) != (known[n].quantity if n in known else 0)]
    if not changed:
        return
    held = lock_parts(session, changed)
    for number, part in held.items():
        row = known.get(number) or Wanted(part_id=part.id, source_ref=source_ref, on_day=on_day, known_at=at)
        if row.quantity == 0:
            row.on_day = on_day
        row.quantity = asked.get(number, 0)
        session.add(row)
    session.flush()
    note_changes(session, [part.id for part in held.values()])


def wanted_parts(session: Session, source_ref: str) -> tuple[int, ...]:
    """Return the ids of the parts that a source still wants."""
    found = session.exec(
        select(Wanted.part_id).where(col(Wanted.source_ref) == source_ref, col(Wanted.quantity) > 0)
    ).all()
    return tuple(found)
