"""Pages of the orders: review, list, one order, order sheet."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

import segno
from markupsafe import Markup
from sqlmodel import Session

from app.platform.errors import NotFound, Refused
from app.platform.forms import Form, blank
from app.platform.settings import Settings
from app.rules.money import round_money, short_price
from app.rules.ubl_order import UblLine, UblOrder, UblParty
from app.stores import queries
from app.stores.pages.common import PAGE_SIZE
from app.stores.queries import MovementRow, OrderEventRow, OrderRow, PartRow, SupplierRow

STATUS_SHAPES = {
    "draft": "square",
    "sent": "ring-open",
    "confirmed": "ring-out",
    "part received": "half",
    "closed": "tick",
    "cancelled": "cross",
}
STATUS_CHOICES = (
    ("", "All orders"),
    ("open", "Open"),
    ("draft", "Drafts"),
    ("late", "Late"),
    ("closed", "Closed"),
    ("cancelled", "Cancelled"),
)


@dataclass(frozen=True)
class ReviewLine:
    """A line of the order under review. ``total`` is rounded to the currency, None while the input is wrong."""

    part: PartRow
    on_hand: int
    on_order: int
    total: Decimal | None


@dataclass(frozen=True)
class ReviewPage:
    """An order before it is placed; ``others`` are further parts of the supplier, to add."""

    form: Form[Any]
    supplier: SupplierRow
    lines: tuple[ReviewLine, ...]
    others: Sequence[tuple[str, str]]
    total: Decimal


@dataclass(frozen=True)
class OrdersPage:
    """The list of orders with its filters; ``first`` and ``older`` lead to other pages, empty where there is none."""

    form: Form[Any]
    orders: tuple[OrderRow, ...]
    today: date
    suppliers: Sequence[tuple[str, str]]
    show: Sequence[tuple[str, str]]
    shapes: Mapping[str, str]
    first: str
    older: str
    filtered: bool


@dataclass(frozen=True)
class OrderPage:
    """One order, what came of it so far, what happened to it, and its QR code for the sheet.

    ``places`` are lots that came on it and still lie somewhere: they can be sent back.
    """

    order: OrderRow
    today: date
    shape: str
    receipts: tuple[MovementRow, ...]
    events: tuple[OrderEventRow, ...]
    places: Sequence[tuple[str, str]]
    aside: Mapping[int, str]
    form: Form[Any]
    qr: Markup


def review_page(
    session: Session, form: Form[Any], supplier_id: int, numbers: Sequence[str], today: date, currency: str
) -> ReviewPage:
    """Gather the review of an order; lines without a price of their own get the catalogue's."""
    supplier = queries.supplier(session, supplier_id)
    if supplier is None:
        raise NotFound(f"supplier {supplier_id}")
    catalogue = {part.number: part for part in queries.parts_of_supplier(session, supplier_id)}
    shelf = queries.shelf(session, numbers, today)
    chosen = [catalogue[number] for number in dict.fromkeys(numbers) if number in catalogue]
    values = dict(form.values)
    lines = []
    for part in chosen:
        values.setdefault(f"price-{part.number}", str(short_price(part.price)))
        values.setdefault(f"quantity-{part.number}", "0")
        total = _line_total(values[f"quantity-{part.number}"], values[f"price-{part.number}"], currency)
        there = shelf[part.number]
        lines.append(ReviewLine(part, there.usable, there.on_order, total))
    lead = max((part.lead_time_days for part in chosen), default=7)
    values.setdefault("expected_on", str(today + timedelta(days=lead)))
    values.setdefault("supplier", str(supplier_id))
    return ReviewPage(
        form=Form(values=values, errors=form.errors, refusal=form.refusal),
        supplier=supplier,
        lines=tuple(lines),
        others=tuple((n, f"{n} · {part.name}") for n, part in catalogue.items() if part not in chosen),
        total=sum((line.total for line in lines if line.total is not None), Decimal(0)),
    )


def _line_total(quantity: str, price: str, currency: str) -> Decimal | None:
    try:
        return round_money(Decimal(int(quantity)) * Decimal(price), currency)
    except (ValueError, ArithmeticError):
        return None


def orders_page(
    session: Session, form: Form[Any], suppliers: Sequence[tuple[str, str]], today: date, after: int | None
) -> OrdersPage:
    """Gather a page of the list of orders."""
    filters = {name: form.value(name) for name in ("show", "supplier")}
    orders = queries.order_page(session, **filters, after=after, limit=PAGE_SIZE + 1, today=today)
    kept = {name: value for name, value in filters.items() if value}
    more = len(orders) > PAGE_SIZE
    shown = orders[:PAGE_SIZE]
    return OrdersPage(
        form=form,
        orders=shown,
        today=today,
        suppliers=(("", "All suppliers"), *suppliers),
        show=STATUS_CHOICES,
        shapes=STATUS_SHAPES,
        first=f"/orders?{urlencode(kept)}" if after else "",
        older=f"/orders?{urlencode({**kept, 'after': shown[-1].id})}" if more else "",
        filtered=bool(kept),
    )


def load_order(session: Session, number: str) -> OrderRow:
    """Return an order; raises NotFound."""
    order = queries.order(session, number)
    if order is None:
        raise NotFound(f"order {number}")
    return order


def order_page(session: Session, number: str, today: date, form: Form[Any] | None = None) -> OrderPage:
    """Gather one order's page."""
    order = load_order(session, number)
    receipts = queries.movements_of(session, f"order:{number}")
    came = {move.lot_id for move in receipts}
    lots = queries.lots_of(session, {move.part_number for move in receipts}) if came else ()
    return OrderPage(
        order=order,
        today=today,
        shape=STATUS_SHAPES[order.status],
        receipts=receipts,
        events=queries.order_events(session, order.id),
        places=tuple(
            (f"{n.lot_id}:{n.location_id}", f"{n.part_number} · lot {n.code} · {n.on_hand} at {n.location}")
            for n in lots
            if n.lot_id in came
        ),
        aside=queries.quarantined(session),
        form=form or blank(version=order.version),
        qr=qr_svg(order.number),
    )


def ubl_of(session: Session, order: OrderRow, settings: Settings) -> UblOrder:
    """Return an order as what its UBL document says; what will not come any more is left out."""
    supplier = queries.supplier(session, order.supplier_id)
    lines = []
    for line in order.lines:
        count = line.quantity - line.closed_short
        card = queries.part(session, line.part_number)
        if count and card is not None:
            total = round_money(count * line.unit_price, settings.currency)
            lines.append(
                UblLine(
                    line.part_name, line.part_number, line.supplier_number, card.gtin or "", count, line.unit,
                    line.unit_price, total,
                )
            )  # fmt: skip
    if not lines:
        raise Refused(f"Nothing of order {order.number} is wanted any more, so there is nothing to send.")
    seller = UblParty(order.supplier_name, supplier.code if supplier else "", order.email, order.address)
    buyer = UblParty(settings.site_name, contact=order.placed_by)
    return UblOrder(
        order.number, order.placed_at, order.note, settings.currency, order.expected_on, buyer, seller, lines
    )


def qr_svg(text: str) -> Markup:
    """Return a QR code as inline SVG in the colour of the text around it."""
    drawn = segno.make(text, micro=False).svg_inline(omitsize=True, dark="#000", border=1)
    # The library takes no CSS keyword for a colour.
    return Markup(drawn.replace('stroke="#000"', 'stroke="currentColor"'))  # noqa: S704
