"""What the levels of parts are computed from: use by month, receipts, what jobs want, what is coming, prices."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.rules.stores.demand import Use, by_month, unforeseen
from app.rules.stores.lead_time import LeadTime, lead_time
from app.rules.stores.netting import Coming, Requirement
from app.stores.models import (
    Movement,
    MovementKind,
    Part,
    PartPolicy,
    PurchaseOrder,
    PurchaseOrderLine,
    ReservationEntry,
    StockLevel,
    StoresPolicy,
    SupplierPrice,
    SupposedUse,
    Wanted,
)
from app.stores.queries.shelf import OPEN_ORDER, usable_by_part

MONTHS = 36
"""Months of use that are looked at."""
BACK = "back:"
"""Sources that begin so are goods sent back to their supplier, which nobody used."""


@dataclass(frozen=True)
class Policy:
    """What holds for the whole storeroom; shares and service levels between 0 and 1, money in the site's currency."""

    order_cost: Decimal = Decimal(15)
    holding_share: Decimal = Decimal("0.2")
    review_days: int = 1
    service_a: Decimal = Decimal("0.95")
    service_b: Decimal = Decimal("0.95")
    service_c: Decimal = Decimal("0.90")
    service_critical: Decimal = Decimal("0.99")
    version: int = 0


@dataclass
class PartFacts:
    """Everything that a part's suggestion follows from. Quantities in stock units, ``history`` by month, oldest first.

    ``used`` is all use of the last twelve months, foreseen use too; ``first`` the place of the part's first month.
    ``breaks`` are its own supplier's prices by quantity. ``supposed`` is pieces a job, jobs a device and year, and
    devices, for a new part: set ``by_hand``, or from procedures as ``supposed_words`` say.
    """

    part: Part
    changes: int
    usable: int
    on_order: int
    reserved: int
    critical: bool = False
    supposed: tuple[float, float, int] | None = None
    supposed_words: str = ""
    by_hand: bool = False
    history: list[int] = field(default_factory=lambda: [0] * MONTHS)
    first: int = MONTHS
    used: int = 0
    lead: LeadTime = field(default_factory=lambda: lead_time(0))
    wants: list[Requirement] = field(default_factory=list)
    coming: list[Coming] = field(default_factory=list)
    breaks: list[tuple[int, Decimal]] = field(default_factory=list)


def policy(session: Session) -> Policy:
    """Return the storeroom's policy; the usual one while nobody has saved one."""
    row = session.get(StoresPolicy, 1)
    if row is None:
        return Policy()
    return Policy(
        row.order_cost, row.holding_share, row.review_days, row.service_a, row.service_b, row.service_c,
        row.service_critical, row.version,
    )  # fmt: skip


def planning_facts(session: Session, today: date, part_ids: Sequence[int] | None = None) -> list[PartFacts]:
    """Gather the facts of the named parts, or of all active ones, by part number."""
    columns: tuple[Any, ...] = (Part, StockLevel.changes, StockLevel.on_order, StockLevel.reserved)
    query = select(*columns).outerjoin(StockLevel, col(StockLevel.part_id) == col(Part.id))
    query = query.where(col(Part.active).is_(True)) if part_ids is None else query.where(col(Part.id).in_(part_ids))
    rows = session.exec(query.order_by(col(Part.number))).all()
    ids = [part.id or 0 for part, *_level in rows]
    few = ids if part_ids is not None else None
    usable = usable_by_part(session, ids, today)
    found = {
        part.id or 0: PartFacts(
            part,
            changes or 0,
            usable.get(part.id or 0, 0),
            on_order or 0,
            reserved or 0,
        )
        for part, changes, on_order, reserved in rows
    }
    _add_settings(session, found, few)
    _add_lead_times(session, found, few, today)
    _add_use(session, found, few, today)
    _add_known(session, found, few)
    return list(found.values())


def _mine(query: Any, column: Any, few: Collection[int] | None) -> Any:
    return query if few is None else query.where(col(column).in_(list(few)))


def _add_settings(session: Session, found: dict[int, PartFacts], few: Collection[int] | None) -> None:
    for one in session.exec(_mine(select(SupposedUse), SupposedUse.part_id, few)).all():
        if one.part_id in found:
            facts = found[one.part_id]
            facts.supposed = (float(one.uses_per_job), float(one.jobs_per_device_year), one.devices)
            facts.supposed_words = one.words
    for row in session.exec(_mine(select(PartPolicy), PartPolicy.part_id, few)).all():
        if row.part_id in found:
            facts = found[row.part_id]
            facts.critical = row.critical
            if row.devices and row.uses_per_job and row.jobs_per_device_year:
                facts.supposed = (float(row.uses_per_job), float(row.jobs_per_device_year), row.devices)
                facts.by_hand = True
    for price in session.exec(_mine(select(SupplierPrice), SupplierPrice.part_id, few)).all():
        facts_of = found.get(price.part_id)
        if facts_of is not None and facts_of.part.supplier_id == price.supplier_id:
            facts_of.breaks.append((price.from_quantity, price.unit_price))


def _add_lead_times(session: Session, found: dict[int, PartFacts], few: Collection[int] | None, today: date) -> None:
    days = days_to_receipt(session, few, today)
    for part_id, facts in found.items():
        facts.lead = lead_time(facts.part.lead_time_days, days.get(part_id, ()))


def days_to_receipt(session: Session, few: Collection[int] | None, today: date) -> dict[int, list[float]]:
    """Return, by part id, how long orders took: days from sending to the first receipt, of the last three years.

    ``few`` narrows it to these parts.
    """
    since = datetime.combine(today - timedelta(days=1100), datetime.min.time()).astimezone()
    orders = dict(
        session.exec(
            select(PurchaseOrder.number, PurchaseOrder.placed_at).where(col(PurchaseOrder.placed_at) >= since)
        ).all()
    )
    query = select(col(Movement.part_id), col(Movement.source_ref), func.min(col(Movement.at))).where(
        col(Movement.kind) == MovementKind.RECEIPT, col(Movement.source_ref).startswith("order:")
    )
    days: dict[int, list[float]] = {}
    query = _mine(query, Movement.part_id, few).group_by(col(Movement.part_id), col(Movement.source_ref))
    for part_id, source, at in session.exec(query).all():
        sent = orders.get(source.removeprefix("order:"))
        if sent is not None and at >= sent:
            days.setdefault(part_id, []).append((at - sent).total_seconds() / 86400)
    return days


def _add_use(session: Session, found: dict[int, PartFacts], few: Collection[int] | None, today: date) -> None:
    first = _month(today) - MONTHS
    since = datetime(first // 12, first % 12 + 1, 1).astimezone()
    known = _known_days(session, few, since)
    uses: dict[int, list[Use]] = {}
    query = select(Movement.part_id, Movement.source_ref, Movement.quantity, Movement.at).where(
        col(Movement.kind).in_((MovementKind.ISSUE, MovementKind.RETURN)), col(Movement.at) >= since
    )
    for part_id, source, quantity, at in session.exec(_mine(query, Movement.part_id, few)).all():
        if not source.startswith(BACK):
            uses.setdefault(part_id, []).append(Use(at.date(), -quantity, known.get((part_id, source))))
    begun = _mine(select(col(Movement.part_id), func.min(col(Movement.at))), Movement.part_id, few)
    begins = dict(session.exec(begun.group_by(col(Movement.part_id))).all())
    year_ago = today - timedelta(days=365)
    for part_id, facts in found.items():
        mine = uses.get(part_id, [])
        if mine:
            ahead = max(1, round(facts.lead.mean_days))
            facts.history = by_month(unforeseen(mine, ahead), today, MONTHS)
            facts.used = max(0, sum(use.quantity for use in mine if use.on > year_ago))
        if part_id in begins:
            facts.first = min(max(0, _month(begins[part_id].date()) - first), MONTHS)


def _month(day: date) -> int:
    return day.year * 12 + day.month - 1


def _known_days(session: Session, few: Collection[int] | None, since: datetime) -> dict[tuple[int, str], date]:
    """Return when it was first known that a source would use a part: reserved for it, or found short."""
    query = select(col(ReservationEntry.part_id), col(ReservationEntry.source_ref), func.min(col(ReservationEntry.at)))
    query = query.where(col(ReservationEntry.quantity) > 0, col(ReservationEntry.at) >= since)
    query = _mine(query, ReservationEntry.part_id, few)
    rows = session.exec(query.group_by(col(ReservationEntry.part_id), col(ReservationEntry.source_ref))).all()
    found = {(part_id, source): at.date() for part_id, source, at in rows}
    told = _mine(select(Wanted.part_id, Wanted.source_ref, Wanted.known_at), Wanted.part_id, few)
    for part_id, source, at in session.exec(told).all():
        key = (part_id, source)
        found[key] = min(found.get(key, at.date()), at.date())
    return found


def source_words(source_ref: str) -> str:
    """Return a source as it stands in a sentence: ``job J000412``."""
    return source_ref.replace(":", " ")


def _add_known(session: Session, found: dict[int, PartFacts], few: Collection[int] | None) -> None:
    wants = _mine(select(Wanted).where(col(Wanted.quantity) > 0), Wanted.part_id, few)
    for row in session.exec(wants).all():
        if row.part_id in found:
            found[row.part_id].wants.append(Requirement(row.on_day, row.quantity, source_words(row.source_ref)))
    line = PurchaseOrderLine
    left: Any = line.quantity - line.received - line.closed_short
    columns: tuple[Any, ...] = (line.part_id, PurchaseOrder.expected_on, PurchaseOrder.number, left)
    coming = (
        select(*columns)
        .join(PurchaseOrder, col(PurchaseOrder.id) == col(line.order_id))
        .where(col(PurchaseOrder.status).in_(OPEN_ORDER), line.quantity > line.received + line.closed_short)
    )  # fmt: skip
    for part_id, day, number, quantity in session.exec(_mine(coming, line.part_id, few)).all():
        if part_id in found:
            found[part_id].coming.append(Coming(day, quantity, number))
