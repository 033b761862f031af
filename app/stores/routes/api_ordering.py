"""JSON API of reordering: the list, a part's suggestion, an order's way from draft to confirmed."""

from datetime import date
from decimal import Decimal
from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import BaseModel, Field

from app.people.access import ApiStores
from app.platform import clock
from app.platform.errors import NotFound
from app.platform.submissions import claim, first_outcome
from app.platform.web import Db, SiteSettings
from app.rules.stores.kept import as_data
from app.stores import actions, queries
from app.stores.forms import Text
from app.stores.pages.orders import load_order
from app.stores.routes.api import Id, OrderOut, order
from app.stores.routes.suggesting import bring_up_to_date

router = APIRouter(prefix="/api/v1", tags=["stores"])


class ReorderOut(BaseModel):
    """A part that is due: what to order, and why in words. ``suggested`` differs where somebody has overridden it."""

    part_number: str
    name: str
    supplier: str
    position: int
    reorder_point: int
    quantity: int
    suggested: int
    packs: int
    value_class: str
    words: str
    override: str
    price: Decimal


class ReorderList(BaseModel):
    """All parts that are due; ``stale`` is the number of parts whose figures are from before today."""

    items: list[ReorderOut]
    stale: int


class SuggestionOut(BaseModel):
    """A part's suggestion: figures as the page shows them, reasons, and what changed since an earlier day."""

    part: str
    value_class: str
    by_hand: bool
    figures: dict[str, Any]
    changed: list[str]


class SendIn(BaseModel):
    """A draft that went to the supplier."""

    id: Id
    version: int


class ConfirmIn(SendIn):
    """The day that the supplier promises."""

    confirmed_on: date
    words: Annotated[Text, Field(max_length=200)] = ""


@router.get("/reorder")
def reorder_list(db: Db, settings: SiteSettings, _caller: ApiStores) -> ReorderList:
    """List the parts at or below their reorder point, with the quantity to order."""
    today = bring_up_to_date(db, settings)
    with db.read() as session:
        groups = queries.due_groups(session)
        stale = queries.count_stale(session, today)
    items = [
        ReorderOut(
            part_number=line.part.number, name=line.part.name, supplier=line.part.supplier, position=line.position,
            reorder_point=line.reorder_point, quantity=line.quantity, suggested=line.suggested,
            packs=line.quantity // line.part.pack, value_class=line.value_class, words=line.words,
            override=line.override, price=line.unit_price,
        )
        for group in groups
        for line in group.lines
    ]  # fmt: skip
    return ReorderList(items=sorted(items, key=lambda item: item.part_number), stale=stale)


@router.get("/suggestions/{number}")
def suggestion(db: Db, settings: SiteSettings, _caller: ApiStores, number: str) -> SuggestionOut:
    """Return one part's suggestion."""
    bring_up_to_date(db, settings)
    with db.read() as session:
        kept = queries.kept_suggestion(session, number)
    if kept is None:
        raise NotFound(f"suggestion for part {number}")
    return SuggestionOut(
        part=number, value_class=kept.value_class, by_hand=kept.by_hand, figures=as_data(kept.now),
        changed=list(kept.changed),
    )  # fmt: skip


@router.post("/orders/{number}/send", response_model=OrderOut)
def send(db: Db, caller: ApiStores, number: str, body: SendIn) -> Any:
    """Note that a draft went to the supplier."""
    at = clock.now()
    with first_outcome() as outcome, db.write() as session:
        key = claim(session, body.id, {**body.model_dump(), "order": number}, caller.person_id, at)
        actions.send_order(
            session, load_order(session, number).id, entry_id=key, at=at, who=caller.person_id, version=body.version
        )
        outcome.settle(session, key, f"/api/v1/orders/{number}")
    return order(db, caller, number)


@router.post("/orders/{number}/confirm", response_model=OrderOut)
def confirm(db: Db, caller: ApiStores, number: str, body: ConfirmIn) -> Any:
    """Note the day that the supplier promises."""
    at = clock.now()
    with first_outcome() as outcome, db.write() as session:
        key = claim(session, body.id, {**body.model_dump(), "order": number}, caller.person_id, at)
        actions.confirm_order(
            session, load_order(session, number).id, body.confirmed_on, body.words,
            entry_id=key, at=at, who=caller.person_id, version=body.version,
        )  # fmt: skip
        outcome.settle(session, key, f"/api/v1/orders/{number}")
    return order(db, caller, number)
