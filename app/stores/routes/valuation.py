"""HTTP: what the stock was worth, and which of it is slow, dead or expiring."""

from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Stores
from app.platform.forms import blank
from app.platform.web import Db, SiteSettings, page
from app.stores.pages.common import workshop_day
from app.stores.pages.valuation import ageing_page, valuation_page
from app.stores.routes.suggesting import bring_up_to_date

router = APIRouter(include_in_schema=False)


@router.get("/stores/value")
def value(
    request: Request, db: Db, settings: SiteSettings, _caller: Stores, on: str = "", formula: str = "fifo"
) -> Response:
    """Show what the stock was worth at the end of a day."""
    today = workshop_day(settings)
    form = blank(on=on or today.isoformat(), formula=formula)
    try:
        day = date.fromisoformat(on) if on else today
    except ValueError:
        day, form = today, form.wrong("on", "Enter a date, such as 2026-03-31.")
    if day > today:
        day, form = today, form.wrong("on", "That day has not come yet. Choose today or an earlier day.")
    with db.read() as session:
        context = valuation_page(session, form, day, formula, settings.zone, settings.currency)
    return page(request, "stores/value.html", context, status=422 if form.errors else 200)


@router.get("/stores/ageing")
def ageing(request: Request, db: Db, settings: SiteSettings, _caller: Stores) -> Response:
    """Show slow, dead and expiring stock, and what it costs."""
    today = bring_up_to_date(db, settings)
    with db.read() as session:
        context = ageing_page(session, today)
    return page(request, "stores/ageing.html", context)
