"""HTTP: an order's way from draft to closed, its XML, goods scanned in, set aside, released and sent back."""

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.people.access import Posted, Stores
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, check
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, get_settings, page, see_other
from app.rules.ubl_order import ubl_order
from app.stores import actions
from app.stores.actions import GoodsBack
from app.stores.forms import AsideForm, ChaseForm, ConfirmForm, SendBackForm, VersionForm
from app.stores.pages.common import workshop_day
from app.stores.pages.goods_in import receive_page, scan_into
from app.stores.pages.orders import load_order, order_page, ubl_of
from app.stores.pages.parts import location_choices
from app.stores.pages.quarantine import aside_page

router = APIRouter(include_in_schema=False)
Act = Callable[[Session, int, str, Any], None]


@router.get("/orders/{number}.xml")
def order_xml(db: Db, settings: SiteSettings, _caller: Stores, number: str) -> Response:
    """Send the order as a UBL 2.3 document."""
    with db.read() as session:
        document = ubl_of(session, load_order(session, number), settings)
    headers = {"content-disposition": f'attachment; filename="{number}.xml"'}
    return Response(ubl_order(document), media_type="application/xml; charset=utf-8", headers=headers)


@router.post("/orders/{number}/send")
def send(request: Request, db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Note that a draft went to the supplier."""
    form = check(VersionForm, raw)

    def act(session: Session, order_id: int, key: str, at: Any) -> None:
        assert form.data is not None
        actions.send_order(session, order_id, entry_id=key, at=at, who=caller.person_id, version=form.data.version)

    return _act(request, db, caller.person_id, raw, number, form, act)


@router.post("/orders/{number}/confirm")
def confirm(request: Request, db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Note the day that the supplier promises."""
    form = check(ConfirmForm, raw)

    def act(session: Session, order_id: int, key: str, at: Any) -> None:
        assert form.data is not None
        actions.confirm_order(
            session, order_id, form.data.confirmed_on, form.data.words,
            entry_id=key, at=at, who=caller.person_id, version=form.data.version,
        )  # fmt: skip

    return _act(request, db, caller.person_id, raw, number, form, act)


@router.post("/orders/{number}/chase")
def chase(request: Request, db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Note that we asked after a late order, and the answer."""
    form = check(ChaseForm, raw)

    def act(session: Session, order_id: int, key: str, at: Any) -> None:
        assert form.data is not None
        actions.chase_order(
            session, order_id, form.data.words, form.data.expected_on,
            entry_id=key, at=at, who=caller.person_id, version=form.data.version,
        )  # fmt: skip

    return _act(request, db, caller.person_id, raw, number, form, act)


def _act(request: Request, db: Database, who: int, raw: RawForm, number: str, form: Form[Any], act: Act) -> Response:
    def again(refused: Form[Any], status: int) -> Response:
        with db.read() as session:
            context = order_page(session, number, workshop_day(get_settings(request)), refused)
        return page(request, "stores/order.html", context, status=status)

    if form.data is None:
        return again(form, 422)
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), who, at)
            act(session, load_order(session, number).id, key, at)
            settle(session, key, f"/orders/{number}")
    except Refused as refusal:
        return again(form.refused(refusal), 409)
    return see_other(f"/orders/{number}")


@router.post("/orders/{number}/scan")
def scan(request: Request, db: Db, settings: SiteSettings, _caller: Stores, raw: Posted, number: str) -> Response:
    """Fill the goods-in form from a scanned label; nothing is stored until it is received."""
    with db.read() as session:
        order = load_order(session, number)
        form = scan_into(session, order, raw, workshop_day(settings))
        places = [(code, code) for code, _words in location_choices(session)]
        context = receive_page(order, places, form)
    return page(request, "stores/receive.html", context, status=409 if form.errors or form.refusal else 200)


@router.get("/stores/aside")
def list_aside(request: Request, db: Db, settings: SiteSettings, _caller: Stores) -> Response:
    """Show the lots that are set aside, and lots to set aside."""
    return _aside(request, db)


def _aside(request: Request, db: Database, form: Form[Any] | None = None, status: int = 200) -> Response:
    with db.read() as session:
        context = aside_page(session, request.query_params.get("part", ""), form)
    return page(request, "stores/aside.html", context, status=status)


@router.post("/stores/aside")
def set_aside(request: Request, db: Db, caller: Stores, raw: Posted) -> Response:
    """Set a lot aside wherever it lies."""
    return _lot(request, db, caller.person_id, raw, actions.quarantine_lot)


@router.post("/stores/aside/release")
def release_aside(request: Request, db: Db, caller: Stores, raw: Posted) -> Response:
    """Release a lot that was set aside."""
    return _lot(request, db, caller.person_id, raw, actions.release_lot)


def _lot(request: Request, db: Database, who: int, raw: RawForm, act: Callable[..., None]) -> Response:
    form = check(AsideForm, raw)
    if form.data is None:
        return _aside(request, db, form, 422)
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), who, at)
            act(session, form.data.lot_id, form.data.reason, at=at, who=who)
            settle(session, key, "/stores/aside")
    except Refused as refusal:
        return _aside(request, db, form.refused(refusal), 409)
    return see_other("/stores/aside")


@router.post("/orders/{number}/send-back")
def send_back(request: Request, db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Send goods of an order back to the supplier, to be replaced or not."""
    form = check(SendBackForm, raw)

    def act(session: Session, _order_id: int, key: str, at: Any) -> None:
        assert form.data is not None
        said = form.data
        goods = GoodsBack(said.lot_id, said.location_id, said.quantity, said.why, said.reason, said.replaced)
        today = workshop_day(get_settings(request), at)
        actions.return_goods(session, goods, number, entry_id=key, at=at, who=caller.person_id, today=today)

    return _act(request, db, caller.person_id, raw, number, form, act)
