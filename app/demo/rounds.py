"""Alternates, units to mend and cores owed: what the clerk has said of some parts, and what came out of devices."""

from datetime import datetime, timedelta
from decimal import Decimal

from app.demo.workshop import Workshop
from app.rules.stores.units import UnitKind
from app.stores import actions as stores
from app.stores.actions import CameOut

ALTERNATE = {
    "number": "S4-151", "name": "Scan engine, wide angle, Lomvi S4", "location": "A-02-1", "supplier": "KLP",
    "supplier_number": "K4335", "pack": "1", "minimum_order": "1", "lead_time_days": "14", "price": "66.4000",
    "waste_stream": "electronic", "note": "Reads as far as the plain one; the window sits the same",
}  # fmt: skip
PAIRS = (
    ("S4-150", "S4-151", False, "board revision 3", "Same flange and flex; tried on two devices"),
    ("H2-341", "B8-331", True, "", "Same mesh from one roll, cut alike"),
)
"""Wanted, alternate, both ways, fits from, why: approved by the supervisor."""
ROTABLE, EXCHANGE = "H2-140", "S4-130"


def play(shop: Workshop, until: datetime) -> None:
    """Say which parts may stand in for others, which are mended and which are owed, and leave some of each waiting."""
    first, morning = until - timedelta(days=40), until - timedelta(hours=6)
    session, staff = shop.session, shop.staff
    stores.import_catalogue(session, [], [], [ALTERNATE], entry_id=shop.id(first), at=first, who=staff.clerk)
    stores.receive_loose(
        session, ALTERNATE["number"], "K4335-07", None, 4, None, None, "Sample box of the supplier",
        entry_id=shop.id(morning), at=morning, who=staff.clerk, today=shop.today(morning),
    )  # fmt: skip
    for part, other, both, fits, why in PAIRS:
        stores.propose_alternate(
            session, part, other, why, both_ways=both, fits_from=fits, entry_id=shop.id(first), at=first,
            who=staff.clerk,
        )  # fmt: skip
        day = first + timedelta(days=1)
        stores.approve_alternate(
            session, part, other, supervisor=True, entry_id=shop.id(day), at=day, who=staff.supervisor
        )
    stores.save_unit_terms(session, ROTABLE, UnitKind.ROTABLE, Decimal(0), 30, at=first)
    stores.save_unit_terms(session, EXCHANGE, UnitKind.EXCHANGE, Decimal("48.00"), 30, at=first)
    for days, part, serial in (
        (26, EXCHANGE, "LB-20417"),
        (12, ROTABLE, ""),
        (9, EXCHANGE, "LB-20655"),
        (3, ROTABLE, ""),
    ):
        at = until - timedelta(days=days)
        numbers = stores.take_in_units(
            session, "by hand", [CameOut(part, serial)], entry_id=shop.id(at), at=at, who=staff.clerk,
            today=shop.today(at),
        )  # fmt: skip
        if days == 12:
            later = at + timedelta(days=1)
            stores.send_unit_to_repair(
                session, numbers[0], "Bench 4, connector exchange", entry_id=shop.id(later), at=later, who=staff.clerk
            )  # fmt: skip
