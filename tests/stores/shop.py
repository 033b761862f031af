"""A small standing stock for the tests: two suppliers, three places, four parts. Invented."""

from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from sqlmodel import Session

from app.platform import clock
from app.platform.db import Database
from app.stores import actions, queries

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
TODAY = AT.date()
SOON = date(2026, 6, 30)

SUPPLIERS = (
    {"code": "KLP", "name": "Kelp Spares", "email": "orders@kelp.example", "address": "Shore 1"},
    {"code": "NYB", "name": "Ny Seals", "email": "desk@ny.example", "address": "Quay 2"},
)
LOCATIONS = (
    {"code": "A-01", "name": "Displays", "walk_order": "10"},
    {"code": "B-01", "name": "Screws", "walk_order": "20"},
    {"code": "C-01", "name": "Adhesives", "walk_order": "30"},
)


def _part(number: str, **more: str) -> dict[str, str]:
    return {
        "number": number, "name": f"Part {number}", "location": "B-01", "supplier": "KLP", "price": "2.50",
        "reorder_point": "4", "order_up_to": "12", "lead_time_days": "10", **more,
    }  # fmt: skip


PARTS = (
    _part("DISP-1", name="Display", location="A-01", price="86.40", reorder_point="2", order_up_to="5"),
    _part("CELL-1", name="Cell pack", serial_tracked="1", shelf_life_days="365", price="23.75"),
    _part("SCRW-1", name="Screw M1.6", pack="50", minimum_order="50", price="0.0317"),
    _part("SEAL-1", name="Perimeter seal", supplier="NYB", location="C-01", pack="10", shelf_life_days="365"),
)


def stamp() -> dict[str, Any]:
    """Return the id, time and person that every action is given."""
    return {"entry_id": clock.uuid7(), "at": AT, "who": None}


def stock_shop(session: Session) -> None:
    """Bring the catalogue in; nothing is on the shelf yet."""
    report = actions.import_catalogue(session, SUPPLIERS, LOCATIONS, PARTS, **stamp())
    assert not report.errors, report.errors


def receive(
    session: Session, number: str, quantity: int, lot: str = "", cost: str = "2.50", expires: date | None = None
) -> int:
    """Put stock on the shelf; returns the lot's id."""
    if number in ("SEAL-1", "CELL-1") and expires is None:
        expires = SOON
    return actions.receive_loose(
        session, number, lot, expires, quantity, Decimal(cost), None, "Opening stock", **stamp()
    )


def level(db: Database, number: str) -> queries.ShelfPart:
    """Return a part as the shelf has it on the tests' day."""
    with db.read() as session:
        return queries.shelf(session, [number], TODAY)[number]


def faults(db: Database) -> list[str]:
    """Return what ``countback check`` would say of the stock."""
    with db.read() as session:
        return queries.stock_faults(session)


def kit(session: Session, source: str, wants: Mapping[str, int]) -> tuple[actions.IssuedLot, ...]:
    """Reserve and hand out in one go, as proposed."""
    got = actions.reserve(session, source, wants, **stamp())
    return actions.hand_out(session, source, queries.propose_picks(session, got, TODAY), **stamp())
