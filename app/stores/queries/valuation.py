"""What the ledger says for valuing stock at a past day and for its age, and a part's changes by day."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.rules.stores.ageing import HeldLot, StockAge, stock_age
from app.rules.stores.arrays import DAYS_PER_MONTH
from app.rules.stores.valuation import StockFact
from app.stores.models import Lot, LotBalance, Movement, MovementKind, Part, Suggestion


def stock_facts(session: Session, until: datetime, part_ids: Sequence[int] | None = None) -> dict[str, list[StockFact]]:
    """Return the movements before a moment by part number, in the order they were appended."""
    numbers = {i or 0: number for i, number in session.exec(select(Part.id, Part.number)).all()}
    columns: tuple[Any, ...] = (
        Movement.part_id, Movement.at, Movement.kind, Movement.lot_id, Movement.quantity, Movement.unit_cost,
        Movement.source_ref,
    )  # fmt: skip
    query = select(*columns).where(col(Movement.at) < until).order_by(col(Movement.id))
    if part_ids is not None:
        query = query.where(col(Movement.part_id).in_(part_ids))
    found: dict[str, list[StockFact]] = {}
    for part_id, at, kind, lot, quantity, cost, source in session.connection().execute(query):
        facts = found.setdefault(numbers[part_id], [])
        facts.append(StockFact(at, kind.value, str(lot), quantity, cost, source))
    return found


def part_names(session: Session, numbers: Sequence[str]) -> dict[str, str]:
    """Return names by part number."""
    return dict(session.exec(select(Part.number, Part.name).where(col(Part.number).in_(numbers))).all())


def stock_ages(session: Session, today: date) -> dict[str, tuple[str, StockAge]]:
    """Return (name, age of stock) of every part with stock, by part number; the rate is the kept suggestion's."""
    lots: dict[int, list[HeldLot]] = {}
    rows = session.exec(
        select(Lot, func.sum(col(LotBalance.on_hand)))
        .join(LotBalance, col(LotBalance.lot_id) == col(Lot.id))
        .where(col(LotBalance.on_hand) > 0)
        .group_by(col(Lot.id))
    ).all()
    for lot, on_hand in rows:
        held = HeldLot(lot.code, int(on_hand), lot.unit_cost, lot.received_at.date(), lot.expires_on)
        lots.setdefault(lot.part_id, []).append(held)
    last = dict(
        session.exec(
            select(col(Movement.part_id), func.max(col(Movement.at)))
            .where(col(Movement.kind) == MovementKind.ISSUE)
            .group_by(col(Movement.part_id))
        ).all()
    )
    parts = session.exec(
        select(Part.id, Part.number, Part.name, Suggestion.facts).outerjoin(
            Suggestion, col(Suggestion.part_id) == col(Part.id)
        )
    ).all()
    found = {}
    for part_id, number, name, facts in parts:
        if part_id in lots:
            rate = float(facts["forecast_per_month"]) / DAYS_PER_MONTH if facts else 0.0
            used = last[part_id].date() if part_id in last else None
            found[number] = (name, stock_age(lots[part_id], rate, used, today))
    return found


def changes_by_day(session: Session, part_id: int, since: datetime) -> dict[date, int]:
    """Return the sum of a part's movements by day from a moment on; transfers cancel out."""
    found: dict[date, int] = {}
    query = select(Movement.at, Movement.quantity).where(col(Movement.part_id) == part_id, col(Movement.at) >= since)
    for at, quantity in session.exec(query).all():
        found[at.date()] = found.get(at.date(), 0) + quantity
    return found
