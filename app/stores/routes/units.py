"""HTTP: old units that are repaired or owed, goods sent back to their supplier, and a part's alternates."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import BaseModel
from sqlmodel import Session

from app.people.access import Caller, Everybody, Posted, Stores, Supervisor
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import NotFound, Refused
from app.platform.forms import Form, RawForm, check
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, get_settings, page, see_other
from app.stores import actions
from app.stores.actions import CameOut, GoodsBack
from app.stores.pages import units as pages
from app.stores.pages.common import workshop_day
from app.stores.pages.parts import load_part
from app.stores.unit_forms import (
    CloseReturnForm,
    CoreForm,
    GoodsBackForm,
    MendedForm,
    MoveForm,
    OldUnitForm,
    PairForm,
    ProposeForm,
    RoundForm,
    WithdrawForm,
    WordsForm,
)

router = APIRouter(include_in_schema=False)
Show = Callable[[Form[Any], int], Response]
Act = Callable[[Session, Any, dict[str, Any]], str | None]


def _post(
    db: Database, caller: Caller, raw: RawForm, model: type[BaseModel], there: str, show: Show, act: Act
) -> Response:
    """Check a form, do what it says in one transaction, and go on; or show the form with what is wrong.

    ``act`` is given the entry's id, time and person, and may return another page to go on to.
    """
    form = check(model, raw)
    if form.data is None:
        return show(form, 422)
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            goes = act(session, form.data, {"entry_id": key, "at": at, "who": caller.person_id}) or there
            settle(session, key, goes)
    except Refused as refusal:
        return show(form.refused(refusal), 409)
    return see_other(goes)


@router.get("/stores/units")
def list_units(request: Request, db: Db, settings: SiteSettings, _caller: Stores) -> Response:
    """Show the units to mend and to return."""
    with db.read() as session:
        context = pages.units_page(session, workshop_day(settings))
    return page(request, "stores/units.html", context)


@router.get("/stores/units/{number}")
def show_unit(request: Request, db: Db, _caller: Stores, number: str) -> Response:
    """Show one unit, and what may be done with it."""
    return _unit(request, db, number)


@router.get("/stores/units/{number}/sheet")
def unit_sheet(request: Request, db: Db, _caller: Stores, number: str) -> Response:
    """Show the sheet that goes with a unit to its repair or to its supplier."""
    return _unit(request, db, number, template="unit_sheet")


def _unit(
    request: Request,
    db: Database,
    number: str,
    form: Form[Any] | None = None,
    status: int = 200,
    template: str = "unit",
    deed: str = "",
) -> Response:
    with db.read() as session:
        context = pages.unit_page(session, number, workshop_day(get_settings(request)), form, deed)
    return page(request, f"stores/{template}.html", context, status=status)


_DEEDS: dict[str, tuple[type[BaseModel], Callable[..., Any]]] = {
    "move": (MoveForm, lambda s, n, d, **e: actions.move_unit(s, n, d.location, **e)),
    "repair": (WordsForm, lambda s, n, d, **e: actions.send_unit_to_repair(s, n, d.words, **e)),
    "mended": (MendedForm, lambda s, n, d, **e: actions.unit_repaired(s, n, d.cost, d.words, **e)),
    "give-up": (WordsForm, lambda s, n, d, **e: actions.give_unit_up(s, n, d.words, **e)),
    "send": (CoreForm, lambda s, n, d, **e: actions.send_core(s, n, d.words, by_air=d.by_air, **e)),
    "accepted": (WordsForm, lambda s, n, d, **e: actions.end_core(s, n, True, d.words, **e)),
    "charged": (WordsForm, lambda s, n, d, **e: actions.end_core(s, n, False, d.words, **e)),
}


@router.post("/stores/units/{number}/{deed}")
def do_with_unit(request: Request, db: Db, caller: Stores, raw: Posted, number: str, deed: str) -> Response:
    """Do something with a unit: move, repair, mended, give-up, send, accepted, charged."""
    if deed not in _DEEDS:
        raise NotFound(f"deed {deed}")
    model, do = _DEEDS[deed]

    def act(session: Session, data: Any, stamp: dict[str, Any]) -> None:
        do(session, number, data, **stamp)

    def show(form: Form[Any], status: int) -> Response:
        return _unit(request, db, number, form, status, deed=deed)

    return _post(db, caller, raw, model, f"/stores/units/{number}", show, act)


@router.get("/stores/returns")
def list_returns(request: Request, db: Db, _caller: Stores, part: str = "") -> Response:
    """Show goods sent back to their suppliers, and goods to send back."""
    return _returns(request, db, part)


def _returns(request: Request, db: Database, part: str, form: Form[Any] | None = None, status: int = 200) -> Response:
    with db.read() as session:
        context = pages.returns_page(session, part, form)
    return page(request, "stores/returns.html", context, status=status)


@router.post("/stores/returns")
def send_back(
    request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, part: str = ""
) -> Response:
    """Send goods back that came without an order, or whose order is not known."""

    def act(session: Session, data: GoodsBackForm, stamp: dict[str, Any]) -> str:
        goods = GoodsBack(data.lot_id, data.location_id, data.quantity, data.why, data.reason)
        at: datetime = stamp["at"]
        number = actions.return_goods(session, goods, **stamp, today=workshop_day(settings, at))
        return f"/stores/returns/{number}"

    def show(form: Form[Any], status: int) -> Response:
        return _returns(request, db, part, form, status)

    return _post(db, caller, raw, GoodsBackForm, "/stores/returns", show, act)


@router.get("/stores/returns/{number}")
def show_return(request: Request, db: Db, _caller: Stores, number: str) -> Response:
    """Show one return."""
    return _return(request, db, number)


@router.get("/stores/returns/{number}/sheet")
def return_sheet(request: Request, db: Db, _caller: Stores, number: str) -> Response:
    """Show the sheet that goes with the goods."""
    return _return(request, db, number, template="return_sheet")


def _return(
    request: Request,
    db: Database,
    number: str,
    form: Form[Any] | None = None,
    status: int = 200,
    template: str = "return",
) -> Response:
    with db.read() as session:
        settings = get_settings(request)
        context = pages.return_page(session, number, workshop_day(settings), settings.currency, form)
    return page(request, f"stores/{template}.html", context, status=status)


@router.post("/stores/returns/{number}/close")
def close_return(
    request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, number: str
) -> Response:
    """Close a return with the supplier's answer."""

    def act(session: Session, data: CloseReturnForm, stamp: dict[str, Any]) -> None:
        at, who = stamp["at"], stamp["who"]
        actions.close_return(session, number, data.credited, data.note, currency=settings.currency, at=at, who=who)

    def show(form: Form[Any], status: int) -> Response:
        return _return(request, db, number, form, status)

    return _post(db, caller, raw, CloseReturnForm, f"/stores/returns/{number}", show, act)


@router.get("/parts/{number}/alternates")
def show_round(request: Request, db: Db, caller: Everybody, number: str) -> Response:
    """Show what may go in where a part is wanted, and what becomes of the old one."""
    return _round(request, db, caller, number)


def _round(
    request: Request, db: Database, caller: Caller, number: str, status: int = 200, **forms: Form[Any]
) -> Response:
    with db.read() as session:
        today = workshop_day(get_settings(request))
        context = pages.round_page(session, number, today, caller.role.value, **forms)
    return page(request, "stores/alternates.html", context, status=status)


@router.post("/parts/{number}/alternates")
def propose(request: Request, db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Propose an alternate of a part."""

    def act(session: Session, data: ProposeForm, stamp: dict[str, Any]) -> None:
        load_part(session, number)
        more = {"both_ways": data.both_ways, "fits_from": data.fits_from, **stamp}
        try:
            actions.propose_alternate(session, number, data.alternate, data.reason, **more)
        except NotFound as error:
            raise Refused(f"{error} Check the number, or look it up in the list of parts.", "alternate") from error

    def show(form: Form[Any], status: int) -> Response:
        return _round(request, db, caller, number, status, form=form)

    return _post(db, caller, raw, ProposeForm, f"/parts/{number}/alternates", show, act)


@router.post("/parts/{number}/alternates/approve")
def approve(request: Request, db: Db, caller: Supervisor, raw: Posted, number: str) -> Response:
    """Approve a proposed alternate."""

    def act(session: Session, data: PairForm, stamp: dict[str, Any]) -> None:
        actions.approve_alternate(session, data.part, data.alternate, supervisor=True, **stamp)

    def show(form: Form[Any], status: int) -> Response:
        return _round(request, db, caller, number, status, decision=form)

    return _post(db, caller, raw, PairForm, f"/parts/{number}/alternates", show, act)


@router.post("/parts/{number}/alternates/withdraw")
def withdraw(request: Request, db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Withdraw an alternate."""

    def act(session: Session, data: WithdrawForm, stamp: dict[str, Any]) -> None:
        actions.withdraw_alternate(session, data.part, data.alternate, data.why, **stamp)

    def show(form: Form[Any], status: int) -> Response:
        return _round(request, db, caller, number, status, decision=form)

    return _post(db, caller, raw, WithdrawForm, f"/parts/{number}/alternates", show, act)


@router.post("/parts/{number}/round")
def save_round(request: Request, db: Db, caller: Stores, raw: Posted, number: str) -> Response:
    """Say how a part goes round."""

    def act(session: Session, data: RoundForm, stamp: dict[str, Any]) -> None:
        actions.save_unit_terms(session, number, data.kind, data.core_charge, data.core_days, at=stamp["at"])

    def show(form: Form[Any], status: int) -> Response:
        return _round(request, db, caller, number, status, round_form=form)

    return _post(db, caller, raw, RoundForm, f"/parts/{number}/alternates", show, act)


@router.post("/parts/{number}/old-units")
def take_in(request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, number: str) -> Response:
    """Take an old unit in that comes from elsewhere than a job."""

    def act(session: Session, data: OldUnitForm, stamp: dict[str, Any]) -> str:
        came = [CameOut(number, data.serial, data.defective)]
        found = actions.take_in_units(session, "by hand", came, **stamp, today=workshop_day(settings, stamp["at"]))
        if not found:
            raise Refused("The old one of this part is scrapped: it is consumed, or a cell that may not be put back.")
        return f"/stores/units/{found[0]}"

    def show(form: Form[Any], status: int) -> Response:
        return _round(request, db, caller, number, status, unit=form)

    return _post(db, caller, raw, OldUnitForm, "/stores/units", show, act)
