"""HTTP: the clerk's morning page."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Stores
from app.platform.web import Db, SiteSettings, page
from app.stores.pages.common import workshop_day
from app.stores.pages.morning import morning_page

router = APIRouter(include_in_schema=False)


@router.get("/stores")
def morning(request: Request, db: Db, settings: SiteSettings, _caller: Stores) -> Response:
    """Show what waits in the stores today."""
    with db.read() as session:
        context = morning_page(session, workshop_day(settings))
    return page(request, "stores/morning.html", context)
