"""The ledger as it is read: movements of a source, of a part, or page by page."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.people.queries import names
from app.stores.models import Location, Lot, Movement, MovementKind, Part


@dataclass(frozen=True)
class MovementRow:
    """One movement: a signed quantity of a lot at a place, at the lot's unit cost."""

    id: int
    entry_id: str
    kind: str
    part_number: str
    name: str
    unit: str
    lot_id: int
    lot_code: str
    location: str
    quantity: int
    unit_cost: Decimal
    source_ref: str
    reason: str
    serials: tuple[str, ...]
    at: datetime
    who: str


def _query() -> Any:
    return (
        select(Movement, Part, Lot.code, Location.code)
        .join(Part, col(Part.id) == col(Movement.part_id))
        .join(Lot, col(Lot.id) == col(Movement.lot_id))
        .join(Location, col(Location.id) == col(Movement.location_id))
    )


def _rows(session: Session, query: Any) -> tuple[MovementRow, ...]:
    people = names(session)
    return tuple(
        MovementRow(
            id=move.id or 0,
            entry_id=move.entry_id,
            kind=move.kind.value,
            part_number=part.number,
            name=part.name,
            unit=part.unit,
            lot_id=move.lot_id,
            lot_code=lot_code,
            location=location,
            quantity=move.quantity,
            unit_cost=move.unit_cost,
            source_ref=move.source_ref,
            reason=move.reason,
            serials=tuple(move.serials.split()),
            at=move.at,
            who=people.get(move.person_id, "") if move.person_id is not None else "",
        )
        for move, part, lot_code, location in session.exec(query).all()
    )


def movements_of(session: Session, source_ref: str) -> tuple[MovementRow, ...]:
    """Return all movements of a source, oldest first."""
    return _rows(session, _query().where(col(Movement.source_ref) == source_ref).order_by(col(Movement.id)))


def movement_page(
    session: Session,
    *,
    part_number: str | None = None,
    kind: str | None = None,
    after: int | None = None,
    limit: int = 50,
) -> tuple[MovementRow, ...]:
    """Return movements newest first; ``after`` is the id of the last one seen."""
    query = _query()
    if part_number:
        query = query.where(col(Part.number) == part_number)
    if kind:
        query = query.where(col(Movement.kind) == MovementKind(kind))
    if after is not None:
        query = query.where(col(Movement.id) < after)
    return _rows(session, query.order_by(col(Movement.id).desc()).limit(limit))


def issued_net(session: Session, source_ref: str) -> dict[int, int]:
    """Return what a source has of each lot: handed out less taken back, by lot id."""
    rows = session.exec(
        select(col(Movement.lot_id), func.sum(col(Movement.quantity)))
        .where(
            col(Movement.source_ref) == source_ref,
            col(Movement.kind).in_((MovementKind.ISSUE, MovementKind.RETURN)),
        )
        .group_by(col(Movement.lot_id))
    ).all()
    return {lot_id: -int(total) for lot_id, total in rows}


def lot_costs(session: Session) -> dict[int, Decimal]:
    """Return what a piece of each lot cost, by lot id."""
    rows = session.exec(select(col(Lot.id), col(Lot.unit_cost))).all()
    return {lot_id or 0: cost for lot_id, cost in rows}


def issues_and_returns(session: Session, prefix: str) -> dict[str, dict[int, tuple[int, int]]]:
    """Return by source and lot id what was handed out and what came back, for all sources that begin so."""
    rows = session.exec(
        select(Movement.source_ref, Movement.lot_id, Movement.kind, func.sum(col(Movement.quantity)))
        .where(
            col(Movement.source_ref).startswith(prefix, autoescape=True),
            col(Movement.kind).in_((MovementKind.ISSUE, MovementKind.RETURN)),
        )
        .group_by(col(Movement.source_ref), col(Movement.lot_id), col(Movement.kind))
    ).all()
    found: dict[str, dict[int, tuple[int, int]]] = {}
    for source, lot_id, kind, total in rows:
        lots = found.setdefault(source, {})
        out, back = lots.get(lot_id, (0, 0))
        lots[lot_id] = (out - int(total), back) if kind is MovementKind.ISSUE else (out, back + int(total))
    return found
