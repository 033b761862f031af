"""Measure reordering at size: ``python -m tests.stores.benchmark [--parts N] [--movements N]``.

Fills a passing SQLite database with parts, three years of movements and open orders, then times what the clerk waits
for: all suggestions computed anew, one part's after a movement, the morning page, the list and one suggestion. It is
no test: times belong to a machine.
"""

import argparse
import random
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from sqlalchemy import insert
from sqlmodel import Session

from app.main import build_app
from app.people.actions import add_person
from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from app.platform.migrations import upgrade
from app.platform.settings import Settings
from app.stores import actions, queries
from app.stores.models import Location, Lot, LotBalance, Movement, MovementKind, Part, StockLevel, Supplier
from tests.visitor import Visitor

SECRET = "brass kettle under stairs"


def main() -> None:
    """Fill, measure, print."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--parts", type=int, default=20_000)
    asked.add_argument("--movements", type=int, default=200_000)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        db = Database(f"sqlite:///{Path(folder) / 'countback.db'}")
        upgrade(db)
        with db.write() as session:
            add_person(session, "Pia Sundqvay", Role.STORES, SECRET, clock.now())
            fill(session, given.parts, given.movements)
        measure(db, Settings(site_name="Measured", data_dir=Path(folder)))
        db.dispose()


def fill(session: Session, parts: int, movements: int) -> None:
    """Write parts of forty suppliers, a lot each, and issues over three years, most of them of few parts."""
    chance = random.Random(7)
    connection = session.connection()
    now = clock.now()
    connection.execute(insert(Supplier), [
        {"id": n, "code": f"S{n:02d}", "name": f"Supplier {n:02d}", "email": "", "address": ""} for n in range(1, 41)
    ])  # fmt: skip
    connection.execute(insert(Location), [{"id": 1, "code": "A-01", "name": "", "walk_order": 1}])
    connection.execute(insert(Part), [
        {
            "id": n, "number": f"P-{n:05d}", "name": f"Part {n}", "unit": "each", "location_id": 1,
            "supplier_id": n % 40 + 1, "supplier_number": "", "pack": chance.choice((1, 1, 5, 10)), "minimum_order": 1,
            "lead_time_days": chance.choice((5, 10, 21, 40)), "price": Decimal(chance.randrange(20, 6000)) / 100,
            "shelf_life_days": None, "reorder_point": 0, "order_up_to": 0, "waste_stream": "residual", "gtin": None,
            "serial_tracked": False, "active": True, "note": "", "version": 1,
        }
        for n in range(1, parts + 1)
    ])  # fmt: skip
    begun = now - timedelta(days=36 * 30)
    connection.execute(insert(Lot), [
        {"id": n, "part_id": n, "code": "OPEN", "expires_on": None, "unit_cost": Decimal(1), "received_at": begun}
        for n in range(1, parts + 1)
    ])  # fmt: skip
    used = [0] * (parts + 1)
    rows = []
    for n in range(movements - parts):
        part = min(parts, max(1, int(parts * chance.random() ** 3)))
        quantity = chance.choice((1, 1, 1, 2, 4))
        used[part] += quantity
        at = now - timedelta(seconds=chance.randrange(36 * 30 * 86400))
        rows.append(_movement(f"i{n}", MovementKind.ISSUE, part, -quantity, f"job:J{n % 30000:06d}", at))
    left = [0, *(chance.choice((0, 1, 5, 20, 60)) for _ in range(parts))]
    opening = [
        _movement(f"o{n}", MovementKind.RECEIPT, n, used[n] + left[n] or 1, "receipt", begun)
        for n in range(1, parts + 1)
    ]
    left = [n if used[i] or n else int(i > 0) for i, n in enumerate(left)]
    connection.execute(insert(Movement), opening)
    connection.execute(insert(Movement), rows)
    connection.execute(insert(LotBalance), [
        {"lot_id": n, "location_id": 1, "on_hand": left[n]} for n in range(1, parts + 1)
    ])  # fmt: skip
    connection.execute(insert(StockLevel), [
        {"part_id": n, "on_hand": left[n], "reserved": 0, "on_order": 0} for n in range(1, parts + 1)
    ])  # fmt: skip


def _movement(entry: str, kind: MovementKind, part: int, quantity: int, source: str, at: datetime) -> dict[str, object]:
    return {
        "entry_id": entry, "line": 0, "kind": kind, "part_id": part, "lot_id": part, "location_id": 1,
        "quantity": quantity, "unit_cost": Decimal(1), "source_ref": source, "reason": "", "serials": "", "at": at,
        "person_id": None,
    }  # fmt: skip


def measure(db: Database, settings: Settings) -> None:
    """Time each thing the clerk waits for."""
    at = clock.now()
    today: date = at.astimezone(settings.zone).date()
    with db.write() as session:
        # Open orders of two hundred parts, some of them late.
        for supplier in range(1, 41):
            numbers = [f"P-{n:05d}" for n in range(supplier - 1 or 40, 240, 40)][:5]
            lines = [actions.OrderLine(number, 50) for number in numbers]
            stamp: dict[str, Any] = {"entry_id": clock.uuid7(), "at": at - timedelta(days=10), "who": None}
            actions.place_order(session, supplier, lines, today + timedelta(days=supplier - 10), **stamp)

    def whole() -> None:
        with db.write() as session:
            actions.renew_suggestions(session, today, at=at)

    began = time.process_time()
    took = _seconds(whole, 1)
    print(f"all suggestions: {took:.2f} s, of which {time.process_time() - began:.2f} s computing")
    with db.read() as session:
        print("due:", sum(n for _name, n in queries.count_due(session)), "stale:", queries.count_stale(session, today))

    def one() -> None:
        with db.write() as session:
            actions.renew_suggestions(session, today, at=at, part_ids=[17])

    began = time.process_time()
    took = _seconds(one, 15)
    print(f"one part: {1000 * took:.1f} ms, of which {1000 * (time.process_time() - began) / 15:.1f} ms computing")
    clerk = Visitor(build_app(settings, db), tablet=None)
    clerk.sign_in("Pia Sundqvay", SECRET)
    for path in ("/stores", "/reorder", "/stores/reorder/P-00017", "/parts/P-00017", "/stores/value", "/stores/ageing"):
        assert clerk.client.get(path).status_code == 200, path
        began = time.process_time()
        took = _seconds(lambda path=path: clerk.client.get(path), 7)  # type: ignore[misc]
        print(f"{path}: {1000 * took:.0f} ms, of which {1000 * (time.process_time() - began) / 7:.0f} ms computing")
    with db.write() as session:
        found: dict[str, Any] = {"entry_id": clock.uuid7(), "at": datetime.now(UTC), "who": None}
        actions.receive_loose(session, "P-00017", "", None, 3, Decimal(1), None, "Found", **found)
    print(f"/stores after a movement: {1000 * _seconds(lambda: clerk.client.get('/stores'), 1):.0f} ms")


def _seconds(what: Callable[[], object], times: int) -> float:
    found = []
    for _ in range(times):
        began = time.perf_counter()
        what()
        found.append(time.perf_counter() - began)
    return statistics.median(found)


if __name__ == "__main__":
    main()
