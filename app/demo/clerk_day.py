"""The clerk's last day: terms, promised and late orders, a lot set aside, an adhesive opened, and spares planned.

All of it through the actions that the pages call, so that each page of the stores has something on it.
"""

from datetime import datetime, timedelta
from decimal import Decimal

from app.demo.workshop import Workshop
from app.jobs.actions.spares import decide_spares
from app.jobs.queries.spares import step_parts
from app.stores import actions as stores
from app.stores import queries as shelf
from app.stores.actions import OrderLine, TermsData

TERMS = {
    "KLP": TermsData(Decimal(60), Decimal("9.50"), Decimal(250)),
    "NYB": TermsData(Decimal(25), Decimal("6.00"), Decimal(120)),
    "HVS": TermsData(Decimal(0), Decimal("4.20"), None),
}
OPENED = "CN-010"
OPEN_LIFE_DAYS = 60
LATE_PART = "H2-390"


def plan_spares(shop: Workshop, at: datetime) -> None:
    """Plan spares for the step that spoils most, before the last day's jobs are planned."""
    rows = step_parts(shop.session, at - timedelta(days=366), at)
    worst = max(rows, key=lambda key: (rows[key].spoiled, key), default=None)
    if worst is None or not rows[worst].spoiled:
        return
    decide_spares(
        shop.session, worst, Decimal("0.05"), "The seal folds when it is laid with cold hands",
        f"{rows[worst].spoiled} of {rows[worst].used} spoilt.", at=at, who=shop.staff.supervisor, entry_id=shop.id(at),
    )  # fmt: skip


def arrange(shop: Workshop, until: datetime) -> None:
    """Leave the stores as a clerk would in the middle of a week; called when the jobs of the last day are there."""
    _terms(shop)
    _open_orders(shop, until)
    _opened(shop, until)
    _aside(shop, until)


def _terms(shop: Workshop) -> None:
    for supplier in shelf.suppliers(shop.session):
        if supplier.code in TERMS:
            stores.save_terms(shop.session, supplier.id, TERMS[supplier.code])


def _open_orders(shop: Workshop, until: datetime) -> None:
    """Send an order that was promised for three days ago and has not come, and have the other open ones confirmed."""
    today = shop.today(until)
    for order in shelf.open_orders(shop.session):
        at = until - timedelta(hours=4)
        stores.confirm_order(
            shop.session, order.id, max(order.expected_on, today + timedelta(days=1)), "", entry_id=shop.id(at), at=at,
            who=shop.staff.clerk,
        )  # fmt: skip
    part = shop.parts[LATE_PART]
    sent = until - timedelta(days=16)
    promised = today - timedelta(days=3)
    number = stores.place_order(
        shop.session, part.supplier_id, [OrderLine(LATE_PART, max(part.pack, part.minimum_order))], promised,
        entry_id=shop.id(sent), at=sent, who=shop.staff.clerk,
    )  # fmt: skip
    late = next(order for order in shelf.open_orders(shop.session) if order.number == number)
    stores.confirm_order(
        shop.session, late.id, promised, "Leaves with the Friday boat", entry_id=shop.id(sent),
        at=sent + timedelta(days=1), who=shop.staff.clerk,
    )  # fmt: skip


def _opened(shop: Workshop, until: datetime) -> None:
    """Give the primer wipes an open life, and open the box that expires first."""
    stores.save_keeping(shop.session, OPENED, OPEN_LIFE_DAYS, "Keep lidded, away from heat")
    at = until - timedelta(hours=3)
    today = shop.today(at)
    good = [lot for lot in shelf.lots_of(shop.session, [OPENED]) if lot.expires_on is None or lot.expires_on >= today]
    for lot in good[:1]:
        stores.open_lot(shop.session, lot.lot_id, at=at, who=shop.staff.clerk, today=today)


def _aside(shop: Workshop, until: datetime) -> None:
    """Set a lot aside of a part that has another, and nobody is promised any of: no job of the last day misses it."""
    at = until - timedelta(hours=2)
    today = shop.today(at)
    stocked = shelf.shelf(shop.session, sorted(shop.parts), today)
    for number in sorted(stocked):
        lots = shelf.lots_of(shop.session, [number])
        good = sorted({lot.lot_id for lot in lots if lot.expires_on is not None and lot.expires_on >= today})
        if stocked[number].reserved == 0 and len(good) > 1:
            stores.quarantine_lot(
                shop.session, good[0], "The seal of the box was broken when it came; the supplier is asked",
                at=at, who=shop.staff.clerk,
            )  # fmt: skip
            return
