"""HTTP: what a tablet opens to be enrolled with a supervisor's one-time code."""

from typing import Any

import structlog
from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people import actions
from app.people.access import AnonymousForm, Anyone, OptionalCaller, ThisTablet
from app.people.pages import EnrolPage
from app.people.queries import KnownTablet
from app.people.routes.signing import give_tablet_cookie
from app.platform import clock
from app.platform.errors import Refused, TooMany
from app.platform.forms import Form, blank
from app.platform.web import Db, SiteSettings, client_address, page, see_other

router = APIRouter(include_in_schema=False)
log = structlog.get_logger()


@router.get("/tablet")
def show_enrolment(
    request: Request, _anyone: Anyone, _caller: OptionalCaller, tablet: ThisTablet, code: str = ""
) -> Response:
    """Ask for the code, filled in when it was scanned; an enrolled tablet says which one it is."""
    return _enrol_page(request, tablet, blank(code=code[:40]))


@router.post("/tablet")
def enrol(
    request: Request, db: Db, settings: SiteSettings, _anyone: Anyone, tablet: ThisTablet, raw: AnonymousForm
) -> Response:
    """Use the code up and give the tablet its cookie."""
    form = blank(code=raw.get("code")[:40])
    if tablet is not None and tablet.enrolled:
        return see_other("/tablet")
    if not raw.get("code"):
        return _enrol_page(request, tablet, form.wrong("code", "Fill this in."), 422)
    address = client_address(request)
    try:
        with db.write() as session:
            done = actions.enrol_tablet(session, raw.get("code"), clock.now(), address)
    except TooMany as limit:
        log.warning("limit of tablet codes reached", address=address)
        return _enrol_page(request, tablet, form.wrong("code", limit.reason), 429, limit.retry_s)
    if done.reason:
        log.info("tablet code refused", address=address)
        return _enrol_page(request, tablet, form.refused(Refused(done.reason, "code")), 409)
    log.info("tablet enrolled", label=done.label, address=address)
    answer = see_other("/tablet")
    give_tablet_cookie(answer, settings, done.token)
    return answer


def _enrol_page(
    request: Request, tablet: KnownTablet | None, form: Form[Any], status: int = 200, retry_s: int = 0
) -> Response:
    headers = {"Retry-After": str(retry_s)} if retry_s else None
    return page(request, "people/enrol.html", EnrolPage(form, tablet), status=status, headers=headers)
