"""HTTP: where a scanned label leads, and the page on which a tablet learns its keys and its scanner."""

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.jobs.queries import jobs as queries
from app.people.access import Everybody
from app.people.models import Role
from app.platform.errors import NotFound, Refused
from app.platform.forms import blank
from app.platform.web import Db, page, see_other
from app.rules.scan_codes import ScanCode, ScanKind, parse
from app.stores import queries as stores

router = APIRouter(include_in_schema=False)
LONGEST = 400
"""Longest code that is looked at, in characters."""


@router.get("/scan")
def follow_scan(request: Request, db: Db, caller: Everybody, code: str = "") -> Response:
    """Lead to what a scanned or typed label is on: a job's bench, a place's parts, a lot's part. Without one, ask."""
    form = blank(code=code.strip()[:LONGEST])
    if not code.strip():
        return page(request, "jobs/scan.html", form)
    try:
        with db.read() as session:
            return see_other(_target(session, parse(code[:LONGEST], "code"), bench=caller.role is not Role.STORES))
    except Refused as refusal:
        return page(request, "jobs/scan.html", form.refused(refusal), status=422)


def _target(session: Session, code: ScanCode, *, bench: bool) -> str:
    """Return the address of what a label is on. Raises Refused when there is no such thing here."""
    if code.kind in (ScanKind.JOB, ScanKind.TRAY):
        try:
            job = queries.find_job(session, code.job)
        except NotFound:
            raise Refused(f"The label is on job {code.job}, which is not kept here.", "code") from None
        return f"/jobs/{job.number}/bench" if bench and job.state.teardown else f"/jobs/{job.number}"
    if code.kind is ScanKind.SHELF:
        if code.location not in {place.code for place in stores.locations(session)}:
            raise Refused(f"The label is on place {code.location}, which is not kept here.", "code")
        return f"/parts?location={code.location}"
    if stores.part(session, code.part) is None:
        raise Refused(f"The label is on a lot of part {code.part}, which is not kept here.", "code")
    return f"/parts/{code.part}"


@router.get("/bench/keys")
def show_keys(request: Request, _caller: Everybody) -> Response:
    """Show the page on which a key, a pedal or a scanner is learnt; what is learnt stays in the browser."""
    return page(request, "jobs/keys.html")
