"""JSON API of the stores: parts, movements, orders. Writes call the same actions as the pages."""

from dataclasses import asdict
from datetime import date, datetime
from decimal import Decimal
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import BaseModel, ConfigDict, Field
from sqlmodel import Session

from app.people.access import ApiEverybody, ApiStores
from app.platform import clock
from app.platform.errors import NotFound, Refused
from app.platform.submissions import SubmissionId, claim, first_outcome
from app.platform.web import Db, SiteSettings
from app.stores import actions, queries
from app.stores.actions import OrderLine, ReceivedLine
from app.stores.forms import Price, Text
from app.stores.pages.common import workshop_day
from app.stores.pages.orders import load_order
from app.stores.pages.parts import load_part

router = APIRouter(prefix="/api/v1", tags=["stores"])
Limit = Annotated[int, Query(ge=1, le=200, description="Items in one answer.")]
Id = SubmissionId
Quantity = Annotated[int, Field(ge=1, le=1_000_000)]


class PartOut(BaseModel):
    """A part as the shelf has it; quantities in stock units, money as decimal text."""

    model_config = ConfigDict(from_attributes=True)

    number: str
    name: str
    unit: str
    location: str
    on_hand: int
    usable: int
    reserved: int
    available: int
    on_order: int
    expected_on: date | None
    price: Decimal
    serial_tracked: bool
    waste_stream: str


class LotOut(BaseModel):
    """A lot of a part at a location."""

    model_config = ConfigDict(from_attributes=True)

    lot_id: int
    code: str
    location_id: int
    location: str
    on_hand: int
    expires_on: date | None
    unit_cost: Decimal
    received_on: date


class PartDetailOut(PartOut):
    """A part with its lots and its reorder rule."""

    lots: list[LotOut]
    supplier: str
    supplier_number: str
    pack: int
    minimum_order: int
    lead_time_days: int
    shelf_life_days: int | None
    reorder_point: int
    order_up_to: int
    gtin: str
    active: bool
    note: str
    version: int


class MovementOut(BaseModel):
    """A movement: the signed quantity of a lot at a location."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    entry_id: str
    kind: str
    part_number: str
    lot_id: int
    lot_code: str
    location: str
    quantity: int
    unit_cost: Decimal
    source_ref: str
    reason: str
    serials: list[str]
    at: datetime
    who: str


class OrderLineOut(BaseModel):
    """A line of an order."""

    model_config = ConfigDict(from_attributes=True)

    part_number: str
    quantity: int
    unit_price: Decimal
    received: int
    closed_short: int
    outstanding: int


class OrderOut(BaseModel):
    """An order with its lines."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    number: str
    supplier: str
    status: str
    placed_at: datetime
    placed_by: str
    expected_on: date
    confirmed_on: date | None
    note: str
    version: int
    lines: list[OrderLineOut]


class Parts(BaseModel):
    """A page of parts; ``next`` is the value for ``after``, null at the end."""

    items: list[PartOut]
    next: str | None


class Movements(BaseModel):
    """A page of movements, newest first."""

    items: list[MovementOut]
    next: str | None


class Orders(BaseModel):
    """A page of orders, newest first."""

    items: list[OrderOut]
    next: str | None


class NewMovement(BaseModel):
    """A receipt without an order, a scrap, or a count adjustment (``quantity`` is then the signed difference)."""

    id: Id
    kind: Literal["receipt", "scrap", "count adjustment"]
    part_number: str
    quantity: Annotated[int, Field(ge=-1_000_000, le=1_000_000)]
    reason: Annotated[Text, Field(min_length=1, max_length=300)]
    lot_id: int | None = Field(default=None, description="For scrap and count adjustment.")
    location_id: int | None = Field(default=None, description="For scrap and count adjustment.")
    lot_code: str = Field(default="", max_length=48, description="For a receipt; blank makes one up.")
    location: str | None = Field(default=None, description="For a receipt; none is the part's own.")
    expires_on: date | None = None
    unit_cost: Price | None = None


class NewOrderLine(BaseModel):
    """A line to order, in stock units; no price is the part's."""

    part_number: str
    quantity: Quantity
    unit_price: Price | None = None


class NewOrder(BaseModel):
    """An order to place with one supplier, by its code."""

    id: Id
    supplier: str
    lines: Annotated[list[NewOrderLine], Field(min_length=1, max_length=500)]
    expected_on: date | None = None
    note: Annotated[Text, Field(max_length=300)] = ""
    draft: bool = Field(default=False, description="Keep it; it counts as on order once it is sent.")


class ReceiptLine(BaseModel):
    """What came of one part in one lot."""

    part_number: str
    quantity: Quantity
    lot_code: Annotated[str, Field(max_length=48)] = ""
    expires_on: date | None = None
    unit_cost: Price | None = None
    location: str | None = None
    quarantine: Annotated[Text, Field(max_length=300)] = Field(default="", description="Why the lot is set aside.")


class NewReceipt(BaseModel):
    """Goods of an order; ``version`` is the order's as last seen."""

    id: Id
    version: int
    lines: Annotated[list[ReceiptLine], Field(min_length=1, max_length=500)]


@router.get("/parts")
def parts(
    db: Db,
    settings: SiteSettings,
    _caller: ApiEverybody,
    q: str = "",
    show: str = "",
    after: str | None = None,
    limit: Limit = 50,
) -> Parts:
    """List parts by number, searched by ``q``."""
    with db.read() as session:
        found = queries.part_page(session, workshop_day(settings), text=q, show=show, after=after, limit=limit + 1)
    items = [PartOut.model_validate(row) for row in found[:limit]]
    return Parts(items=items, next=items[-1].number if len(found) > limit else None)


@router.get("/parts/{number}")
def part(db: Db, settings: SiteSettings, _caller: ApiEverybody, number: str) -> PartDetailOut:
    """Return one part with its lots."""
    with db.read() as session:
        card = load_part(session, number)
        shelf = queries.shelf(session, [number], workshop_day(settings))[number]
        lots = queries.lots_of(session, [number])
    values: dict[str, Any] = {**asdict(card), **asdict(shelf)}
    return PartDetailOut(**values, lots=[LotOut.model_validate(lot) for lot in lots])


@router.get("/movements")
def movements(
    db: Db,
    _caller: ApiEverybody,
    part_number: str | None = None,
    kind: Literal["receipt", "issue", "return", "scrap", "count adjustment", "transfer"] | None = None,
    after: int | None = None,
    limit: Limit = 50,
) -> Movements:
    """List movements, newest first."""
    with db.read() as session:
        found = queries.movement_page(session, part_number=part_number, kind=kind, after=after, limit=limit + 1)
    items = [MovementOut.model_validate(row) for row in found[:limit]]
    return Movements(items=items, next=str(items[-1].id) if len(found) > limit else None)


@router.post("/movements", status_code=201, response_model=PartDetailOut)
def post_movement(db: Db, settings: SiteSettings, caller: ApiStores, body: NewMovement) -> Any:
    """Post a receipt without an order, a scrap or a count adjustment; answers with the part as it is after."""
    at = clock.now()
    with first_outcome() as outcome, db.write() as session:
        key = claim(session, body.id, body.model_dump(), caller.person_id, at)
        stamp = {"entry_id": key, "at": at, "who": caller.person_id, "today": workshop_day(settings, at)}
        _move(session, body, stamp)
        outcome.settle(session, key, f"/api/v1/parts/{body.part_number}")
    return part(db, settings, caller, body.part_number)


def _move(session: Session, body: NewMovement, stamp: dict[str, Any]) -> None:
    if body.kind == "receipt":
        actions.receive_loose(
            session, body.part_number, body.lot_code, body.expires_on, body.quantity, body.unit_cost,
            body.location, body.reason, **stamp,
        )  # fmt: skip
        return
    if body.lot_id is None or body.location_id is None:
        raise Refused("Name the lot and the location: lot_id and location_id.")
    lots = {lot.lot_id for lot in queries.lots_of(session, [body.part_number], empty=True)}
    if body.lot_id not in lots:
        raise NotFound(f"lot {body.lot_id} of part {body.part_number}")
    act = actions.scrap_stock if body.kind == "scrap" else actions.adjust
    act(session, body.lot_id, body.location_id, body.quantity, body.reason, **stamp)


@router.get("/orders")
def orders(
    db: Db,
    _caller: ApiStores,
    show: Literal["", "open", "draft", "sent", "confirmed", "part received", "closed", "cancelled"] = "",
    after: int | None = None,
    limit: Limit = 50,
) -> Orders:
    """List orders, newest first."""
    with db.read() as session:
        found = queries.order_page(session, show=show, after=after, limit=limit + 1)
    items = [OrderOut.model_validate(row) for row in found[:limit]]
    return Orders(items=items, next=str(items[-1].id) if len(found) > limit else None)


@router.get("/orders/{number}")
def order(db: Db, _caller: ApiStores, number: str) -> OrderOut:
    """Return one order."""
    with db.read() as session:
        return OrderOut.model_validate(load_order(session, number))


@router.post("/orders", status_code=201, response_model=OrderOut)
def place_order(db: Db, settings: SiteSettings, caller: ApiStores, body: NewOrder) -> Any:
    """Place an order with one supplier."""
    at = clock.now()
    with first_outcome() as outcome, db.write() as session:
        key = claim(session, body.id, body.model_dump(), caller.person_id, at)
        supplier = next((s for s in queries.suppliers(session) if s.code == body.supplier), None)
        if supplier is None:
            raise NotFound(f"supplier {body.supplier}")
        lines = [OrderLine(n.part_number, n.quantity, n.unit_price) for n in body.lines]
        number = actions.place_order(
            session, supplier.id, lines, body.expected_on,
            entry_id=key, at=at, who=caller.person_id, note=body.note, draft=body.draft,
            today=workshop_day(settings, at),
        )  # fmt: skip
        outcome.settle(session, key, f"/api/v1/orders/{number}")
    return order(db, caller, outcome.name)


@router.post("/orders/{number}/receive", response_model=OrderOut)
def receive(db: Db, settings: SiteSettings, caller: ApiStores, number: str, body: NewReceipt) -> Any:
    """Receive goods of an order, in part or whole; answers with the order as it is after."""
    at = clock.now()
    with first_outcome() as outcome, db.write() as session:
        key = claim(session, body.id, {**body.model_dump(), "order": number}, caller.person_id, at)
        lines = [
            ReceivedLine(n.part_number, n.quantity, n.lot_code, n.expires_on, n.unit_cost, n.location, n.quarantine)
            for n in body.lines
        ]
        actions.receive_goods(
            session, load_order(session, number).id, lines,
            entry_id=key, at=at, who=caller.person_id, version=body.version,
            today=workshop_day(settings, at),
        )  # fmt: skip
        outcome.settle(session, key, f"/api/v1/orders/{number}")
    return order(db, caller, number)
