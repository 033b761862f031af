"""HTTP: the clerk's morning page."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Stores
from app.platform.web import Db, SiteSettings, page
from app.stores.pages.morning import morning_page
from app.stores.routes.suggesting import bring_up_to_date

router = APIRouter(include_in_schema=False)


@router.get("/stores")
def morning(request: Request, db: Db, settings: SiteSettings, _caller: Stores) -> Response:
    """Show what waits in the stores today."""
    today = bring_up_to_date(db, settings)
    with db.read() as session:
        context = morning_page(session, today)
    return page(request, "stores/morning.html", context)
