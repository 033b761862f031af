"""Errors as one page and one JSON shape: what went wrong and what to do next."""

import secrets
from dataclasses import dataclass
from typing import Any

import structlog
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from starlette.exceptions import HTTPException

from app.platform.errors import (
    AlreadyDone,
    Conflict,
    Forbidden,
    NotFound,
    NotSignedIn,
    Refused,
    Stale,
    TooMany,
)
from app.platform.web import is_partial, page, problem, see_other, wants_json

log = structlog.get_logger()


@dataclass(frozen=True)
class ErrorPage:
    """The error page: ``title`` says what happened, ``detail`` what to do; ``changes`` what is new since."""

    status: int
    title: str
    detail: str
    changes: tuple[str, ...] = ()
    back: str = ""
    reference: str = ""


def answer(request: Request, shown: ErrorPage, headers: dict[str, str] | None = None) -> Response:
    """Answer with the error page, or with problem+json for the API."""
    if wants_json(request):
        more: dict[str, Any] = {"changes": list(shown.changes)} if shown.changes else {}
        if shown.reference:
            more["reference"] = shown.reference
        found = problem(shown.status, shown.title, shown.detail, **more)
        found.headers.update(headers or {})
        return found
    return page(request, "error.html", shown, status=shown.status, headers=headers)


def _not_signed_in(request: Request, error: Any) -> Response:
    if wants_json(request):
        found = problem(401, "Not signed in", error.detail or "Send a bearer token that a supervisor made.")
        if not error.detail:
            found.headers["WWW-Authenticate"] = "Bearer"
        return found
    path = request.url.path if request.method == "GET" else "/"
    target = "/sign-in" if path == "/" else f"/sign-in?next={path}"
    if is_partial(request):
        return Response(status_code=401, headers={"HX-Redirect": target})
    return see_other(target)


def _refused(request: Request, error: Any) -> Response:
    return answer(request, ErrorPage(409, "That is not possible now", error.reason, back=_back(request)))


def _stale(request: Request, error: Any) -> Response:
    detail = "Nothing of what you sent was stored. Look at what is new, then make your change again."
    shown = ErrorPage(409, str(error), detail, error.changes, error.location or _back(request))
    return answer(request, shown)


def _back(request: Request) -> str:
    return request.url.path if request.method == "GET" else ""


def _http(request: Request, error: Any) -> Response:
    words = {
        404: ("There is no such page", "Check the address, or start from the first page."),
        405: ("This address does not take that request", "Start from the first page."),
        413: ("That is too large", "Send a smaller file."),
    }
    title, detail = words.get(error.status_code, ("The request was not understood", str(error.detail)))
    return answer(request, ErrorPage(error.status_code, title, detail), dict(error.headers or {}))


def _invalid(request: Request, error: Any) -> Response:
    first = error.errors()[0]
    where = ".".join(str(p) for p in first["loc"])
    if wants_json(request):
        errors = [{"where": ".".join(str(p) for p in e["loc"]), "message": e["msg"]} for e in error.errors()]
        return problem(422, "The request is not valid", f"{where}: {first['msg']}", errors=errors)
    return answer(request, ErrorPage(422, "Part of the address or form is not valid", f"{where}: {first['msg']}."))


def _database(request: Request, error: Exception) -> Response:
    reference = secrets.token_hex(4)
    log.error("database error", reference=reference, path=request.url.path, error=str(error))
    if request.app.state.db.out_of_space(error):
        shown = ErrorPage(507, "The disk is full", "Nothing was stored. Free some space; then send it again.")
    else:
        shown = ErrorPage(
            503,
            "The database does not answer",
            "Nothing was stored. Wait a moment; then send it again.",
            reference=reference,
        )
    return answer(request, shown, {"Retry-After": "5"})


def _rival(request: Request, error: Exception) -> Response:
    log.warning("integrity conflict", path=request.url.path, error=str(error))
    detail = "Nothing was stored. Look at it as it is now, then make your change again."
    return answer(request, ErrorPage(409, "Somebody else stored something that this conflicts with", detail))


def _unexpected(request: Request, error: Exception) -> Response:
    reference = secrets.token_hex(4)
    log.error("unexpected error", reference=reference, path=request.url.path, exc_info=error)
    shown = ErrorPage(
        500,
        "Something went wrong on our side",
        "Nothing of this request was stored. Try again; if it happens again, tell your supervisor the reference.",
        reference=reference,
    )
    return answer(request, shown)


def install(app: FastAPI) -> None:
    """Give the app its error answers."""
    add = app.add_exception_handler
    add(NotSignedIn, _not_signed_in)
    add(AlreadyDone, lambda _request, error: see_other(error.location or "/"))
    add(Refused, _refused)
    add(Stale, _stale)
    add(Conflict, lambda r, e: answer(r, ErrorPage(409, "This was sent before", e.reason)))
    add(
        NotFound,
        lambda r, e: answer(r, ErrorPage(404, str(e), "Check the number, or look it up in the list.")),
    )
    add(Forbidden, lambda r, e: answer(r, ErrorPage(403, "Your role may not do this", e.reason)))
    add(
        TooMany,
        lambda r, e: answer(
            r,
            ErrorPage(429, "Too many tries", e.reason),
            {"Retry-After": str(e.retry_s)},
        ),
    )
    add(HTTPException, _http)
    add(RequestValidationError, _invalid)
    add(IntegrityError, _rival)
    add(OperationalError, _database)
    add(DBAPIError, _database)
    add(PoolTimeout, _database)
    add(Exception, _unexpected)
