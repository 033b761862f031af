"""HTTP: the site's working calendar."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.jobs.actions.close import today
from app.jobs.actions.site_days import add_site_day, remove_site_day
from app.jobs.forms import SiteDayForm
from app.jobs.pages import calendar
from app.people.access import Posted, Supervisor
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, blank, check
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other

router = APIRouter(include_in_schema=False)
PLACE = "/site/calendar"


@router.get("/site/calendar")
def show_calendar(request: Request, db: Db, settings: SiteSettings, _caller: Supervisor) -> Response:
    """Show when the site works."""
    return _calendar_page(request, db, settings, blank(kind="closed"))


def _calendar_page(request: Request, db: Database, settings: Settings, form: Form[Any], status: int = 200) -> Response:
    with db.read() as session:
        found = calendar.calendar_page(session, form, settings, today(clock.now(), settings))
    return page(request, "jobs/calendar.html", found, status=status)


@router.post("/site/calendar")
def enter_day(request: Request, db: Db, settings: SiteSettings, caller: Supervisor, raw: Posted) -> Response:
    """Enter a day of the site's own."""
    form = check(SiteDayForm, raw)
    if form.data is None:
        return _calendar_page(request, db, settings, form, status=422)
    at, data = clock.now(), form.data
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            add_site_day(session, data.day, data.name, is_open=data.kind == "open", at=at, who=caller.person_id)
            settle(session, key, PLACE)
    except Refused as refusal:
        return _calendar_page(request, db, settings, form.refused(refusal), status=409)
    return see_other(PLACE)


@router.post("/site/calendar/{day_id}/remove")
def take_day_out(db: Db, caller: Supervisor, raw: Posted, day_id: int) -> Response:
    """Take a day out again."""
    with db.write() as session:
        key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, clock.now())
        remove_site_day(session, day_id)
        settle(session, key, PLACE)
    return see_other(PLACE)
