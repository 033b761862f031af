"""Times that tablets' clocks do not agree on."""

from datetime import timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Supervisor
from app.people.queries import names
from app.platform import clock
from app.platform.forms import check
from app.platform.web import Db, SiteSettings, page
from app.procedures import queries as procedures
from app.review.forms import ClocksForm
from app.review.pages.clocks import clocks_page
from app.review.queries.clocks import flagged_times
from app.review.routes.history import asked
from app.review.summary import midnight
from app.rules.tap_clock import ASIDE_MS, FLAGGED_MS

router = APIRouter(include_in_schema=False)


@router.get("/review/clocks")
def show_clocks(request: Request, db: Db, settings: SiteSettings, _caller: Supervisor) -> Response:
    """Show entries whose time was set aside, or flagged, in a stretch of time."""
    today = clock.now().astimezone(settings.zone).date()
    form = check(ClocksForm, asked(request))
    data = form.data or ClocksForm()
    first, last = data.days(today)
    start, end = midnight(first, settings.zone), midnight(last + timedelta(days=1), settings.zone)
    with db.read() as session:
        rows = flagged_times(session, start, end, FLAGGED_MS if data.small else ASIDE_MS)
        sheets = {row.revision_id: procedures.sheet(session, row.revision_id) for row in rows}
        shown = clocks_page(form, first, last, rows, sheets, names(session))
    return page(request, "review/clocks.html", shown, status=200 if form.data else 422)
