"""The kept suggestions: which are out of date, which are due by supplier, one part's, and the overrides."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import and_, case, func, or_
from sqlmodel import Session, col, select

from app.people.queries import names
from app.rules.stores.arrays import DAYS_PER_MONTH
from app.rules.stores.kept import from_data
from app.rules.stores.suggestion import Suggestion as Suggested
from app.stores.models import (
    Part,
    StockLevel,
    Suggestion,
    SuggestionOverride,
    Supplier,
    SupplierPrice,
    SupplierTerms,
)
from app.stores.queries.catalogue import PartRow, parts_by_number


@dataclass(frozen=True)
class SuggestedLine:
    """A part to order: the suggested quantity and the one to order, which an override may have changed, and why."""

    part: PartRow
    suggested: int
    quantity: int
    position: int
    reorder_point: int
    value_class: str
    words: str
    override: str
    unit_price: Decimal
    rate_per_day: float

    @property
    def cost(self) -> Decimal:
        """Price of the quantity, exact."""
        return self.quantity * self.unit_price


@dataclass(frozen=True)
class SuggestedGroup:
    """What is due at one supplier."""

    supplier_id: int
    supplier: str
    supplier_name: str
    lines: tuple[SuggestedLine, ...]

    @property
    def cost(self) -> Decimal:
        """Price of all quantities, exact."""
        return sum((line.cost for line in self.lines), Decimal(0))


@dataclass(frozen=True)
class KeptSuggestion:
    """A part's suggestion as it is kept, and the one of an earlier day, if there is one."""

    now: Suggested
    before: Suggested | None
    value_class: str
    by_hand: bool

    @property
    def changed(self) -> tuple[str, ...]:
        """What is different from the earlier day's, in words."""
        return () if self.before is None else self.now.changed_since(self.before)


@dataclass(frozen=True)
class OverrideRow:
    """A clerk's quantity instead of the suggested one; ``ended_at`` None while it holds."""

    id: int
    part_number: str
    name: str
    quantity: int
    suggested: int
    reason: str
    made_at: datetime
    made_by: str
    ended_at: datetime | None
    ended_why: str


@dataclass(frozen=True)
class Terms:
    """A supplier's minimum order value and freight; ``free_from`` None: freight is always paid."""

    minimum_value: Decimal = Decimal(0)
    freight: Decimal = Decimal(0)
    free_from: Decimal | None = None


def _stale(today: date) -> Any:
    return or_(
        col(Suggestion.part_id).is_(None),
        col(Suggestion.computed_on) < today,
        col(Suggestion.part_version) != col(Part.version),
        col(Suggestion.changes_seen) != func.coalesce(col(StockLevel.changes), 0),
    )


def _parts_beside(*columns: Any) -> Any:
    return (
        select(*columns)
        .select_from(Part)
        .outerjoin(Suggestion, col(Suggestion.part_id) == col(Part.id))
        .outerjoin(StockLevel, col(StockLevel.part_id) == col(Part.id))
        .where(col(Part.active).is_(True))
    )


def stale_parts(session: Session, today: date, limit: int) -> list[int]:
    """Return parts whose suggestion is out of date, those first whose facts have changed."""
    old = case((and_(col(Suggestion.part_id).is_not(None), col(Suggestion.computed_on) < today), 1), else_=0)
    query = _parts_beside(Part.id).where(_stale(today)).order_by(old, col(Part.id)).limit(limit)
    return [int(i) for i in session.exec(query).all()]


def count_stale(session: Session, today: date) -> int:
    """Return how many parts have no suggestion of today and of their present facts.

    The fresh ones are counted and taken from all: an index has what tells them, while a search for stale ones would
    read every wide row.
    """
    fresh = (
        select(func.count())
        .select_from(Suggestion)
        .join(Part, col(Part.id) == col(Suggestion.part_id))
        .outerjoin(StockLevel, col(StockLevel.part_id) == col(Suggestion.part_id))
        .where(
            col(Suggestion.computed_on) >= today,
            col(Part.active).is_(True),
            col(Suggestion.part_version) == col(Part.version),
            col(Suggestion.changes_seen) == func.coalesce(col(StockLevel.changes), 0),
        )
    )
    active = select(func.count()).select_from(Part).where(col(Part.active).is_(True))
    return int(session.exec(active).one()) - int(session.exec(fresh).one())


def count_due(session: Session) -> tuple[tuple[str, int], ...]:
    """Return (supplier's name, number of due parts), by name."""
    active = and_(
        col(SuggestionOverride.part_id) == col(Suggestion.part_id), col(SuggestionOverride.ended_at).is_(None)
    )
    rows = session.exec(
        select(Supplier.name, func.count(col(Suggestion.part_id)))
        .select_from(Suggestion)
        .join(Part, col(Part.id) == col(Suggestion.part_id))
        .join(Supplier, col(Supplier.id) == col(Part.supplier_id))
        .outerjoin(SuggestionOverride, active)
        .where(Suggestion.quantity > 0, col(Part.active).is_(True))
        .where(func.coalesce(col(SuggestionOverride.quantity), 1) > 0)
        .group_by(col(Supplier.name))
        .order_by(col(Supplier.name))
    ).all()
    return tuple((name, int(n)) for name, n in rows)


def count_classes(session: Session) -> dict[str, int]:
    """Return how many active parts stand in each value class."""
    rows = session.exec(
        select(Suggestion.value_class, func.count())
        .join(Part, col(Part.id) == col(Suggestion.part_id))
        .where(col(Part.active).is_(True))
        .group_by(col(Suggestion.value_class))
    ).all()
    return {letter: int(n) for letter, n in rows}


def due_groups(session: Session, supplier_id: int | None = None) -> tuple[SuggestedGroup, ...]:
    """Return what is due by supplier, suppliers by name; overridden to nothing it is left out."""
    columns: tuple[Any, ...] = (
        Part.number, Suggestion.part_id, Suggestion.quantity, Suggestion.position, Suggestion.reorder_point,
        Suggestion.value_class, Suggestion.words, Suggestion.facts,
    )  # fmt: skip
    query = (
        select(*columns)
        .join(Part, col(Part.id) == col(Suggestion.part_id))
        .where(Suggestion.quantity > 0, col(Part.active).is_(True))
        .order_by(col(Part.number))
    )
    if supplier_id is not None:
        query = query.where(col(Part.supplier_id) == supplier_id)
    rows = {row.number: row for row in session.exec(query).all()}
    overrides = _open_overrides(session)
    prices = supplier_prices(session, [row.part_id for row in rows.values()])
    groups: dict[int, list[SuggestedLine]] = {}
    for part in parts_by_number(session, list(rows)) if rows else ():
        row = rows[part.number]
        override = overrides.get(row.part_id)
        quantity = row.quantity if override is None else override.quantity
        if quantity == 0:
            continue
        steps = prices.get((row.part_id, part.supplier_id), ())
        price = next((p for least, p in reversed(steps) if quantity >= least), part.price)
        line = SuggestedLine(
            part, row.quantity, quantity, row.position, row.reorder_point, row.value_class, row.words,
            override.reason if override else "", price, float(row.facts["forecast_per_month"]) / DAYS_PER_MONTH,
        )  # fmt: skip
        groups.setdefault(part.supplier_id, []).append(line)
    found = [SuggestedGroup(i, n[0].part.supplier, n[0].part.supplier_name, tuple(n)) for i, n in groups.items()]
    return tuple(sorted(found, key=lambda group: group.supplier_name))


def _open_overrides(session: Session) -> dict[int, SuggestionOverride]:
    rows = session.exec(select(SuggestionOverride).where(col(SuggestionOverride.ended_at).is_(None))).all()
    return {row.part_id: row for row in rows}


def kept_suggestion(session: Session, part_number: str) -> KeptSuggestion | None:
    """Return a part's kept suggestion, or None while none was computed."""
    row = session.exec(
        select(Suggestion).join(Part, col(Part.id) == col(Suggestion.part_id)).where(col(Part.number) == part_number)
    ).first()
    if row is None:
        return None
    before = None if row.before is None else from_data(row.before)
    return KeptSuggestion(from_data(row.facts), before, row.value_class, row.by_hand)


def overrides(session: Session, part_number: str | None = None, limit: int = 200) -> tuple[OverrideRow, ...]:
    """Return overrides, those that hold first, then the newest; of one part, or of all."""
    people = names(session)
    query = select(SuggestionOverride, Part).join(Part, col(Part.id) == col(SuggestionOverride.part_id))
    if part_number is not None:
        query = query.where(col(Part.number) == part_number)
    query = query.order_by(
        case((col(SuggestionOverride.ended_at).is_(None), 0), else_=1), col(SuggestionOverride.id).desc()
    ).limit(limit)
    return tuple(
        OverrideRow(
            row.id or 0, part.number, part.name, row.quantity, row.suggested, row.reason, row.made_at,
            people.get(row.made_by, "") if row.made_by is not None else "", row.ended_at, row.ended_why,
        )
        for row, part in session.exec(query).all()
    )  # fmt: skip


def supplier_prices(
    session: Session, part_ids: Sequence[int]
) -> dict[tuple[int, int], tuple[tuple[int, Decimal], ...]]:
    """Return prices as (from quantity, price), the least quantity first, by part and supplier id."""
    rows = session.exec(
        select(SupplierPrice)
        .where(col(SupplierPrice.part_id).in_(list(part_ids)))
        .order_by(col(SupplierPrice.from_quantity))
    ).all()
    found: dict[tuple[int, int], tuple[tuple[int, Decimal], ...]] = {}
    for row in rows:
        key = (row.part_id, row.supplier_id)
        found[key] = (*found.get(key, ()), (row.from_quantity, row.unit_price))
    return found


def supplier_terms(session: Session) -> dict[int, Terms]:
    """Return the terms of the suppliers that have any, by id."""
    rows = session.exec(select(SupplierTerms)).all()
    return {row.supplier_id: Terms(row.minimum_value, row.freight, row.free_from) for row in rows}


def other_due(session: Session, supplier_id: int) -> tuple[tuple[str, Suggested, Decimal], ...]:
    """Return the supplier's parts that have a forecast and are not due: number, suggestion, price; for joint orders."""
    columns: tuple[Any, ...] = (Part.number, Suggestion.facts, Part.price)
    rows = session.exec(
        select(*columns)
        .join(Suggestion, col(Suggestion.part_id) == col(Part.id))
        .where(
            col(Part.supplier_id) == supplier_id, Suggestion.quantity == 0, col(Part.active).is_(True),
            Suggestion.order_up_to > 0, col(Suggestion.by_hand).is_(False),
        )
        .order_by(col(Part.number))
    ).all()  # fmt: skip
    return tuple((number, from_data(facts), price) for number, facts, price in rows)
