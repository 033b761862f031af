"""Totals by period, technician and device model."""

from datetime import timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Supervisor
from app.people.queries import names
from app.platform import clock
from app.platform.forms import check
from app.platform.web import Db, SiteSettings, page
from app.review.forms import TotalsForm
from app.review.pages.totals import Read, refused_totals, totals
from app.review.queries import totals as read
from app.review.queries.history import model_names
from app.review.routes.history import asked
from app.review.summary import buckets, midnight, stretches

router = APIRouter(include_in_schema=False)


@router.get("/review/totals")
def totals_page(request: Request, db: Db, settings: SiteSettings, _caller: Supervisor) -> Response:
    """Show what was done, spent and scrapped in a stretch of time."""
    now = clock.now()
    today = now.astimezone(settings.zone).date()
    form = check(TotalsForm, asked(request))
    if form.data is None:
        return page(request, "review/totals.html", refused_totals(form, today), status=422)
    first, last = form.data.days(today)
    start, end = midnight(first, settings.zone), midnight(last + timedelta(days=1), settings.zone)
    cut = buckets(first, last, form.data.period)
    within = stretches(cut, settings.zone)
    with db.read() as session:
        found = Read(
            cut=cut,
            ended=read.ended_jobs(session, within),
            booked=read.booked_jobs(session, within),
            open_before=read.open_at(session, start),
            discards=read.discards(session, start, end),
            repeats=read.repeats(session, start, end, now),
            names=names(session),
            models=dict(model_names(session)),
            forecasts=read.forecasts(session, start, end),
        )
    return page(request, "review/totals.html", totals(form, form.data, found, settings, today))
