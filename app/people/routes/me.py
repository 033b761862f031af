"""HTTP: a person's own page."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people import actions, queries
from app.people.access import Caller, Everybody, Posted
from app.people.forms import Display, SecretChange
from app.people.models import Role
from app.people.pages import HAND_CHOICES, THEME_CHOICES, TONE_CHOICES, MePage
from app.people.routes.signing import local_path
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused, TooMany
from app.platform.forms import Form, blank, check
from app.platform.web import Db, client_address, page, see_other

router = APIRouter(include_in_schema=False)


@router.get("/me")
def show_me(request: Request, db: Db, caller: Everybody, changed: bool = False) -> Response:
    """Show a person's preferences, secret and sign-ins."""
    return _me_page(request, db, caller, blank(), changed=changed)


@router.post("/me/display")
def set_display(request: Request, db: Db, caller: Everybody, raw: Posted) -> Response:
    """Keep a preference and go back to where it was chosen."""
    form = check(Display, raw)
    if form.data is None:
        return _me_page(request, db, caller, form, status=422)
    with db.write() as session:
        actions.set_preferences(session, caller.person_id, form.data.theme, form.data.hand, form.data.tones)
    return see_other(local_path(raw.get("next")) or "/me")


@router.post("/me/secret")
def change_secret(request: Request, db: Db, caller: Everybody, raw: Posted) -> Response:
    """Change one's own secret; the present one is rate-limited like a sign-in."""
    form = check(SecretChange, raw)
    if form.data is not None and form.data.new != form.data.again:
        form = form.wrong("again", "The two differ. Write the same one twice.")
    if form.data is None:
        return _me_page(request, db, caller, form, status=422)
    at = clock.now()
    try:
        with db.write() as session:
            actions.verify_person(session, caller.name, form.data.old, at, client_address(request), "old")
            actions.change_secret(session, caller.person_id, form.data.new, at, keep=caller.sign_in_id)
    except TooMany as limit:
        return _me_page(request, db, caller, form.wrong("old", limit.reason), status=429)
    except Refused as refusal:
        if refusal.field == "old":
            refusal = Refused("This is not your present one.", "old")
        return _me_page(request, db, caller, form.refused(refusal), status=409)
    return see_other("/me?changed=true")


@router.post("/me/sign-ins/{sign_in_id}/revoke")
def revoke(db: Db, caller: Everybody, _raw: Posted, sign_in_id: int) -> Response:
    """Sign oneself out on another tablet or machine."""
    with db.write() as session:
        actions.sign_out_elsewhere(session, caller.person_id, sign_in_id, clock.now())
    return see_other("/me")


def _me_page(
    request: Request, db: Database, caller: Caller, form: Form[Any], status: int = 200, changed: bool = False
) -> Response:
    with db.read() as session:
        sign_ins = queries.open_sign_ins(session, caller.person_id, clock.now())
    shown = MePage(
        form,
        caller.role is Role.TECHNICIAN,
        sign_ins,
        caller.sign_in_id,
        THEME_CHOICES,
        HAND_CHOICES,
        TONE_CHOICES,
        changed,
    )
    return page(request, "people/me.html", shown, status=status)
