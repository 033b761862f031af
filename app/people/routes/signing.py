"""HTTP: sign in and out."""

from datetime import timedelta
from typing import Any
from urllib.parse import urlsplit

import structlog
from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people import actions, queries
from app.people.access import (
    COOKIE,
    SECURE_COOKIE,
    AnonymousForm,
    Anyone,
    Everybody,
    OptionalCaller,
    Posted,
    cookie_of,
)
from app.people.actions.signing import WRONG
from app.people.demo_staff import demo_sign_ins
from app.people.models import Role
from app.people.pages import DemoSignIn, SignInPage
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused, TooMany
from app.platform.forms import Form, blank
from app.platform.settings import Settings
from app.platform.web import Db, SiteSettings, client_address, get_settings, page, see_other

router = APIRouter(include_in_schema=False)
log = structlog.get_logger()

# The server decides when a sign-in ends; the browser only must not forget the cookie before that.
COOKIE_LASTS_S = 30 * 24 * 3600
FIRST_PAGE = {Role.STORES: "/stores"}


def local_path(target: str) -> str:
    """Return the target when it is a path of this site, otherwise nothing: no sign-in leads elsewhere."""
    plain = target.isprintable() and "\\" not in target
    if not plain or not target.startswith("/") or target.startswith("//") or len(target) > 300:
        return ""
    parts = urlsplit(target)
    return "" if parts.scheme or parts.netloc else target


@router.get("/sign-in")
def show_sign_in(
    request: Request, db: Db, _anyone: Anyone, caller: OptionalCaller, next: str = "", name: str = ""
) -> Response:
    """Show the sign-in page; somebody who is signed in goes on to where they wanted."""
    if caller is not None:
        return see_other(local_path(next) or FIRST_PAGE.get(caller.role, "/"))
    return _sign_in_page(request, db, blank(name=name), local_path(next))


@router.post("/sign-in")
def sign_in(request: Request, db: Db, settings: SiteSettings, _anyone: Anyone, raw: AnonymousForm) -> Response:
    """Check name and secret; set the cookie."""
    name, secret, target = raw.get("name"), raw.get("secret"), local_path(raw.get("next"))
    form = blank(name=name)
    at, address = clock.now(), client_address(request)
    if not name or not secret:
        for field in ("name", "secret"):
            if not raw.get(field):
                form = form.wrong(field, "Fill this in.")
        return _sign_in_page(request, db, form, target, status=422)
    try:
        with db.write() as session:
            attempt = actions.begin_attempt(session, name, at, address)
    except TooMany as limit:
        log.warning("sign-in limit reached", name=name, address=address)
        return _sign_in_page(request, db, form.wrong("secret", limit.reason), target, status=429, retry_s=limit.retry_s)
    # The slow hash is worked out between the two transactions, so that nobody's tick waits for it.
    if not attempt.right(secret[:200]):
        log.info("sign-in failed", name=name, address=address)
        return _sign_in_page(request, db, form.refused(Refused(WRONG, "secret")), target, status=409)
    with db.write() as session:
        token = actions.sign_in(
            session,
            attempt,
            at=at,
            lasts=timedelta(hours=settings.session_hours),
            agent=request.headers.get("user-agent", ""),
            address=address,
            replaces=cookie_of(request),
        )
        role = queries.role_of(session, attempt.person_id)
    answer = see_other(target or FIRST_PAGE.get(role, "/"))
    give_cookie(answer, settings, token)
    return answer


@router.post("/sign-out")
def sign_out(request: Request, db: Db, settings: SiteSettings, caller: Everybody, _raw: Posted) -> Response:
    """End the sign-in of this browser."""
    with db.write() as session:
        actions.sign_out(session, caller.sign_in_id or 0, clock.now())
    answer = see_other("/sign-in")
    for cookie in (COOKIE, SECURE_COOKIE):
        answer.delete_cookie(
            cookie, path="/", secure=cookie == SECURE_COOKIE or settings.secure_cookies, httponly=True, samesite="lax"
        )
    return answer


def give_cookie(answer: Response, settings: Settings, token: str) -> None:
    """Set the sign-in cookie: not for scripts, not for other sites' posts, over TLS alone where that is set."""
    answer.set_cookie(
        SECURE_COOKIE if settings.secure_cookies else COOKIE,
        token,
        max_age=COOKIE_LASTS_S,
        path="/",
        secure=settings.secure_cookies,
        httponly=True,
        samesite="lax",
    )


def _sign_in_page(
    request: Request, db: Database, form: Form[Any], target: str, status: int = 200, retry_s: int = 0
) -> Response:
    with db.read() as session:
        technicians = queries.active_names(session, Role.TECHNICIAN)
    demo: tuple[DemoSignIn, ...] = ()
    if get_settings(request).demo:
        demo = tuple(DemoSignIn(name, role.value, secret) for name, role, secret in demo_sign_ins())
    chosen = form.value("name") if form.value("name") in technicians else ""
    shown = SignInPage(form, target, technicians, chosen, demo)
    headers = {"Retry-After": str(retry_s)} if retry_s else None
    return page(request, "people/sign_in.html", shown, status=status, headers=headers)
