"""Discards against plan."""

from datetime import timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.jobs.pages.spares import judge
from app.jobs.queries.spares import factors, procedure_titles, step_parts, with_decided
from app.people.access import Supervisor
from app.platform import clock
from app.platform.forms import check
from app.platform.web import Db, SiteSettings, page
from app.review.forms import ClosedJobsForm
from app.review.pages.discards import discards_page
from app.review.queries.history import model_names
from app.review.routes.history import asked
from app.review.summary import midnight
from app.stores.queries.valuation import part_names

router = APIRouter(include_in_schema=False)


@router.get("/review/discards")
def show_discards(request: Request, db: Db, settings: SiteSettings, _caller: Supervisor) -> Response:
    """Show what closed jobs used and spoiled beside what their sheets planned."""
    today = clock.now().astimezone(settings.zone).date()
    form = check(ClosedJobsForm, asked(request))
    wanted = form.data or ClosedJobsForm()
    days = wanted.days(today)
    start, end = midnight(days[0], settings.zone), midnight(days[1] + timedelta(days=1), settings.zone)
    with db.read() as session:
        rows = step_parts(session, start, end, model_id=wanted.model) if form.data else {}
        planned = factors(session)
        judged = judge(with_decided(session, rows, planned, wanted.model) if form.data else rows, planned)
        context = discards_page(
            form,
            model_names(session),
            days,
            judged,
            procedure_titles(session, [one.key[0] for one in judged]),
            part_names(session, sorted({one.key[2] for one in judged})),
        )
    return page(request, "review/discards.html", context, status=200 if form.data else 422)
