"""Bench times of closed jobs against what was expected of them."""

from datetime import timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Supervisor
from app.platform import clock
from app.platform.forms import check
from app.platform.web import Db, SiteSettings, page
from app.review.forms import ClosedJobsForm
from app.review.pages.times import MOST, times_page
from app.review.queries.history import model_names
from app.review.queries.times import timed_jobs
from app.review.routes.history import asked
from app.review.summary import midnight

router = APIRouter(include_in_schema=False)


@router.get("/review/times")
def show_times(request: Request, db: Db, settings: SiteSettings, _caller: Supervisor) -> Response:
    """Show which jobs took unusually long or short, and whether times drift."""
    today = clock.now().astimezone(settings.zone).date()
    form = check(ClosedJobsForm, asked(request))
    wanted = form.data or ClosedJobsForm()
    days = wanted.days(today)
    start, end = midnight(days[0], settings.zone), midnight(days[1] + timedelta(days=1), settings.zone)
    with db.read() as session:
        jobs = timed_jobs(session, start, end, wanted.model, MOST) if form.data else ()
        shown = times_page(form, model_names(session), days, jobs, settings.zone)
    return page(request, "review/times.html", shown, status=200 if form.data else 422)
