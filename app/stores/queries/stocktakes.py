"""Stocktakes: the list, and one with its lots, counts and the book as it is now."""

from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal

from sqlmodel import Session, col, select

from app.people.queries import names
from app.rules.stores.cycle_count import stands
from app.stores.models import Location, Lot, LotBalance, Part, Stocktake, StocktakeCount, StocktakeLine, StocktakeStatus
from app.stores.queries.morning import location_lots


@dataclass(frozen=True)
class StocktakeRow:
    """A stocktake in the list."""

    id: int
    location: str
    location_name: str
    status: str
    opened_at: datetime
    opened_by: str
    posted_at: datetime | None
    lines: int
    differences: int


@dataclass(frozen=True)
class CountLine:
    """One lot of a stocktake. ``book`` is now, while the stocktake is open; what it was when posted, after.

    ``counted`` is None before it is counted; ``book_then`` is the book when the count was kept.
    """

    lot_id: int
    lot_code: str
    part_number: str
    part_name: str
    unit: str
    expires_on: date | None
    unit_cost: Decimal
    book: int
    counted: int | None
    book_then: int | None
    reason: str
    counts: tuple[int, ...] = ()

    @property
    def blind_state(self) -> str:
        """Return how a blind count of the lot stands: 'to count', 'again', 'agrees' or 'differs'."""
        if not self.counts:
            return "to count"
        if not stands(self.counts, self.book):
            return "again"
        return "agrees" if self.counts[-1] == self.book else "differs"

    @property
    def difference(self) -> int | None:
        """Counted less book, or None before counting."""
        return None if self.counted is None else self.counted - self.book

    @property
    def moved(self) -> bool:
        """Whether the book changed since the count was kept."""
        return self.book_then is not None and self.book_then != self.book


@dataclass(frozen=True)
class StocktakeDetail:
    """A stocktake with its lines by part number."""

    id: int
    location_id: int
    location: str
    location_name: str
    status: str
    opened_at: datetime
    opened_by: str
    posted_at: datetime | None
    posted_by: str
    version: int
    lines: tuple[CountLine, ...]
    blind: bool = False


def stocktakes(session: Session, *, after: int | None = None, limit: int = 50) -> tuple[StocktakeRow, ...]:
    """Return stocktakes newest first; ``after`` is the last id seen."""
    query = select(Stocktake, Location).join(Location, col(Location.id) == col(Stocktake.location_id))
    if after is not None:
        query = query.where(col(Stocktake.id) < after)
    rows = session.exec(query.order_by(col(Stocktake.id).desc()).limit(limit)).all()
    ids = [take.id for take, _place in rows]
    lines = session.exec(select(StocktakeLine).where(col(StocktakeLine.stocktake_id).in_(ids))).all()
    people = names(session)
    return tuple(
        StocktakeRow(
            id=take.id or 0,
            location=place.code,
            location_name=place.name,
            status=take.status.value,
            opened_at=take.opened_at,
            opened_by=people.get(take.opened_by, "") if take.opened_by is not None else "",
            posted_at=take.posted_at,
            lines=sum(1 for line in lines if line.stocktake_id == take.id),
            differences=sum(1 for n in lines if n.stocktake_id == take.id and n.counted != n.book),
        )
        for take, place in rows
    )


def stocktake(session: Session, stocktake_id: int) -> StocktakeDetail | None:
    """Return a stocktake: the lots that lie there now and those that were counted; None when there is none."""
    row = session.exec(
        select(Stocktake, Location)
        .join(Location, col(Location.id) == col(Stocktake.location_id))
        .where(col(Stocktake.id) == stocktake_id)
    ).first()
    if row is None:
        return None
    take, place = row
    people = names(session)
    return StocktakeDetail(
        id=take.id or 0,
        location_id=take.location_id,
        location=place.code,
        location_name=place.name,
        status=take.status.value,
        opened_at=take.opened_at,
        opened_by=people.get(take.opened_by, "") if take.opened_by is not None else "",
        posted_at=take.posted_at,
        posted_by=people.get(take.posted_by, "") if take.posted_by is not None else "",
        version=take.version,
        lines=_with_counts(session, take, _count_lines(session, take)),
        blind=take.blind,
    )


def _with_counts(session: Session, take: Stocktake, lines: tuple[CountLine, ...]) -> tuple[CountLine, ...]:
    """Add the counts of a blind stocktake that were made while the book was what it is now."""
    if not take.blind or take.status is not StocktakeStatus.OPEN:
        return lines
    made: dict[tuple[int, int], tuple[int, ...]] = {}
    for row in session.exec(
        select(StocktakeCount).where(col(StocktakeCount.stocktake_id) == take.id).order_by(col(StocktakeCount.id))
    ).all():
        made[row.lot_id, row.book] = (*made.get((row.lot_id, row.book), ()), row.counted)
    return tuple(replace(line, counts=made.get((line.lot_id, line.book), ())) for line in lines)


def _count_lines(session: Session, take: Stocktake) -> tuple[CountLine, ...]:
    kept = session.exec(
        select(StocktakeLine, Lot, Part, LotBalance.on_hand)
        .join(Lot, col(Lot.id) == col(StocktakeLine.lot_id))
        .join(Part, col(Part.id) == col(StocktakeLine.part_id))
        .outerjoin(
            LotBalance,
            (col(LotBalance.lot_id) == col(StocktakeLine.lot_id)) & (col(LotBalance.location_id) == take.location_id),
        )
        .where(col(StocktakeLine.stocktake_id) == take.id)
    ).all()
    posted = take.status is StocktakeStatus.POSTED
    lines = {
        line.lot_id: CountLine(
            line.lot_id, lot.code, part.number, part.name, part.unit, lot.expires_on, lot.unit_cost,
            line.book if posted else (on_hand or 0), line.counted, line.book, line.reason,
        )
        for line, lot, part, on_hand in kept
    }  # fmt: skip
    if take.status is StocktakeStatus.OPEN:
        for row in location_lots(session, take.location_id):
            lines.setdefault(
                row.lot_id,
                CountLine(
                    row.lot_id, row.code, row.part_number, row.part_name, row.unit, row.expires_on,
                    row.unit_cost, row.on_hand, None, None, "",
                ),
            )  # fmt: skip
    return tuple(sorted(lines.values(), key=lambda n: (n.part_number, n.expires_on or date.max, n.lot_code)))
