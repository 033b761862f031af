"""Bench times of closed jobs against what was expected of them."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Supervisor
from app.platform.web import Db, SiteSettings, page
from app.review.pages.times import MOST, times_page
from app.review.queries.history import model_names
from app.review.queries.times import timed_jobs
from app.review.routes.closed_jobs import asked_jobs

router = APIRouter(include_in_schema=False)


@router.get("/review/times")
def show_times(request: Request, db: Db, settings: SiteSettings, _caller: Supervisor) -> Response:
    """Show which jobs took unusually long or short, and whether times drift."""
    ask = asked_jobs(request, settings)
    with db.read() as session:
        jobs = timed_jobs(session, ask.start, ask.end, ask.wanted.model, MOST) if ask.valid else ()
        shown = times_page(ask.form, model_names(session), ask.days, jobs, settings.zone)
    return page(request, "review/times.html", shown, status=ask.status)
