"""What is to be counted and when, and how right the book was."""

from dataclasses import dataclass
from datetime import date

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.rules.stores.cycle_count import Accuracy, CountDays, accuracy, due_on, places_due
from app.stores.models import (
    CountPolicy,
    Location,
    Lot,
    LotBalance,
    Stocktake,
    StocktakeLine,
    StocktakeStatus,
    Suggestion,
)
from app.stores.queries.picking import ShortPickRow, short_picks


@dataclass(frozen=True)
class PlannedCount:
    """A place that is due. ``open_id`` is the stocktake that is open there, 0 when none is."""

    location_id: int
    code: str
    name: str
    due: date
    parts: int
    by_class: str
    open_id: int


@dataclass(frozen=True)
class CountPlan:
    """The places to count today in the order of the shelves, short picks first, and how many there are in all."""

    days: CountDays
    version: int
    due: tuple[PlannedCount, ...]
    short: tuple[ShortPickRow, ...]
    places: int


def count_days(session: Session) -> tuple[CountDays, int]:
    """Return the days by value class and the version of the setting."""
    row = session.get(CountPolicy, 1)
    return (CountDays(row.days_a, row.days_b, row.days_c), row.version) if row else (CountDays(), 0)


def count_plan(session: Session, today: date) -> CountPlan:
    """Return what is to be counted: parts by value class, gathered by the places where they lie."""
    days, version = count_days(session)
    classes = dict(session.exec(select(Suggestion.part_id, Suggestion.value_class)).all())
    lying = session.exec(
        select(LotBalance.location_id, Lot.part_id, func.min(Lot.received_at))
        .join(Lot, col(Lot.id) == col(LotBalance.lot_id))
        .where(col(LotBalance.on_hand) > 0)
        .group_by(col(LotBalance.location_id), col(Lot.part_id))
    ).all()
    last = {
        (place, part): at
        for place, part, at in session.exec(
            select(Stocktake.location_id, StocktakeLine.part_id, func.max(Stocktake.posted_at))
            .join(StocktakeLine, col(StocktakeLine.stocktake_id) == col(Stocktake.id))
            .where(col(Stocktake.status) == StocktakeStatus.POSTED)
            .group_by(col(Stocktake.location_id), col(StocktakeLine.part_id))
        ).all()
    }
    rows = []
    for place, part, came in lying:
        value_class = classes.get(part, "C")
        counted = last.get((place, part))
        rows.append(
            (place, value_class, due_on(counted.date() if counted else None, came.date(), days.of(value_class)))
        )
    places = {p.id: p for p in session.exec(select(Location)).all()}
    taking = dict(
        session.exec(select(Stocktake.location_id, Stocktake.id).where(col(Stocktake.status) == StocktakeStatus.OPEN))
        .all()
    )  # fmt: skip
    due = [
        PlannedCount(
            p.location_id, places[p.location_id].code, places[p.location_id].name, p.due, p.parts,
            ", ".join(f"{n} {name}" for name, n in p.by_class.items()), taking.get(p.location_id) or 0,
        )
        for p in places_due(rows, today)
    ]  # fmt: skip
    due.sort(key=lambda p: (places[p.location_id].walk_order, p.code))
    return CountPlan(days, version, tuple(due), short_picks(session), len({place for place, _c, _d in rows}))


def count_accuracy(session: Session) -> tuple[Accuracy, ...]:
    """Return how right the book was, month by month, by the counts that were posted."""
    rows = session.exec(
        select(Stocktake.posted_at, StocktakeLine.counted, StocktakeLine.book)
        .join(StocktakeLine, col(StocktakeLine.stocktake_id) == col(Stocktake.id))
        .where(col(Stocktake.status) == StocktakeStatus.POSTED)
    ).all()
    return accuracy((at.date(), counted, book) for at, counted, book in rows if at is not None)
