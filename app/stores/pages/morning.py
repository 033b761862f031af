"""The clerk's first page of the day."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlmodel import Session

from app.stores import queries
from app.stores.pages.common import SOON_DAYS, Source, expiry_state, kit_link, source_of
from app.stores.pages.units import units_due
from app.stores.queries import LotRow, OrderRow, ShelfPart


@dataclass(frozen=True)
class KitLine:
    """A kit that waits: for what, where it is handed out, how much, since when."""

    source: Source
    href: str
    parts: int
    pieces: int
    since: datetime


@dataclass(frozen=True)
class DueOrder:
    """An open order, and whether it is late."""

    order: OrderRow
    late_days: int
    outstanding: int


@dataclass(frozen=True)
class ExpiringLot:
    """A lot that has expired or soon will; ``state`` is 'expired' or 'soon'."""

    lot: LotRow
    state: str


@dataclass(frozen=True)
class MorningPage:
    """What waits today. ``reorder_groups`` are (supplier, number of due parts), ``aside`` lots set aside."""

    today: date
    kits: tuple[KitLine, ...]
    reorder_count: int
    reorder_groups: tuple[tuple[str, int], ...]
    orders: tuple[DueOrder, ...]
    later_orders: int
    lots: tuple[ExpiringLot, ...]
    short: tuple[ShelfPart, ...]
    aside: int
    units_due: int
    units_open: int


def morning_page(session: Session, today: date) -> MorningPage:
    """Gather the morning page: orders due within a week or late, lots within 30 days of their expiry."""
    groups = queries.count_due(session)
    orders = queries.open_orders(session, until=today + timedelta(days=7))
    units = units_due(session, today)
    due = tuple(
        DueOrder(order, max(0, (today - order.expected_on).days), sum(n.outstanding for n in order.lines))
        for order in orders
    )
    return MorningPage(
        today=today,
        kits=tuple(
            KitLine(source_of(k.source_ref), kit_link(k.source_ref), k.parts, k.pieces, k.since)
            for k in queries.kits_waiting(session)
        ),
        reorder_count=sum(n for _name, n in groups),
        reorder_groups=groups,
        orders=due,
        later_orders=queries.count_open_orders(session) - len(due),
        aside=len(queries.quarantined(session)),
        units_due=units[0],
        units_open=units[1],
        lots=tuple(
            ExpiringLot(lot, expiry_state(lot.expires_on, today))
            for lot in queries.expiring_lots(session, today, SOON_DAYS)
        ),
        short=queries.short_parts(session, today),
    )
