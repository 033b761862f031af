"""HTTP: the supervisor's pages about staff."""

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.people import actions, queries
from app.people.access import Posted, Supervisor
from app.people.forms import NewPerson, RoleChange, Versioned
from app.people.pages import ROLE_CHOICES, NewPersonPage, PersonPage, StaffPage
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, blank, check
from app.platform.submissions import claim, settle
from app.platform.web import Db, page, see_other

router = APIRouter(include_in_schema=False)


@router.get("/people")
def list_people(request: Request, db: Db, _caller: Supervisor) -> Response:
    """Show all staff."""
    with db.read() as session:
        found = queries.staff(session)
    return page(request, "people/list.html", StaffPage(found))


@router.get("/people/new")
def new_person(request: Request, _caller: Supervisor) -> Response:
    """Show the form for a new member of staff."""
    return page(request, "people/new.html", NewPersonPage(blank(role="technician"), ROLE_CHOICES))


@router.post("/people/new")
def add_person(request: Request, db: Db, caller: Supervisor, raw: Posted) -> Response:
    """Add a member of staff and show the one-time link for choosing a secret."""
    form = check(NewPerson, raw)
    if form.data is None:
        return page(request, "people/new.html", NewPersonPage(form, ROLE_CHOICES), status=422)
    at = clock.now()
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            person_id = actions.add_person(session, form.data.name, form.data.role, None, at)
            token = actions.make_setup_link(session, person_id, at)
            settle(session, key, f"/people/{person_id}")
    except Refused as refusal:
        return page(request, "people/new.html", NewPersonPage(form.refused(refusal), ROLE_CHOICES), status=409)
    return _person_page(request, db, person_id, blank(), token=token)


@router.get("/people/{person_id}")
def show_person(request: Request, db: Db, _caller: Supervisor, person_id: int) -> Response:
    """Show one member of staff."""
    return _person_page(request, db, person_id, blank())


@router.post("/people/{person_id}/role")
def change_role(request: Request, db: Db, caller: Supervisor, raw: Posted, person_id: int) -> Response:
    """Give a person another role; where a new secret is needed, show the link for it."""
    form = check(RoleChange, raw)
    if form.data is None:
        return _person_page(request, db, person_id, form, status=422)
    data, at = form.data, clock.now()

    def change(session: Session) -> str:
        needs_secret = actions.change_role(session, person_id, data.role, data.version, at)
        return actions.make_setup_link(session, person_id, at) if needs_secret else ""

    return _do(request, db, raw, caller.person_id, person_id, form, change)


@router.post("/people/{person_id}/deactivate")
def deactivate(request: Request, db: Db, caller: Supervisor, raw: Posted, person_id: int) -> Response:
    """Let a person sign in no more."""
    return _change_active(request, db, caller.person_id, raw, person_id, False)


@router.post("/people/{person_id}/reactivate")
def reactivate(request: Request, db: Db, caller: Supervisor, raw: Posted, person_id: int) -> Response:
    """Let a person sign in again."""
    return _change_active(request, db, caller.person_id, raw, person_id, True)


@router.post("/people/{person_id}/link")
def make_link(request: Request, db: Db, caller: Supervisor, raw: Posted, person_id: int) -> Response:
    """Make a one-time link for choosing a new secret and show it once."""
    at = clock.now()
    return _do(
        request,
        db,
        raw,
        caller.person_id,
        person_id,
        blank(),
        lambda session: actions.make_setup_link(session, person_id, at),
    )


@router.post("/people/{person_id}/revoke")
def revoke_sign_ins(request: Request, db: Db, caller: Supervisor, raw: Posted, person_id: int) -> Response:
    """End all sign-ins of a person."""
    at = clock.now()

    def change(session: Session) -> str:
        queries.member(session, person_id)
        actions.revoke_all(session, person_id, at)
        return ""

    return _do(request, db, raw, caller.person_id, person_id, blank(), change)


def _change_active(request: Request, db: Database, who: int, raw: RawForm, person_id: int, active: bool) -> Response:
    form = check(Versioned, raw)
    if form.data is None:
        return _person_page(request, db, person_id, form, status=422)
    version, at = form.data.version, clock.now()

    def change(session: Session) -> str:
        if active:
            actions.reactivate(session, person_id, version)
        else:
            actions.deactivate(session, person_id, version, at)
        return ""

    return _do(request, db, raw, who, person_id, form, change)


def _do(
    request: Request,
    db: Database,
    raw: RawForm,
    who: int,
    person_id: int,
    form: Form[Any],
    change: Callable[[Session], str],
) -> Response:
    """Do a change once; a secret it returns is shown at once, as it is kept nowhere."""
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), who, clock.now())
            token = change(session)
            settle(session, key, f"/people/{person_id}")
    except Refused as refusal:
        return _person_page(request, db, person_id, form.refused(refusal), status=409)
    if token:
        return _person_page(request, db, person_id, blank(), token=token)
    return see_other(f"/people/{person_id}")


def _person_page(
    request: Request, db: Database, person_id: int, form: Form[Any], status: int = 200, token: str = ""
) -> Response:
    with db.read() as session:
        person = queries.member(session, person_id)
        sign_ins = queries.open_sign_ins(session, person_id, clock.now())
    if not form.value("role"):
        form = Form({**form.values, "role": person.role.value}, form.errors, form.refusal)
    link = f"{str(request.base_url).rstrip('/')}/setup/{token}" if token else ""
    shown = PersonPage(person, form, ROLE_CHOICES, sign_ins, link)
    return page(request, "people/person.html", shown, status=status)
