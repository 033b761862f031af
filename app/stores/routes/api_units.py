"""JSON API: alternates of parts, old units, goods sent back to suppliers. Each write calls the page's action."""

from collections.abc import Callable
from datetime import date, datetime
from decimal import Decimal
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field
from sqlmodel import Session

from app.people.access import ApiEverybody, ApiStores, ApiSupervisor, Caller
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import AlreadyDone, Refused
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings
from app.rules.stores.alternates import AlternateState
from app.rules.stores.supplier_returns import ReturnReason, ReturnState
from app.rules.stores.units import UnitKind, UnitState
from app.stores import actions, queries
from app.stores.actions import GoodsBack
from app.stores.forms import Code, Price, Reason, Text
from app.stores.pages.common import workshop_day
from app.stores.pages.units import return_row
from app.stores.routes.api import Id, Quantity

router = APIRouter(prefix="/api/v1", tags=["stores"])
Words = Annotated[Text, Field(max_length=300)]


class AlternateOut(BaseModel):
    """A pair of parts and where it stands."""

    model_config = ConfigDict(from_attributes=True)

    part: str
    alternate: str
    both_ways: bool
    fits_from: str
    state: AlternateState
    reason: str
    proposed_by: str
    proposed_at: datetime
    decided_by: str
    decided_at: datetime | None


class ProposeIn(BaseModel):
    """A part that may be used in place of the one in the address."""

    id: Id
    alternate: Code
    reason: Reason
    fits_from: Annotated[Text, Field(max_length=120)] = ""
    both_ways: bool = False


class ApproveIn(BaseModel):
    """The pair to approve."""

    id: Id
    alternate: Code


class WithdrawIn(ApproveIn):
    """The pair to withdraw, and why."""

    reason: Reason


class UnitOut(BaseModel):
    """An old unit."""

    model_config = ConfigDict(from_attributes=True)

    number: str
    part_number: str
    serial: str
    kind: UnitKind
    state: UnitState
    defective_cell: bool
    location: str
    source_ref: str
    came_at: datetime
    due_on: date | None
    core_charge: Decimal
    repair_cost: Decimal | None
    lot_code: str


class DeedIn(BaseModel):
    """What is done with a unit; ``cost`` is needed for ``mended``, ``location`` for ``move``."""

    id: Id
    deed: Literal["move", "repair", "mended", "give-up", "send", "accepted", "charged"]
    words: Words = ""
    cost: Price | None = None
    location: Code | None = None
    by_air: bool = False


class ReturnOut(BaseModel):
    """Goods sent back to their supplier."""

    model_config = ConfigDict(from_attributes=True)

    number: str
    order_number: str
    part_number: str
    lot_code: str
    quantity: int
    reason: str
    words: str
    replaced: bool
    expected: Decimal
    state: ReturnState
    credited: Decimal | None
    sent_at: datetime
    closed_at: datetime | None


class ReturnIn(BaseModel):
    """Goods to send back, of an order or without one."""

    id: Id
    lot_id: int
    location_id: int
    quantity: Quantity
    why: ReturnReason
    reason: Reason
    order: Annotated[str, Field(max_length=16)] = ""
    replaced: bool = False


class CloseIn(BaseModel):
    """The supplier's answer; no ``credited`` when the replacement came."""

    id: Id
    credited: Price | None = None
    note: Words = ""


def _once(
    db: Database, caller: Caller, key: str, content: dict[str, Any], act: Callable[[Session, dict[str, Any]], str]
) -> str:
    """Do a write once; returns where its outcome stands, the first one's for a repeat."""
    at = clock.now()
    try:
        with db.write() as session:
            claimed = claim(session, key, content, caller.person_id, at)
            there = act(session, {"entry_id": claimed, "at": at, "who": caller.person_id})
            settle(session, claimed, there)
    except AlreadyDone as done:
        return done.location
    return there


@router.get("/parts/{number}/alternates", response_model=list[AlternateOut])
def alternates(db: Db, _caller: ApiEverybody, number: str) -> Any:
    """List the pairs that name a part."""
    with db.read() as session:
        return [AlternateOut.model_validate(row) for row in queries.alternate_rows(session, number)]


@router.post("/parts/{number}/alternates", response_model=list[AlternateOut])
def propose(db: Db, caller: ApiStores, number: str, body: ProposeIn) -> Any:
    """Propose an alternate."""
    there = f"/api/v1/parts/{number}/alternates"

    def act(session: Session, stamp: dict[str, Any]) -> str:
        actions.propose_alternate(
            session, number, body.alternate, body.reason, both_ways=body.both_ways, fits_from=body.fits_from, **stamp
        )
        return there

    _once(db, caller, body.id, {"propose": number, **body.model_dump()}, act)
    return alternates(db, caller, number)


@router.post("/parts/{number}/alternates/approve", response_model=list[AlternateOut])
def approve(db: Db, caller: ApiSupervisor, number: str, body: ApproveIn) -> Any:
    """Approve a proposed alternate."""

    def act(session: Session, stamp: dict[str, Any]) -> str:
        actions.approve_alternate(session, number, body.alternate, supervisor=True, **stamp)
        return f"/api/v1/parts/{number}/alternates"

    _once(db, caller, body.id, {"approve": number, **body.model_dump()}, act)
    return alternates(db, caller, number)


@router.post("/parts/{number}/alternates/withdraw", response_model=list[AlternateOut])
def withdraw(db: Db, caller: ApiStores, number: str, body: WithdrawIn) -> Any:
    """Withdraw an alternate."""

    def act(session: Session, stamp: dict[str, Any]) -> str:
        actions.withdraw_alternate(session, number, body.alternate, body.reason, **stamp)
        return f"/api/v1/parts/{number}/alternates"

    _once(db, caller, body.id, {"withdraw": number, **body.model_dump()}, act)
    return alternates(db, caller, number)


@router.get("/units", response_model=list[UnitOut])
def units(db: Db, _caller: ApiStores) -> Any:
    """List the old units with something still to do, cores first by the day they are due."""
    with db.read() as session:
        return [UnitOut.model_validate(row) for row in queries.open_units(session)]


@router.get("/units/{number}", response_model=UnitOut)
def unit(db: Db, _caller: ApiStores, number: str) -> Any:
    """Return one old unit."""
    with db.read() as session:
        return UnitOut.model_validate(queries.old_unit(session, number))


@router.post("/units/{number}", response_model=UnitOut)
def do_with_unit(db: Db, caller: ApiStores, number: str, body: DeedIn) -> Any:
    """Do something with an old unit."""

    def act(session: Session, stamp: dict[str, Any]) -> str:
        _do(session, number, body, stamp)
        return f"/api/v1/units/{number}"

    _once(db, caller, body.id, {"unit": number, **body.model_dump(mode="json")}, act)
    return unit(db, caller, number)


def _do(session: Session, number: str, body: DeedIn, stamp: dict[str, Any]) -> None:
    if body.deed == "move":
        actions.move_unit(session, number, body.location or "", **stamp)
    elif body.deed == "repair":
        actions.send_unit_to_repair(session, number, body.words, **stamp)
    elif body.deed == "mended":
        if body.cost is None:
            raise Refused("Enter what the repair cost.", "cost")
        actions.unit_repaired(session, number, body.cost, body.words, **stamp)
    elif body.deed == "give-up":
        actions.give_unit_up(session, number, body.words, **stamp)
    elif body.deed == "send":
        actions.send_core(session, number, body.words, by_air=body.by_air, **stamp)
    else:
        actions.end_core(session, number, body.deed == "accepted", body.words, **stamp)


@router.get("/returns", response_model=list[ReturnOut])
def returns(db: Db, _caller: ApiStores) -> Any:
    """List goods sent back, those that wait for their credit first."""
    with db.read() as session:
        return [ReturnOut.model_validate(row) for row in queries.supplier_returns(session)]


@router.post("/returns", response_model=ReturnOut)
def send_back(db: Db, settings: SiteSettings, caller: ApiStores, body: ReturnIn) -> Any:
    """Send goods back to their supplier."""

    def act(session: Session, stamp: dict[str, Any]) -> str:
        goods = GoodsBack(body.lot_id, body.location_id, body.quantity, body.why, body.reason, body.replaced)
        today = workshop_day(settings, stamp["at"])
        return f"/api/v1/returns/{actions.return_goods(session, goods, body.order, **stamp, today=today)}"

    there = _once(db, caller, body.id, {"return": body.model_dump(mode="json")}, act)
    return _shown(db, there.rpartition("/")[2])


@router.post("/returns/{number}/close", response_model=ReturnOut)
def close(db: Db, settings: SiteSettings, caller: ApiStores, number: str, body: CloseIn) -> Any:
    """Close a return with the supplier's answer."""

    def act(session: Session, stamp: dict[str, Any]) -> str:
        at, who = stamp["at"], stamp["who"]
        actions.close_return(session, number, body.credited, body.note, currency=settings.currency, at=at, who=who)
        return f"/api/v1/returns/{number}"

    _once(db, caller, body.id, {"close return": number, **body.model_dump(mode="json")}, act)
    return _shown(db, number)


def _shown(db: Database, number: str) -> ReturnOut:
    with db.read() as session:
        return ReturnOut.model_validate(return_row(session, number))
