"""HTTP: the count plan, blind counts, and how right the book was."""

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import BaseModel, Field
from sqlmodel import Session

from app.people.access import Posted, Stores
from app.platform import clock
from app.platform.errors import Refused
from app.platform.forms import check
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other
from app.stores import actions
from app.stores.actions import BlindCount
from app.stores.forms import BlindCountFields, VersionForm, check_lines, with_errors
from app.stores.pages.common import workshop_day
from app.stores.pages.stocktakes import accuracy_page, count_plan_page, stocktake_page
from app.stores.routes.stocktakes import act_on_stocktake

router = APIRouter(include_in_schema=False)
Days = Annotated[int, Field(ge=1, le=3660)]


class CountDaysForm(BaseModel):
    """How often parts are counted, in days by value class."""

    days_a: Days
    days_b: Days
    days_c: Days
    version: int


@router.get("/stores/count-plan")
def show_count_plan(request: Request, db: Db, settings: SiteSettings, _caller: Stores) -> Response:
    """Show what is to be counted today."""
    with db.read() as session:
        context = count_plan_page(session, workshop_day(settings))
    return page(request, "stores/count_plan.html", context)


@router.post("/stores/count-plan")
def save_count_days(request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted) -> Response:
    """Set how often parts are counted."""
    form = check(CountDaysForm, raw)
    if form.data is None:
        with db.read() as session:
            context = count_plan_page(session, workshop_day(settings), form)
        return page(request, "stores/count_plan.html", context, status=422)
    data, at = form.data, clock.now()
    with db.write() as session:
        key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
        actions.save_count_days(session, data.days_a, data.days_b, data.days_c, data.version)
        settle(session, key, "/stores/count-plan")
    return see_other("/stores/count-plan")


@router.get("/stores/accuracy")
def show_accuracy(request: Request, db: Db, _caller: Stores) -> Response:
    """Show how right the book was, month by month."""
    with db.read() as session:
        context = accuracy_page(session)
    return page(request, "stores/accuracy.html", context)


@router.post("/stocktakes/{stocktake_id}/blind")
def count_blind(
    request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted, stocktake_id: int
) -> Response:
    """Keep blind counts; or post them, once they all stand and every difference is explained."""
    form = check(VersionForm, raw)
    lines, errors = check_lines(BlindCountFields, raw, raw.all("line"))
    form = with_errors(form, errors)

    def show(shown: Any, status: int) -> Response:
        with db.read() as session:
            context = stocktake_page(session, stocktake_id, shown)
        return page(request, "stores/stocktake.html", context, status=status)

    if form.data is None:
        return show(form, 422)
    version = form.data.version
    given = {int(lot): BlindCount(line.counted, line.reason) for lot, line in lines.items()}

    def act(session: Session, key: str, at: datetime) -> None:
        actions.count_blind(
            session, stocktake_id, given, post=raw.get("do") == "post", entry_id=key, at=at, who=caller.person_id,
            version=version, today=workshop_day(settings, at),
        )  # fmt: skip

    def refused(refusal: Refused) -> Response:
        return show(form.refused(refusal), 409)

    return act_on_stocktake(db, caller, raw, stocktake_id, act, refused)
