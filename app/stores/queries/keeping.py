"""How parts are kept, and which lots are open."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session, col, select

from app.stores.models import Lot, LotOpening, Part, PartKeeping


@dataclass(frozen=True)
class Keeping:
    """How a part is kept: days of use once opened (None: opening does not matter), and how to store it."""

    open_life_days: int | None = None
    storage: str = ""


@dataclass(frozen=True)
class Opening:
    """When a lot was opened, and the last day that the pack says."""

    opened_on: date
    printed: date | None


def keeping(session: Session, part_number: str) -> Keeping:
    """Return how a part is kept; the empty answer when nothing is set."""
    return keepings(session, [part_number]).get(part_number, Keeping())


def keepings(session: Session, part_numbers: Iterable[str]) -> dict[str, Keeping]:
    """Return how parts are kept, by number; those with nothing set are left out."""
    rows = session.exec(
        select(PartKeeping, Part.number)
        .join(Part, col(Part.id) == col(PartKeeping.part_id))
        .where(col(Part.number).in_(list(part_numbers)))
    ).all()
    return {number: Keeping(row.open_life_days, row.storage) for row, number in rows}


def openings(session: Session, part_number: str) -> dict[int, Opening]:
    """Return the lots of a part that were opened, by id."""
    rows = session.exec(
        select(LotOpening)
        .join(Lot, col(Lot.id) == col(LotOpening.lot_id))
        .join(Part, col(Part.id) == col(Lot.part_id))
        .where(col(Part.number) == part_number)
    ).all()
    return {row.lot_id: Opening(row.opened_on, row.printed) for row in rows}
