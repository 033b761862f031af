"""Who may use a route. Every route declares it with one of the aliases at the end of this file.

``Anyone`` is for pages before sign-in; the others name roles. ``Posted`` reads a form of a signed-in person and
checks its token, ``PostedLarge`` one with large files. ``TapRight`` is for what a tablet sends from its outbox: it
goes under the right of the person who tapped, whoever is signed in by now. A test walks all routes and fails on one
without such a declaration.
"""

import hashlib
import hmac
from collections.abc import AsyncIterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated

import structlog
from fastapi import Depends, Request
from sqlalchemy.exc import SQLAlchemyError

from app.people import actions, queries
from app.people.models import Role
from app.people.queries import KnownTablet, Tapper
from app.people.secrets import tap_right, token_hash
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Forbidden, NotSignedIn
from app.platform.forms import RawForm
from app.platform.media import MB, LargeForm, read_large_form
from app.platform.web import SAFE_METHODS, TAP_HEADER, Db, SiteSettings, get_settings, read_form, same_origin

log = structlog.get_logger()

COOKIE = "countback"
SECURE_COOKIE = "__Host-countback"
TABLET_COOKIE = "countback-tablet"
SECURE_TABLET_COOKIE = "__Host-countback-tablet"
# How often a use is written down: often enough to end an idle sign-in on time, seldom enough to cost nothing.
NOTE_EVERY = timedelta(minutes=5)
ROLE_WORDS = {Role.TECHNICIAN: "technicians", Role.STORES: "stores clerks", Role.SUPERVISOR: "supervisors"}


@dataclass(frozen=True)
class Caller:
    """The person (or API token) behind a request.

    ``tap`` is the right that taps made under this sign-in carry, empty for roles that never work at the bench.
    """

    person_id: int
    name: str
    role: Role
    theme: str
    hand: str
    sign_in_id: int | None
    csrf: str
    token_label: str = ""
    tones: str = "soft"
    tap: str = ""
    tablet_id: int | None = None


def csrf_token(cookie: str) -> str:
    """Return the form token that belongs to a sign-in cookie."""
    return hmac.new(cookie.encode(), b"countback form token", hashlib.sha256).hexdigest()


def cookie_of(request: Request) -> str | None:
    """Return the sign-in cookie of a request, under either name."""
    return request.cookies.get(SECURE_COOKIE) or request.cookies.get(COOKIE)


def tablet_cookie_of(request: Request) -> str | None:
    """Return the cookie of an enrolled tablet, under either name."""
    return request.cookies.get(SECURE_TABLET_COOKIE) or request.cookies.get(TABLET_COOKIE)


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
    if found.tablet_id is not None and (found.tablet_seen_at is None or at - found.tablet_seen_at >= NOTE_EVERY):
        _note_page_load(db, found.tablet_id, at)
    tap = ""
    if found.role in queries.BENCH_ROLES and (found.has_tap_right or _keep_tap_right(db, found.sign_in_id, cookie)):
        tap = tap_right(cookie)
    caller = Caller(
        person_id=found.person_id,
        name=found.name,
        role=found.role,
        theme=found.theme,
        hand=found.hand,
        sign_in_id=found.sign_in_id,
        csrf=csrf_token(cookie),
        tones=found.tones,
        tap=tap,
        tablet_id=found.tablet_id,
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


def _note_page_load(db: Database, tablet_id: int, at: datetime) -> None:
    """Note that a tablet is in use; like the above, it keeps nobody from reading."""
    try:
        with db.write() as session:
            actions.note_page_load(session, tablet_id, at)
    except SQLAlchemyError as error:
        log.warning("contact of a tablet not noted", error=str(error))


def find_tablet(request: Request, db: Db) -> KnownTablet | None:
    """Return the tablet a request comes from, revoked or not, and note its contact; None for any other browser."""
    cookie = tablet_cookie_of(request)
    if not cookie:
        return None
    at = clock.now()
    with db.read() as session:
        found = queries.known_tablet(session, token_hash(cookie))
    if found is not None and (found.last_seen_at is None or at - found.last_seen_at >= NOTE_EVERY):
        _note_page_load(db, found.id, at)
    return found


def _keep_tap_right(db: Database, sign_in_id: int, cookie: str) -> bool:
    """Give a sign-in that is older than tap rights its own; False, and none is handed out, when it cannot be stored."""
    try:
        with db.write() as session:
            actions.keep_tap_right(session, sign_in_id, cookie)
    except SQLAlchemyError as error:
        log.warning("tap right not stored", error=str(error))
        return False
    return True


OptionalCaller = Annotated[Caller | None, Depends(find_caller)]
ThisTablet = Annotated[KnownTablet | None, Depends(find_tablet)]


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


UNKNOWN_RIGHT = "The server does not know under whose sign-in this was tapped. It stays on the tablet; sign in again."


class AllowTap:
    """A dependency of the outbox routes: finds who tapped by the right the entry carries, without a sign-in cookie.

    The roles are those of the bench. A right that ended since is let in with ``refused`` set, because what was
    tapped must not be lost: it is kept as a question. A right that no sign-in ever had is not.
    """

    def __init__(self, *roles: Role) -> None:
        self.roles = frozenset(roles)

    def __call__(self, request: Request, db: Db, settings: SiteSettings) -> Tapper:
        """Return whose tap it is; raises Forbidden for another site's request and NotSignedIn for an unknown right."""
        request.state.answers_json = True
        if not same_origin(request, settings):
            raise Forbidden("This came from another site.")
        right, tablet, at = request.headers.get(TAP_HEADER, ""), tablet_cookie_of(request), clock.now()
        if not right:
            raise NotSignedIn(UNKNOWN_RIGHT)
        with db.read() as session:
            found = queries.tapper(session, token_hash(right), token_hash(tablet) if tablet else None, at)
        if found is None:
            raise NotSignedIn(UNKNOWN_RIGHT)
        # Ticking is using the sign-in, as long as it is the one this browser still has.
        cookie = cookie_of(request)
        mine = cookie is not None and token_hash(cookie) == found.cookie_hash
        if mine and found.in_use and at - found.last_seen_at >= NOTE_EVERY:
            _keep_signed_in(db, found.sign_in_id, at, timedelta(hours=settings.session_hours))
        return found


async def posted(request: Request, caller: OptionalCaller, settings: SiteSettings) -> RawForm:
    """Read a signed-in person's form; refuses one from another site or without the right token."""
    if caller is None:
        raise NotSignedIn
    if not same_origin(request, settings):
        raise Forbidden("This form came from another site. Open the page here and send it again.")
    form = await read_form(request)
    _check_token(request, caller, form)
    return form


async def posted_large(request: Request, caller: OptionalCaller, settings: SiteSettings) -> AsyncIterator[LargeForm]:
    """Read a signed-in person's form with a recording or other large files, checked as ``posted`` does.

    The files stay on disk until the answer is sent; the limits are those of the settings.
    """
    if caller is None:
        raise NotSignedIn
    if not same_origin(request, settings):
        raise Forbidden("This form came from another site. Open the page here and send it again.")
    # A pasted text that is a little too long is read all the same, so that it is not lost with the refusal.
    words = settings.words_mb * MB * 3
    async with read_large_form(request, settings.video_mb * MB + words, words) as form:
        _check_token(request, caller, form.raw)
        yield form


def _check_token(request: Request, caller: Caller, form: RawForm) -> None:
    given = form.get("csrf_token") or request.headers.get("X-CSRF-Token", "")
    if not hmac.compare_digest(given.encode(), caller.csrf.encode()):
        raise Forbidden("This form belongs to an earlier sign-in. Reload the page and send it again.")


EVERYBODY = (Role.TECHNICIAN, Role.STORES, Role.SUPERVISOR)

Anyone = Annotated[None, Depends(AllowAnyone())]
Everybody = Annotated[Caller, Depends(Allow(*EVERYBODY))]
Bench = Annotated[Caller, Depends(Allow(Role.TECHNICIAN, Role.SUPERVISOR))]
Stores = Annotated[Caller, Depends(Allow(Role.STORES, Role.SUPERVISOR))]
Supervisor = Annotated[Caller, Depends(Allow(Role.SUPERVISOR))]
TapRight = Annotated[Tapper, Depends(AllowTap(Role.TECHNICIAN, Role.SUPERVISOR))]
Posted = Annotated[RawForm, Depends(posted)]
PostedLarge = Annotated[LargeForm, Depends(posted_large)]
AnonymousForm = Annotated[RawForm, Depends(read_form)]
ApiEverybody = Annotated[Caller, Depends(AllowToken(*EVERYBODY))]
ApiBench = Annotated[Caller, Depends(AllowToken(Role.TECHNICIAN, Role.SUPERVISOR))]
ApiStores = Annotated[Caller, Depends(AllowToken(Role.STORES, Role.SUPERVISOR))]
ApiSupervisor = Annotated[Caller, Depends(AllowToken(Role.SUPERVISOR))]
