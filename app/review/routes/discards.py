"""Discards against plan."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.jobs.pages.spares import judge
from app.jobs.queries.spares import factors, procedure_titles, step_parts, with_decided
from app.people.access import Supervisor
from app.platform.web import Db, SiteSettings, page
from app.review.pages.discards import discards_page
from app.review.queries.history import model_names
from app.review.routes.closed_jobs import asked_jobs
from app.stores.queries.valuation import part_names

router = APIRouter(include_in_schema=False)


@router.get("/review/discards")
def show_discards(request: Request, db: Db, settings: SiteSettings, _caller: Supervisor) -> Response:
    """Show what closed jobs used and spoiled beside what their sheets planned."""
    ask = asked_jobs(request, settings)
    model = ask.wanted.model
    with db.read() as session:
        rows = step_parts(session, ask.start, ask.end, model_id=model) if ask.valid else {}
        planned = factors(session)
        judged = judge(with_decided(session, rows, planned, model) if ask.valid else rows, planned)
        context = discards_page(
            ask.form,
            model_names(session),
            ask.days,
            judged,
            procedure_titles(session, [one.key[0] for one in judged]),
            part_names(session, sorted({one.key[2] for one in judged})),
        )
    return page(request, "review/discards.html", context, status=ask.status)
