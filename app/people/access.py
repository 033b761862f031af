"""Who may use a route. Every route declares it with one of the aliases at the end of this file.

``Anyone`` is for pages before sign-in; the others name roles. ``Posted`` reads a form of a signed-in person and
checks its token. A test walks all routes and fails on one without such a declaration.
"""

import hashlib
import hmac
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated

import structlog
from fastapi import Depends, Request
from sqlalchemy.exc import SQLAlchemyError

from app.people import actions, queries
from app.people.models import Role
from app.people.secrets import token_hash
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Forbidden, NotSignedIn
from app.platform.forms import RawForm
from app.platform.web import SAFE_METHODS, Db, SiteSettings, get_settings, read_form, same_origin

log = structlog.get_logger()

COOKIE = "countback"
SECURE_COOKIE = "__Host-countback"
# How often a use is written down: often enough to end an idle sign-in on time, seldom enough to cost nothing.
NOTE_EVERY = timedelta(minutes=5)
ROLE_WORDS = {Role.TECHNICIAN: "technicians", Role.STORES: "stores clerks", Role.SUPERVISOR: "supervisors"}


@dataclass(frozen=True)
class Caller:
    """The person (or API token) behind a request."""

    person_id: int
    name: str
    role: Role
    theme: str
    hand: str
    sign_in_id: int | None
    csrf: str
    token_label: str = ""


def csrf_token(cookie: str) -> str:
    """Return the form token that belongs to a sign-in cookie."""
    return hmac.new(cookie.encode(), b"countback form token", hashlib.sha256).hexdigest()


def cookie_of(request: Request) -> str | None:
    """Return the sign-in cookie of a request, under either name."""
    return request.cookies.get(SECURE_COOKIE) or request.cookies.get(COOKIE)


def find_caller(request: Request, db: Db) -> Caller | None:
    """Return who is signed in, or None; keeps it on the request for the page frame."""
    cookie = cookie_of(request)
    if not cookie:
        return None
    at = clock.now()
    with db.read() as session:
        found = queries.signed_in(session, token_hash(cookie), at)
    if found is None:
        return None
    if at - found.last_seen_at >= NOTE_EVERY:
        _keep_signed_in(db, found.sign_in_id, at, timedelta(hours=get_settings(request).session_hours))
    caller = Caller(
        person_id=found.person_id,
        name=found.name,
        role=found.role,
        theme=found.theme,
        hand=found.hand,
        sign_in_id=found.sign_in_id,
        csrf=csrf_token(cookie),
    )
    request.state.caller = caller
    return caller


def _keep_signed_in(db: Database, sign_in_id: int, at: datetime, lasts: timedelta) -> None:
    """Move the end of a sign-in on. A full disk must not keep anybody from reading, so it is only logged."""
    try:
        with db.write() as session:
            actions.see_again(session, sign_in_id, at, lasts)
    except SQLAlchemyError as error:
        log.warning("use of a sign-in not noted", error=str(error))


OptionalCaller = Annotated[Caller | None, Depends(find_caller)]


class Allow:
    """A dependency that lets only the given roles pass; the test of the access matrix reads ``roles``."""

    def __init__(self, *roles: Role) -> None:
        self.roles = frozenset(roles)

    async def __call__(self, caller: OptionalCaller) -> Caller:
        """Return the caller, or raise NotSignedIn or Forbidden."""
        if caller is None:
            raise NotSignedIn
        if caller.role not in self.roles:
            who = " and ".join(ROLE_WORDS[r] for r in Role if r in self.roles)
            raise Forbidden(f"Only {who} may do this. You are signed in as {caller.name}.")
        return caller


class AllowAnyone:
    """A dependency that declares a route public."""

    roles: frozenset[Role] = frozenset()

    async def __call__(self, request: Request, settings: SiteSettings) -> None:
        """Check only that an unsafe request comes from our own pages."""
        if request.method not in SAFE_METHODS and not same_origin(request, settings):
            raise Forbidden("This form came from another site. Open the page here and send it again.")


class AllowToken:
    """A dependency of API routes: a bearer token, or a signed-in browser for reading, with one of the roles."""

    def __init__(self, *roles: Role) -> None:
        self.roles = frozenset(roles)

    def __call__(self, request: Request, db: Db) -> Caller:
        """Return the token's caller; raises NotSignedIn or Forbidden."""
        scheme, _, token = request.headers.get("authorization", "").partition(" ")
        caller: Caller | None = None
        if scheme.lower() == "bearer" and token:
            caller = _token_caller(db, token_hash(token.strip()))
        elif request.method in SAFE_METHODS:
            caller = find_caller(request, db)
        if caller is None:
            raise NotSignedIn
        if caller.role not in self.roles:
            raise Forbidden("This token's role may not do this. Ask a supervisor for another token.")
        return caller


def _token_caller(db: Database, hashed: str) -> Caller | None:
    at = clock.now()
    with db.read() as session:
        found = queries.token_holder(session, hashed)
    if found is None:
        return None
    if found.last_used_at is None or at - found.last_used_at >= NOTE_EVERY:
        try:
            with db.write() as session:
                actions.note_token_use(session, found.token_id, at)
        except SQLAlchemyError as error:
            log.warning("use of a token not noted", error=str(error))
    return Caller(found.person_id, found.name, found.role, "auto", "right", None, "", token_label=found.label)


async def posted(request: Request, caller: OptionalCaller, settings: SiteSettings) -> RawForm:
    """Read a signed-in person's form; refuses one from another site or without the right token."""
    if caller is None:
        raise NotSignedIn
    if not same_origin(request, settings):
        raise Forbidden("This form came from another site. Open the page here and send it again.")
    form = await read_form(request)
    given = form.get("csrf_token") or request.headers.get("X-CSRF-Token", "")
    if not hmac.compare_digest(given.encode(), caller.csrf.encode()):
        raise Forbidden("This form belongs to an earlier sign-in. Reload the page and send it again.")
    return form


EVERYBODY = (Role.TECHNICIAN, Role.STORES, Role.SUPERVISOR)

Anyone = Annotated[None, Depends(AllowAnyone())]
Everybody = Annotated[Caller, Depends(Allow(*EVERYBODY))]
Bench = Annotated[Caller, Depends(Allow(Role.TECHNICIAN, Role.SUPERVISOR))]
Stores = Annotated[Caller, Depends(Allow(Role.STORES, Role.SUPERVISOR))]
Supervisor = Annotated[Caller, Depends(Allow(Role.SUPERVISOR))]
Posted = Annotated[RawForm, Depends(posted)]
AnonymousForm = Annotated[RawForm, Depends(read_form)]
ApiEverybody = Annotated[Caller, Depends(AllowToken(*EVERYBODY))]
ApiBench = Annotated[Caller, Depends(AllowToken(Role.TECHNICIAN, Role.SUPERVISOR))]
ApiStores = Annotated[Caller, Depends(AllowToken(Role.STORES, Role.SUPERVISOR))]
ApiSupervisor = Annotated[Caller, Depends(AllowToken(Role.SUPERVISOR))]
