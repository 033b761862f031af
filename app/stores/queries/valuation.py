"""What the ledger says for valuing stock at a past day and for its age, and a part's changes by day."""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.rules.stores.ageing import HeldLot, StockAge, stock_age
from app.rules.stores.arrays import DAYS_PER_MONTH
from app.rules.stores.valuation import StockFact
from app.stores.models import Lot, LotBalance, Movement, MovementKind, Part, Suggestion


def stock_facts(session: Session, until: datetime, *, came_back: bool = False) -> dict[str, list[StockFact]]:
    """Return the movements before a moment by part number, in the order they were appended.

    ``came_back``: only of parts of which something came back by then.
    """
    numbers = _numbers(session)
    columns: tuple[Any, ...] = (
        Movement.part_id, Movement.at, Movement.kind, Movement.lot_id, Movement.quantity, Movement.unit_cost,
        Movement.source_ref,
    )  # fmt: skip
    query = select(*columns).where(col(Movement.at) < until).order_by(col(Movement.id))
    if came_back:
        query = query.where(col(Movement.part_id).in_(_came_back(until)))
    found: dict[str, list[StockFact]] = {}
    for part_id, at, kind, lot, quantity, cost, source in session.connection().execute(query):
        facts = found.setdefault(numbers[part_id], [])
        facts.append(StockFact(at, kind.value, str(lot), quantity, cost, source))
    return found


def stock_layers(session: Session, until: datetime) -> dict[str, tuple[int, list[tuple[int, Decimal]]]]:
    """Return what was there at a moment and what had come in, as (quantity, unit cost), oldest first, by part number.

    Only parts with stock of which nothing had come back by then: theirs is valued without a look at what went out.
    """
    numbers = _numbers(session)
    before = (col(Movement.at) < until, col(Movement.part_id).not_in(_came_back(until)))
    there = dict(
        session.exec(
            select(Movement.part_id, func.sum(col(Movement.quantity))).where(*before).group_by(col(Movement.part_id))
        ).all()
    )
    found: dict[str, tuple[int, list[tuple[int, Decimal]]]] = {
        numbers[part_id]: (int(quantity), []) for part_id, quantity in there.items() if quantity
    }
    columns: tuple[Any, ...] = (Movement.part_id, Movement.quantity, Movement.unit_cost)
    query = (
        select(*columns)
        .where(*before, col(Movement.quantity) > 0, col(Movement.kind) != MovementKind.TRANSFER)
        .order_by(col(Movement.id))
    )
    for part_id, quantity, cost in session.connection().execute(query):
        if there[part_id]:
            found[numbers[part_id]][1].append((quantity, cost))
    return found


def _numbers(session: Session) -> dict[int, str]:
    return {i or 0: number for i, number in session.exec(select(Part.id, Part.number)).all()}


def _came_back(until: datetime) -> Any:
    return select(Movement.part_id).where(col(Movement.kind) == MovementKind.RETURN, col(Movement.at) < until)


def part_names(session: Session, numbers: Sequence[str]) -> dict[str, str]:
    """Return names by part number."""
    return dict(session.exec(select(Part.number, Part.name).where(col(Part.number).in_(numbers))).all())


def stock_ages(session: Session, today: date) -> dict[str, tuple[str, StockAge]]:
    """Return (name, age of stock) of every part with stock, by part number; the rate is the kept suggestion's."""
    lots: dict[int, list[HeldLot]] = {}
    columns: tuple[Any, ...] = (
        Lot.part_id, Lot.code, Lot.unit_cost, Lot.received_at, Lot.expires_on, func.sum(col(LotBalance.on_hand))
    )  # fmt: skip
    rows = session.exec(
        select(*columns)
        .join(LotBalance, col(LotBalance.lot_id) == col(Lot.id))
        .where(col(LotBalance.on_hand) > 0)
        .group_by(col(Lot.id))
    ).all()
    for part_id, code, cost, received_at, expires_on, on_hand in rows:
        held = HeldLot(code, int(on_hand), cost, received_at.date(), expires_on)
        lots.setdefault(part_id, []).append(held)
    last = dict(
        session.exec(
            select(col(Movement.part_id), func.max(col(Movement.at)))
            .where(col(Movement.kind) == MovementKind.ISSUE)
            .group_by(col(Movement.part_id))
        ).all()
    )
    # The database takes the one figure out of the kept suggestion, which is a long text.
    forecast = col(Suggestion.facts)["forecast_per_month"].as_float()
    about: tuple[Any, ...] = (Part.id, Part.number, Part.name, forecast)
    parts = session.exec(select(*about).outerjoin(Suggestion, col(Suggestion.part_id) == col(Part.id))).all()
    found = {}
    for part_id, number, name, monthly in parts:
        if part_id in lots:
            rate = (monthly or 0.0) / DAYS_PER_MONTH
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
