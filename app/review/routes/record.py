"""One job's full record."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Everybody
from app.people.queries import names
from app.platform import clock
from app.platform.web import Db, SiteSettings, page
from app.procedures import queries as procedures
from app.review.pages.record import Loaded, record
from app.review.queries import record as read
from app.stores.queries import movements_of, units_of_source

router = APIRouter(include_in_schema=False)


@router.get("/review/jobs/{number}")
def job_record(request: Request, number: str, db: Db, settings: SiteSettings, _caller: Everybody) -> Response:
    """Show everything that happened on a job, in time order, and what it came to."""
    with db.read() as session:
        job = read.job_facts(session, number)
        loaded = Loaded(
            job=job,
            entries=read.entries(session, job.id),
            used=read.used_parts(session, job.id),
            kit=read.kit_parts(session, job.id),
            planned=read.planned_quantities(session, job.id),
            scrap=read.scrap(session, job.id),
            kept=units_of_source(session, f"job:{job.number}"),
            photos=read.photos(session, job.id),
            movements=movements_of(session, f"job:{job.number}"),
            names=names(session),
            sheet=procedures.sheet(session, job.revision_id),
        )
    return page(request, "review/record.html", record(loaded, settings, clock.now()))
