"""HTTP: orders, goods in, order sheets."""

import csv
import io
from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Posted, Stores
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, blank, check
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, get_settings, page, see_other
from app.stores import actions
from app.stores.actions import OrderLine, ReceivedLine
from app.stores.forms import OrderHead, OrderLineFields, ReceiptFields, VersionForm, check_lines, with_errors
from app.stores.pages.common import safe_cell, workshop_day
from app.stores.pages.goods_in import receive_page
from app.stores.pages.orders import (
    load_order,
    order_page,
    orders_page,
    review_page,
)
from app.stores.pages.parts import location_choices, supplier_choices

router = APIRouter(include_in_schema=False)


@router.get("/orders/new")
def review_order(request: Request, db: Db, _caller: Stores, supplier: int) -> Response:
    """Show an order before it is placed. Lines stand in the address: ``line`` and ``quantity-<part number>``."""
    query = request.query_params
    numbers = query.getlist("line")
    if not numbers:
        numbers = [n.removeprefix("quantity-") for n, v in query.items() if n.startswith("quantity-") and v]
    if query.get("add"):
        numbers.append(query["add"])
    values = {n: v for n, v in query.items() if n.startswith("quantity-")}
    return _review(request, db, Form(values=values), supplier, numbers)


def _review(
    request: Request, db: Database, form: Form[Any], supplier: int, numbers: Sequence[str], status: int = 200
) -> Response:
    settings = get_settings(request)
    with db.read() as session:
        context = review_page(session, form, supplier, numbers, workshop_day(settings), settings.currency)
    return page(request, "stores/review.html", context, status=status)


@router.post("/orders/new")
def place_order(request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted) -> Response:
    """Place an order."""
    form = check(OrderHead, raw)
    numbers = raw.all("line")
    lines, errors = check_lines(OrderLineFields, raw, numbers)
    form = with_errors(form, errors)
    supplier = int(raw.get("supplier")) if raw.get("supplier").isdecimal() else 0
    if form.data is None:
        return _review(request, db, form, supplier, numbers, 422)
    wanted = [OrderLine(number, line.quantity, line.price) for number, line in lines.items()]
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            number = actions.place_order(
                session, supplier, wanted, form.data.expected_on,
                entry_id=key, at=at, who=caller.person_id, note=form.data.note, draft=raw.get("as") == "draft",
                today=workshop_day(settings, at),
            )  # fmt: skip
            settle(session, key, f"/orders/{number}")
    except Refused as refusal:
        return _review(request, db, form.refused(refusal), supplier, numbers, 409)
    return see_other(f"/orders/{number}")


@router.get("/orders")
def list_orders(
    request: Request,
    db: Db,
    settings: SiteSettings,
    _caller: Stores,
    show: str = "",
    supplier: str = "",
    after: int | None = None,
) -> Response:
    """Show orders, newest first."""
    form = blank(show=show if show in ("open", "draft", "late", "closed", "cancelled") else "", supplier=supplier)
    with db.read() as session:
        context = orders_page(session, form, supplier_choices(session), workshop_day(settings), after)
    return page(request, "stores/orders.html", context)


@router.get("/orders/{number}.csv")
def order_csv(db: Db, _caller: Stores, number: str) -> Response:
    """Send the order as CSV; no cell of it can start a formula in a spreadsheet."""
    with db.read() as session:
        order = load_order(session, number)
    # The mark tells spreadsheets that it is UTF-8.
    out = io.StringIO("\ufeff")
    out.seek(0, io.SEEK_END)
    writer = csv.writer(out)
    writer.writerow(("order", "supplier_number", "part", "name", "quantity", "unit", "unit_price", "wanted_by"))
    for line in order.lines:
        row = (
            order.number, line.supplier_number, line.part_number, line.part_name, line.quantity - line.closed_short,
            line.unit, line.unit_price, order.expected_on.isoformat(),
        )  # fmt: skip
        writer.writerow([safe_cell(value) for value in row])
    headers = {"content-disposition": f'attachment; filename="{order.number}.csv"'}
    return Response(out.getvalue(), media_type="text/csv; charset=utf-8", headers=headers)


@router.get("/orders/{number}")
def show_order(request: Request, db: Db, settings: SiteSettings, _caller: Stores, number: str) -> Response:
    """Show one order."""
    with db.read() as session:
        context = order_page(session, number, workshop_day(settings))
    return page(request, "stores/order.html", context)


@router.get("/orders/{number}/sheet")
def order_sheet(request: Request, db: Db, settings: SiteSettings, _caller: Stores, number: str) -> Response:
    """Show the order as a sheet to print."""
    with db.read() as session:
        context = order_page(session, number, workshop_day(settings))
    return page(request, "stores/order_sheet.html", context)


@router.get("/orders/{number}/receive")
def show_receive(request: Request, db: Db, _caller: Stores, number: str) -> Response:
    """Show the goods-in form of an order."""
    return _receive_page(request, db, number)


def _receive_page(
    request: Request, db: Database, number: str, form: Form[Any] | None = None, status: int = 200
) -> Response:
    with db.read() as session:
        places = [(code, code) for code, _words in location_choices(session)]
        context = receive_page(load_order(session, number), places, form)
    return page(request, "stores/receive.html", context, status=status)


@router.post("/orders/{number}/receive")
def receive(request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, number: str) -> Response:
    """Receive goods of an order, in part or whole, into lots."""
    form = check(VersionForm, raw)
    lines, errors = check_lines(ReceiptFields, raw, raw.all("line"))
    form = with_errors(form, errors)
    if form.data is None:
        return _receive_page(request, db, number, form, 422)
    came = [
        ReceivedLine(part, n.quantity, n.lot_code, n.expires_on, n.unit_cost, n.location, n.quarantine)
        for part, n in lines.items()
    ]
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            actions.receive_goods(
                session, load_order(session, number).id, came,
                entry_id=key, at=at, who=caller.person_id, version=form.data.version,
                today=workshop_day(settings, at),
            )  # fmt: skip
            settle(session, key, f"/orders/{number}")
    except Refused as refusal:
        return _receive_page(request, db, number, form.refused(refusal), 409)
    return see_other(f"/orders/{number}")


@router.post("/orders/{number}/close-short")
def close_short(request: Request, db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Note that what is outstanding will not come."""
    return _end(request, db, caller.person_id, raw, number, cancel=False)


@router.post("/orders/{number}/cancel")
def cancel(request: Request, db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Cancel an order of which nothing came."""
    return _end(request, db, caller.person_id, raw, number, cancel=True)


def _end(request: Request, db: Database, who: int, raw: RawForm, number: str, *, cancel: bool) -> Response:
    form = check(VersionForm, raw)
    at = clock.now()
    act = actions.cancel_order if cancel else actions.close_short
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), who, at)
            version = form.data.version if form.data else 0
            act(session, load_order(session, number).id, entry_id=key, at=at, who=who, version=version)
            settle(session, key, f"/orders/{number}")
    except Refused as refusal:
        with db.read() as session:
            context = order_page(session, number, workshop_day(get_settings(request)), form.refused(refusal))
        return page(request, "stores/order.html", context, status=409)
    return see_other(f"/orders/{number}")
