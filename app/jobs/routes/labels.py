"""HTTP: a job's labels to print."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.jobs.pages.labels import job_labels
from app.people.access import Everybody
from app.platform.labels import labels_page
from app.platform.web import Db, page

router = APIRouter(include_in_schema=False)


@router.get("/jobs/{number}/labels")
def show_labels(
    request: Request, db: Db, _caller: Everybody, number: str, size: str = "", start: str = "1", copies: str = "1"
) -> Response:
    """Show the labels of a job, ready to print."""
    with db.read() as session:
        labels = job_labels(session, number)
    shown = labels_page(
        labels,
        title=f"Labels of job {number}",
        back=(f"/jobs/{number}", "Back to the job"),
        nothing="This job has no labels.",
        size=size,
        start=start,
        copies=copies,
    )
    return page(request, "jobs/labels.html", shown, status=422 if shown.form.errors else 200)
