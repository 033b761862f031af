"""HTTP: one-time links, for the first supervisor and for choosing a new secret."""

from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people import actions, queries
from app.people.access import AnonymousForm, Anyone
from app.people.forms import Setup
from app.people.pages import SetupPage
from app.people.secrets import token_hash
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, blank, check
from app.platform.web import Db, page, see_other

router = APIRouter(include_in_schema=False)


@router.get("/setup/{token}")
def show_setup(request: Request, db: Db, _anyone: Anyone, token: str) -> Response:
    """Show what the link is for."""
    return _setup_page(request, db, token, blank())


@router.post("/setup/{token}")
def use_setup(request: Request, db: Db, _anyone: Anyone, raw: AnonymousForm, token: str) -> Response:
    """Use the link up, then go to the sign-in page."""
    form = check(Setup, raw)
    if form.data is not None and form.data.secret != form.data.again:
        form = form.wrong("again", "The two differ. Write the same one twice.")
    if form.data is None:
        return _setup_page(request, db, token, form, status=422)
    try:
        with db.write() as session:
            person_id = actions.use_setup_link(session, token, form.data.name, form.data.secret, clock.now())
            name = queries.member(session, person_id).name
    except Refused as refusal:
        return _setup_page(request, db, token, form.refused(refusal), status=409)
    return see_other(f"/sign-in?{urlencode({'name': name})}")


def _setup_page(request: Request, db: Database, token: str, form: Form[Any], status: int = 200) -> Response:
    with db.read() as session:
        link = queries.usable_link(session, token_hash(token), clock.now())
    if link is None and status == 200:
        status = 404
    return page(request, "people/setup.html", SetupPage(form, link), status=status)
