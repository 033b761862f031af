"""HTTP: API tokens, made and revoked by a supervisor."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people import actions, queries
from app.people.access import Posted, Supervisor
from app.people.forms import NewToken
from app.people.pages import TOKEN_ROLES, TokensPage
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, blank, check
from app.platform.submissions import claim, settle
from app.platform.web import Db, page, see_other

router = APIRouter(include_in_schema=False)


@router.get("/tokens")
def list_tokens(request: Request, db: Db, _caller: Supervisor) -> Response:
    """Show all API tokens."""
    return _tokens_page(request, db, blank())


@router.post("/tokens")
def make_token(request: Request, db: Db, caller: Supervisor, raw: Posted) -> Response:
    """Make a token and show it once."""
    form = check(NewToken, raw)
    if form.data is None:
        return _tokens_page(request, db, form, status=422)
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            token = actions.make_token(session, form.data.label, form.data.role, at, caller.person_id)
            settle(session, key, "/tokens")
    except Refused as refusal:
        return _tokens_page(request, db, form.refused(refusal), status=409)
    return _tokens_page(request, db, blank(), token=token)


@router.post("/tokens/{token_id}/revoke")
def revoke_token(db: Db, _caller: Supervisor, _raw: Posted, token_id: int) -> Response:
    """Make a token useless."""
    with db.write() as session:
        actions.revoke_token(session, token_id, clock.now())
    return see_other("/tokens")


def _tokens_page(request: Request, db: Database, form: Form[Any], status: int = 200, token: str = "") -> Response:
    with db.read() as session:
        found = queries.tokens(session)
    return page(request, "people/tokens.html", TokensPage(found, form, TOKEN_ROLES, token), status=status)
