"""What a stores clerk looks at first in the morning."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import func, or_
from sqlmodel import Session, col, select

from app.stores.models import (
    Location,
    Lot,
    LotBalance,
    LotQuarantine,
    Part,
    Reservation,
    ReservationEntry,
    StockLevel,
    Suggestion,
)
from app.stores.queries.shelf import LotRow, ShelfPart, lots_of, shelf


@dataclass(frozen=True)
class KitWaiting:
    """What is promised to one source and waits to be handed out."""

    source_ref: str
    parts: int
    pieces: int
    since: datetime


@dataclass(frozen=True)
class Promise:
    """What of a part is promised to a source."""

    source_ref: str
    quantity: int
    since: datetime


def kits_waiting(session: Session) -> tuple[KitWaiting, ...]:
    """Return all sources with something promised, the longest waiting first."""
    since = dict(
        session.exec(
            select(ReservationEntry.source_ref, func.max(ReservationEntry.at))
            .join(Reservation, col(Reservation.source_ref) == col(ReservationEntry.source_ref))
            .where(col(Reservation.quantity) > 0, col(ReservationEntry.quantity) > 0)
            .group_by(col(ReservationEntry.source_ref))
        ).all()
    )
    rows = session.exec(
        select(Reservation.source_ref, func.count(), func.sum(Reservation.quantity))
        .where(col(Reservation.quantity) > 0)
        .group_by(col(Reservation.source_ref))
    ).all()
    found = [KitWaiting(source, parts, int(pieces), since[source]) for source, parts, pieces in rows]
    return tuple(sorted(found, key=lambda kit: (kit.since, kit.source_ref)))


def promises_of(session: Session, part_number: str) -> tuple[Promise, ...]:
    """Return to whom a part is promised, the oldest promise first."""
    rows = session.exec(
        select(Reservation.source_ref, Reservation.quantity, func.max(ReservationEntry.at))
        .join(Part, col(Part.id) == col(Reservation.part_id))
        .join(
            ReservationEntry,
            (col(ReservationEntry.part_id) == col(Reservation.part_id))
            & (col(ReservationEntry.source_ref) == col(Reservation.source_ref))
            & (col(ReservationEntry.quantity) > 0),
        )
        .where(col(Part.number) == part_number, col(Reservation.quantity) > 0)
        .group_by(col(Reservation.source_ref), col(Reservation.quantity))
    ).all()
    found = [Promise(source, quantity, at) for source, quantity, at in rows]
    return tuple(sorted(found, key=lambda promise: (promise.since, promise.source_ref)))


def expiring_lots(session: Session, today: date, days: int = 30) -> tuple[LotRow, ...]:
    """Return lots on hand that have expired or expire within ``days``, the first to expire first."""
    numbers = session.exec(
        select(Part.number)
        .join(Lot, col(Lot.part_id) == col(Part.id))
        .join(LotBalance, col(LotBalance.lot_id) == col(Lot.id))
        .where(col(LotBalance.on_hand) > 0, col(Lot.expires_on) <= today + timedelta(days=days))
        .distinct()
    ).all()
    until = today + timedelta(days=days)
    rows = [row for row in lots_of(session, numbers) if row.expires_on is not None and row.expires_on <= until]
    return tuple(sorted(rows, key=lambda row: (row.expires_on or until, row.part_number)))


def short_parts(session: Session, today: date, limit: int = 60) -> tuple[ShelfPart, ...]:
    """Return active parts that are kept in stock and have nothing available, by number, ``limit`` at most.

    Kept are those with an order-up-to level, computed or on the card. What expired or was set aside is not available.
    """
    aside = select(LotQuarantine.lot_id).where(col(LotQuarantine.ended_at).is_(None))
    unusable = (
        select(col(Lot.part_id))
        .join(LotBalance, col(LotBalance.lot_id) == col(Lot.id))
        .where(col(LotBalance.on_hand) > 0, or_(col(Lot.expires_on) < today, col(Lot.id).in_(aside)))
    )
    kept: Any = func.coalesce(col(Suggestion.order_up_to), col(Part.order_up_to))
    numbers = session.exec(
        select(Part.number)
        .outerjoin(StockLevel, col(StockLevel.part_id) == col(Part.id))
        .outerjoin(Suggestion, col(Suggestion.part_id) == col(Part.id))
        .where(
            col(Part.active).is_(True),
            kept > 0,
            or_(
                func.coalesce(col(StockLevel.on_hand), 0) <= func.coalesce(col(StockLevel.reserved), 0),
                col(Part.id).in_(unusable),
            ),
        )
        .order_by(col(Part.number))
        .limit(limit)
    ).all()
    found = shelf(session, numbers, today).values()
    return tuple(part for part in found if part.available == 0)


def location_lots(session: Session, location_id: int) -> tuple[LotRow, ...]:
    """Return the lots that lie at a location, by part number."""
    numbers = session.exec(
        select(Part.number)
        .join(Lot, col(Lot.part_id) == col(Part.id))
        .join(LotBalance, col(LotBalance.lot_id) == col(Lot.id))
        .where(col(LotBalance.location_id) == location_id, col(LotBalance.on_hand) > 0)
        .distinct()
    ).all()
    return tuple(row for row in lots_of(session, numbers) if row.location_id == location_id)


def location_codes(session: Session) -> dict[int, str]:
    """Return the codes of all locations, by id."""
    return {i: code for i, code in session.exec(select(Location.id, Location.code)).all() if i is not None}
