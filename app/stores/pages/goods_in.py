"""Goods in against an order: the form, and what a scanned label fills in."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlmodel import Session

from app.platform.errors import Refused
from app.platform.forms import Form, RawForm
from app.rules.money import short_price
from app.rules.scan_codes import ScanKind, parse
from app.rules.stores.gs1 import read_label
from app.stores import queries
from app.stores.queries import OrderLineRow, OrderRow

OURS = "CB"


@dataclass(frozen=True)
class ReceivePage:
    """Goods in against an order: one row a line that is outstanding. ``scanned``: the part of the last label."""

    order: OrderRow
    form: Form[Any]
    locations: Sequence[tuple[str, str]]


def receive_page(order: OrderRow, locations: Sequence[tuple[str, str]], form: Form[Any] | None = None) -> ReceivePage:
    """Gather the goods-in form: everything outstanding is expected to have come."""
    if form is None:
        values: dict[str, str] = {"version": str(order.version)}
        for line in order.lines:
            key = line.part_number
            values |= {
                f"quantity-{key}": str(line.outstanding),
                f"unit_cost-{key}": str(short_price(line.unit_price)),
                f"location-{key}": line.location,
            }
        form = Form(values=values)
    return ReceivePage(order, form, locations)


def scan_into(session: Session, order: OrderRow, raw: RawForm, today: date) -> Form[Any]:
    """Return the posted goods-in form with what a label says filled in.

    The first label of a delivery sets every line to nothing come, so that what is scanned is what came. Each label
    counts one pack of its part, or what stands in ``scan_quantity``. A label of another lot than the line's is told.
    """
    values = {name: found[-1] for name, found in raw.fields.items() if found}
    form: Form[Any] = Form(values=values)
    if not raw.get("scan"):
        # The return key in any other field of the form comes here too.
        return form
    try:
        number, lot, expires = _read(session, order, raw.get("scan"), today)
        line = next(n for n in order.lines if n.part_number == number)
        return Form(values={**_counted(values, order, line, lot, expires), "scan": "", "scan_quantity": ""})
    except Refused as refusal:
        return form.refused(refusal)


def _read(session: Session, order: OrderRow, text: str, today: date) -> tuple[str, str, date | None]:
    """Return part number, lot and expiry of a label: one of ours, a GS1 one, or the number of a part that is due."""
    waiting = {line.part_number for line in order.lines if line.outstanding}
    typed = [n for n in waiting if n.upper() == text.strip().upper()]
    if typed:
        # A part number typed, or one on a label of a supplier who prints ours: it says nothing of the lot.
        number, lot, expires = typed[0], "", None
    elif text.upper().startswith(OURS):
        code = parse(text, "scan")
        if code.kind is not ScanKind.LOT:
            raise Refused("That label is not on a lot. Scan the label on the goods.", "scan")
        number, lot, expires = code.part, code.lot, _known_expiry(session, code.part, code.lot)
    else:
        label = read_label(text, today, "scan")
        found = queries.part_by_gtin(session, label.gtin)
        if found is None:
            raise Refused(f"No part has the bar code {label.gtin}. Enter it on the part's card, or type below.", "scan")
        number, lot, expires = found, label.lot or "", label.expires
    if number not in waiting:
        raise Refused(f"{number} is not outstanding on this order. Receive it on the part's page.", "scan")
    return number, lot, expires


def _known_expiry(session: Session, number: str, lot: str) -> date | None:
    found = [row for row in queries.lots_of(session, [number], empty=True) if row.code == lot]
    return found[0].expires_on if found else None


def _counted(
    values: dict[str, str], order: OrderRow, line: OrderLineRow, lot: str, expires: date | None
) -> dict[str, str]:
    found = dict(values)
    if found.get("scanning") != "yes":
        found |= {f"quantity-{n.part_number}": "0" for n in order.lines}
        found["scanning"] = "yes"
    key = line.part_number
    held = found.get(f"lot_code-{key}", "")
    if lot and held and held != lot:
        raise Refused(
            f"{key}: lot {held} is entered, and this label says {lot}. Receive the first lot, then scan the other.",
            "scan",
        )
    typed = values.get("scan_quantity", "").strip()
    if typed and (not typed.isdecimal() or int(typed) < 1):
        raise Refused("Enter a whole number of at least 1, or leave it for one pack.", "scan_quantity")
    more = int(typed) if typed else line.pack
    before = found.get(f"quantity-{key}", "0")
    found[f"quantity-{key}"] = str((int(before) if before.isdecimal() else 0) + more)
    if lot:
        found[f"lot_code-{key}"] = lot
    if expires is not None:
        found[f"expires_on-{key}"] = expires.isoformat()
    return found
