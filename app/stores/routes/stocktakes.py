"""HTTP: stocktakes."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.people.access import Caller, Posted, Stores
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, blank, check
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other
from app.stores import actions
from app.stores.actions import Count
from app.stores.forms import CountFields, FoundLotForm, VersionForm, check_lines, with_errors
from app.stores.pages.common import workshop_day
from app.stores.pages.stocktakes import stocktake_page, stocktakes_page

router = APIRouter(include_in_schema=False)


@router.get("/stocktakes")
def list_stocktakes(request: Request, db: Db, _caller: Stores, after: int | None = None) -> Response:
    """Show stocktakes, newest first, and the form that opens one."""
    with db.read() as session:
        context = stocktakes_page(session, blank(), after)
    return page(request, "stores/stocktakes.html", context)


@router.post("/stocktakes")
def open_stocktake(request: Request, db: Db, caller: Stores, raw: Posted) -> Response:
    """Open a stocktake of one place."""
    form: Form[Any] = Form(values={"location_id": raw.get("location_id")})
    at = clock.now()
    try:
        if not raw.get("location_id").isdecimal():
            raise Refused("Choose the place to count.", "location_id")
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            found = actions.open_stocktake(
                session,
                int(raw.get("location_id")),
                entry_id=key,
                at=at,
                who=caller.person_id,
                blind=raw.get("blind") == "yes",
            )
            settle(session, key, f"/stocktakes/{found}")
    except Refused as refusal:
        with db.read() as session:
            context = stocktakes_page(session, form.refused(refusal), None)
        return page(request, "stores/stocktakes.html", context, status=409)
    return see_other(f"/stocktakes/{found}")


@router.get("/stocktakes/{stocktake_id}")
def show_stocktake(request: Request, db: Db, _caller: Stores, stocktake_id: int) -> Response:
    """Show one stocktake."""
    return _show(request, db, stocktake_id)


def _show(
    request: Request,
    db: Database,
    stocktake_id: int,
    form: Form[Any] | None = None,
    found: Form[Any] | None = None,
    status: int = 200,
) -> Response:
    with db.read() as session:
        context = stocktake_page(session, stocktake_id, form, found)
    return page(request, "stores/stocktake.html", context, status=status)


@router.get("/stocktakes/{stocktake_id}/sheet")
def count_sheet(request: Request, db: Db, _caller: Stores, stocktake_id: int) -> Response:
    """Show the count sheet to print: lots and places to write, without the book."""
    with db.read() as session:
        context = stocktake_page(session, stocktake_id)
    return page(request, "stores/count_sheet.html", context)


@router.post("/stocktakes/{stocktake_id}")
def count(request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, stocktake_id: int) -> Response:
    """Keep the counts typed so far, or post the differences; the button says which."""
    form = check(VersionForm, raw)
    lines, errors = check_lines(CountFields, raw, raw.all("line"))
    form = with_errors(form, errors)
    if form.data is None:
        return _show(request, db, stocktake_id, form, status=422)
    counts = {
        int(lot): Count(line.counted, line.book, line.reason) for lot, line in lines.items() if line.counted is not None
    }
    version = form.data.version

    def act(session: Session, key: str, at: datetime) -> None:
        stamp: dict[str, Any] = {"entry_id": key, "at": at, "who": caller.person_id, "version": version}
        if raw.get("do") == "post":
            today = workshop_day(settings, at)
            actions.post_stocktake(session, stocktake_id, counts, **stamp, today=today)
        else:
            actions.keep_counts(session, stocktake_id, counts, **stamp)

    return act_on_stocktake(db, caller, raw, stocktake_id, act, lambda r: _show(
        request, db, stocktake_id, form.refused(r), status=409
    ))  # fmt: skip


@router.post("/stocktakes/{stocktake_id}/found")
def found_lot(request: Request, db: Db, caller: Stores, raw: Posted, stocktake_id: int) -> Response:
    """Add a lot that lies here though the book has none of it here."""
    form = check(FoundLotForm, raw)
    if form.data is None:
        return _show(request, db, stocktake_id, found=form, status=422)
    data = form.data

    def act(session: Session, key: str, at: datetime) -> None:
        actions.add_found_lot(
            session, stocktake_id, data.found_part, data.found_lot, data.found_count,
            entry_id=key, at=at, who=caller.person_id,
        )  # fmt: skip

    return act_on_stocktake(db, caller, raw, stocktake_id, act, lambda r: _show(
        request, db, stocktake_id, found=form.refused(r), status=409
    ))  # fmt: skip


@router.post("/stocktakes/{stocktake_id}/cancel")
def cancel(request: Request, db: Db, caller: Stores, raw: Posted, stocktake_id: int) -> Response:
    """Cancel an open stocktake."""
    form = check(VersionForm, raw)

    def act(session: Session, key: str, at: datetime) -> None:
        version = form.data.version if form.data else 0
        actions.cancel_stocktake(session, stocktake_id, entry_id=key, at=at, who=caller.person_id, version=version)

    return act_on_stocktake(db, caller, raw, stocktake_id, act, lambda r: _show(
        request, db, stocktake_id, Form(refusal=r.reason), status=409
    ))  # fmt: skip


def act_on_stocktake(
    db: Database,
    caller: Caller,
    raw: RawForm,
    stocktake_id: int,
    act: Callable[[Session, str, datetime], None],
    refused: Callable[[Refused], Response],
) -> Response:
    """Act on a stocktake in one transaction and show it, or show why it was refused."""
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            act(session, key, at)
            settle(session, key, f"/stocktakes/{stocktake_id}")
    except Refused as refusal:
        return refused(refusal)
    return see_other(f"/stocktakes/{stocktake_id}")
