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
    SECURE_TABLET_COOKIE,
    TABLET_COOKIE,
    AnonymousForm,
    Anyone,
    Everybody,
    OptionalCaller,
    Posted,
    ThisTablet,
    cookie_of,
    tablet_cookie_of,
)
from app.people.actions.signing import WRONG
from app.people.demo_staff import demo_sign_ins
from app.people.models import Role
from app.people.pages import DemoSignIn, SignInPage
from app.people.queries import KnownTablet
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused, TooMany
from app.platform.forms import Form, blank
from app.platform.settings import Settings
from app.platform.web import Db, SiteSettings, client_address, get_settings, page, see_other
from app.rules.tablets import check_pin_place

router = APIRouter(include_in_schema=False)
log = structlog.get_logger()

# The server decides when a sign-in ends; the browser only must not forget the cookie before that.
COOKIE_LASTS_S = 30 * 24 * 3600
# Browsers keep no cookie longer than 400 days; each sign-in on the tablet begins them anew.
TABLET_COOKIE_LASTS_S = 400 * 24 * 3600
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
    request: Request,
    db: Db,
    _anyone: Anyone,
    caller: OptionalCaller,
    tablet: ThisTablet,
    next: str = "",
    name: str = "",
) -> Response:
    """Show the sign-in page; somebody who is signed in goes on to where they wanted."""
    if caller is not None:
        return see_other(local_path(next) or FIRST_PAGE.get(caller.role, "/"))
    return _sign_in_page(request, db, tablet, blank(name=name), local_path(next))


@router.post("/sign-in")
def sign_in(
    request: Request, db: Db, settings: SiteSettings, _anyone: Anyone, tablet: ThisTablet, raw: AnonymousForm
) -> Response:
    """Check name and secret; set the cookie. A PIN is refused, unlooked at, anywhere but on an enrolled tablet."""
    name, secret, target = raw.get("name"), raw.get("secret"), local_path(raw.get("next"))
    form = blank(name=name)
    at, address = clock.now(), client_address(request)

    def again(shown: Form[Any], status: int, retry_s: int = 0) -> Response:
        return _sign_in_page(request, db, tablet, shown, target, status=status, retry_s=retry_s)

    if not name or not secret:
        for field in ("name", "secret"):
            if not raw.get(field):
                form = form.wrong(field, "Fill this in.")
        return again(form, 422)
    enrolled = tablet is not None and tablet.enrolled
    try:
        with db.write() as session:
            pin = queries.role_named(session, name) is Role.TECHNICIAN
            check_pin_place(pin=pin, enrolled=enrolled, demo=settings.demo)
            attempt = actions.begin_attempt(session, name, at, address)
    except Refused as refusal:
        return again(form.refused(refusal), 409)
    except TooMany as limit:
        log.warning("sign-in limit reached", name=name, address=address)
        return again(form.wrong("secret", limit.reason), 429, limit.retry_s)
    # The slow hash is worked out between the two transactions, so that nobody's tick waits for it.
    if not attempt.right(secret[:200]):
        log.info("sign-in failed", name=name, address=address)
        return again(form.refused(Refused(WRONG, "secret")), 409)
    with db.write() as session:
        token = actions.sign_in(
            session,
            attempt,
            at=at,
            lasts=timedelta(hours=settings.session_hours),
            agent=request.headers.get("user-agent", ""),
            address=address,
            replaces=cookie_of(request),
            tablet_id=tablet.id if tablet is not None and enrolled else None,
        )
        role = queries.role_of(session, attempt.person_id)
    answer = see_other(target or FIRST_PAGE.get(role, "/"))
    give_cookie(answer, settings, token)
    if enrolled:
        give_tablet_cookie(answer, settings, tablet_cookie_of(request) or "")
    return answer


@router.post("/sign-out")
def sign_out(request: Request, db: Db, settings: SiteSettings, caller: Everybody, _raw: Posted) -> Response:
    """Sign the person out on this browser. What waits on the tablet is still sent, under their right."""
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
    _set(answer, settings, SECURE_COOKIE if settings.secure_cookies else COOKIE, token, COOKIE_LASTS_S)


def give_tablet_cookie(answer: Response, settings: Settings, token: str) -> None:
    """Set the cookie of an enrolled tablet, guarded like that of a sign-in but kept as long as browsers keep one."""
    name = SECURE_TABLET_COOKIE if settings.secure_cookies else TABLET_COOKIE
    _set(answer, settings, name, token, TABLET_COOKIE_LASTS_S)


def _set(answer: Response, settings: Settings, name: str, value: str, lasts_s: int) -> None:
    answer.set_cookie(
        name,
        value,
        max_age=lasts_s,
        path="/",
        secure=settings.secure_cookies,
        httponly=True,
        samesite="lax",
    )


def _sign_in_page(
    request: Request,
    db: Database,
    tablet: KnownTablet | None,
    form: Form[Any],
    target: str,
    status: int = 200,
    retry_s: int = 0,
) -> Response:
    settings = get_settings(request)
    enrolled = tablet is not None and tablet.enrolled
    technicians: tuple[str, ...] = ()
    if enrolled or settings.demo:
        with db.read() as session:
            technicians = queries.active_names(session, Role.TECHNICIAN)
    demo: tuple[DemoSignIn, ...] = ()
    if settings.demo:
        demo = tuple(DemoSignIn(name, role.value, secret) for name, role, secret in demo_sign_ins())
    shown = SignInPage(
        form=form,
        next=target,
        technicians=technicians,
        pins=enrolled or settings.demo,
        tablet=tablet.label if tablet is not None and enrolled else "",
        revoked=tablet is not None and not enrolled,
        chosen=form.value("name") if form.value("name") in technicians else "",
        demo=demo,
    )
    headers = {"Retry-After": str(retry_s)} if retry_s else None
    return page(request, "people/sign_in.html", shown, status=status, headers=headers)
