"""HTTP: the supervisor's pages about bench tablets."""

from typing import Any
from urllib.parse import urlencode

import segno
from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup

from app.people import actions, queries
from app.people.access import Posted, Supervisor
from app.people.forms import NewTablet, TabletRename, Versioned
from app.people.pages import NewCode, TabletPage, TabletsPage
from app.people.secrets import shown_code
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, blank, check
from app.platform.submissions import claim, settle
from app.platform.web import Db, page, see_other

router = APIRouter(include_in_schema=False)


@router.get("/people/tablets")
def list_tablets(request: Request, db: Db, _caller: Supervisor) -> Response:
    """Show all tablets: when they were last in contact, what waits on them, who is signed in."""
    return _tablets_page(request, db, blank())


@router.post("/people/tablets")
def make_code(request: Request, db: Db, caller: Supervisor, raw: Posted) -> Response:
    """Make a one-time code for a new tablet and show it once."""
    form = check(NewTablet, raw)
    if form.data is None:
        return _tablets_page(request, db, form, status=422)
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            code = actions.make_tablet_code(session, form.data.label, caller.person_id, at)
            settle(session, key, "/people/tablets")
    except Refused as refusal:
        return _tablets_page(request, db, form.refused(refusal), status=409)
    place = f"{str(request.base_url).rstrip('/')}/tablet"
    address = f"{place}?{urlencode({'code': code})}"
    made = NewCode(shown_code(code), form.data.label, address, place, _qr_svg(address), at + actions.TABLET_CODE_LASTS)
    return _tablets_page(request, db, blank(), made=made)


@router.get("/people/tablets/{tablet_id}")
def show_tablet(request: Request, db: Db, _caller: Supervisor, tablet_id: int) -> Response:
    """Show one tablet."""
    return _tablet_page(request, db, tablet_id)


@router.post("/people/tablets/{tablet_id}")
def rename(request: Request, db: Db, _caller: Supervisor, raw: Posted, tablet_id: int) -> Response:
    """Give a tablet another label."""
    form = check(TabletRename, raw)
    if form.data is None:
        return _tablet_page(request, db, tablet_id, form, status=422)
    try:
        with db.write() as session:
            actions.rename_tablet(session, tablet_id, form.data.label, form.data.version)
    except Refused as refusal:
        return _tablet_page(request, db, tablet_id, form.refused(refusal), status=409)
    return see_other(f"/people/tablets/{tablet_id}")


@router.get("/people/tablets/{tablet_id}/revoke")
def ask_revoke(request: Request, db: Db, _caller: Supervisor, tablet_id: int) -> Response:
    """Say what revoking the tablet brings about, and ask."""
    with db.read() as session:
        tablet = queries.tablet_row(session, tablet_id, clock.now())
    if tablet.revoked_at is not None:
        return see_other(f"/people/tablets/{tablet_id}")
    return page(request, "people/tablet_revoke.html", TabletPage(tablet, blank()))


@router.post("/people/tablets/{tablet_id}/revoke")
def revoke(request: Request, db: Db, caller: Supervisor, raw: Posted, tablet_id: int) -> Response:
    """Take a tablet out of use."""
    form = check(Versioned, raw)
    if form.data is None:
        return _tablet_page(request, db, tablet_id, form, status=422)
    with db.write() as session:
        actions.revoke_tablet(session, tablet_id, form.data.version, clock.now(), caller.person_id)
    return see_other(f"/people/tablets/{tablet_id}")


def _tablets_page(
    request: Request, db: Database, form: Form[Any], status: int = 200, made: NewCode | None = None
) -> Response:
    at = clock.now()
    with db.read() as session:
        shown = TabletsPage(queries.tablet_list(session, at), queries.open_codes(session, at), form, made)
    return page(request, "people/tablets.html", shown, status=status)


def _tablet_page(
    request: Request, db: Database, tablet_id: int, form: Form[Any] | None = None, status: int = 200
) -> Response:
    with db.read() as session:
        tablet = queries.tablet_row(session, tablet_id, clock.now())
    return page(request, "people/tablet.html", TabletPage(tablet, form or blank(label=tablet.label)), status=status)


def _qr_svg(text: str) -> Markup:
    """Return a QR code as inline SVG, black on white in every theme: few readers take it the other way round."""
    drawn = segno.make(text, error="m", micro=False).svg_inline(border=4, omitsize=True, dark="#000", light="#fff")
    return Markup(drawn)  # noqa: S704  Drawn by segno from our own text.
