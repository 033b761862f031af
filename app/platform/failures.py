"""Errors as one page and one JSON shape: what went wrong and what to do next."""

import secrets
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any
from urllib.parse import quote

import structlog
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from sqlalchemy.exc import DataError, DBAPIError, IntegrityError, OperationalError, StatementError
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
from app.platform.web import harden, is_partial, page, problem, see_other, wants_json

log = structlog.get_logger()


@dataclass(frozen=True)
class ErrorPage:
    """The error page: ``title`` says what happened, ``detail`` what to do; ``changes`` what is new since.

    ``field`` is what a refusal is about, for programs; pages show it beside the field.
    """

    status: int
    title: str
    detail: str
    changes: tuple[str, ...] = ()
    back: str = ""
    reference: str = ""
    field: str = ""


OTHER = (
    "This id was sent before with other content, and that was stored. "
    "Read it as it is now; send a change under an id of its own."
)
TOO_LARGE = HTTPStatus(413).phrase
LESS = "Shorten it, or send a smaller file."
NO_PAGE = ErrorPage(404, "There is no such page", "Check the address, or start from the first page.")


def answer(request: Request, shown: ErrorPage, headers: dict[str, str] | None = None) -> Response:
    """Answer with the error page, or with problem+json for the API."""
    if wants_json(request):
        more: dict[str, Any] = {"changes": list(shown.changes)} if shown.changes else {}
        if shown.reference:
            more["reference"] = shown.reference
        if shown.field:
            more["field"] = shown.field
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
    path = _asked(request) if request.method == "GET" else "/"
    target = "/sign-in" if path == "/" else f"/sign-in?next={quote(path, safe='/')}"
    if is_partial(request):
        return Response(status_code=401, headers={"HX-Redirect": target})
    return see_other(target)


def _asked(request: Request) -> str:
    """Return the path that was asked for with its query: a filtered list comes back filtered."""
    return f"{request.url.path}?{request.url.query}" if request.url.query else request.url.path


def _refused(request: Request, error: Any) -> Response:
    shown = ErrorPage(409, "That is not possible now", error.reason, back=_back(request), field=error.field or "")
    return answer(request, shown)


def _conflict(request: Request, error: Any) -> Response:
    """Answer for an id that came again with other content; programs have no page to reload."""
    return answer(request, ErrorPage(409, "This was sent before", OTHER if wants_json(request) else error.reason))


def _stale(request: Request, error: Any) -> Response:
    detail = "Nothing of what you sent was stored. Look at what is new, then make your change again."
    shown = ErrorPage(409, str(error), detail, error.changes, error.location or _back(request))
    return answer(request, shown)


def _back(request: Request) -> str:
    return request.url.path if request.method == "GET" else ""


def _http(request: Request, error: Any) -> Response:
    program = wants_json(request)
    way_on = "/openapi.json says what there is." if program else "Start from the first page."
    words = {
        404: ("There is no such address", way_on) if program else (NO_PAGE.title, NO_PAGE.detail),
        405: ("This address does not take that request", way_on),
        413: ("That is too large", LESS if error.detail == TOO_LARGE else str(error.detail)),
    }
    title, detail = words.get(error.status_code, ("The request was not understood", str(error.detail)))
    return answer(request, ErrorPage(error.status_code, title, detail), dict(error.headers or {}))


def _invalid(request: Request, error: Any) -> Response:
    first = error.errors()[0]
    where = ".".join(str(p) for p in first["loc"])
    if wants_json(request):
        errors = [{"where": ".".join(str(p) for p in e["loc"]), "message": e["msg"]} for e in error.errors()]
        return problem(422, "The request is not valid", f"{where}: {first['msg']}", errors=errors)
    if first["loc"][0] == "path":
        return answer(request, NO_PAGE)
    name = str(first["loc"][-1])
    detail = f"What stands in it for “{name}” is not valid: {first['msg'].rstrip('.')}. Check it, or leave it out."
    return answer(request, ErrorPage(422, "Part of the address or form is not valid", detail))


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


def _not_storable(request: Request, error: Exception) -> Response:
    """Answer for a number that no column holds, or signs that the database cannot keep, such as NUL."""
    log.warning("not storable", path=request.url.path, error=str(getattr(error, "orig", None) or error)[:300])
    detail = "A number in it is too large, or it has signs that cannot be kept. Nothing was stored. Check it."
    return answer(request, ErrorPage(422, "Part of the address or form is not valid", detail))


def _statement(request: Request, error: Any) -> Response:
    """Answer for a value that the driver could not even send, such as a day beyond the calendar."""
    if isinstance(error.orig, OverflowError | UnicodeEncodeError):
        return _not_storable(request, error)
    raise error


def _value(request: Request, error: Exception) -> Response:
    """Answer for a number of thousands of digits, which Python does not even read."""
    if "integer string conversion" in str(error):
        return _not_storable(request, error)
    raise error


def _unexpected(request: Request, error: Exception) -> Response:
    reference = secrets.token_hex(4)
    log.error("unexpected error", reference=reference, path=request.url.path, exc_info=error)
    shown = ErrorPage(
        500,
        "Something went wrong on our side",
        "Nothing of this request was stored. Try again; if it happens again, tell your supervisor the reference.",
        reference=reference,
    )
    # This answer is made outside the middleware, so it is given the headers here.
    return harden(request, answer(request, shown))


def install(app: FastAPI) -> None:
    """Give the app its error answers."""
    add = app.add_exception_handler
    add(NotSignedIn, _not_signed_in)
    add(AlreadyDone, lambda _request, error: see_other(error.location or "/"))
    add(Refused, _refused)
    add(Stale, _stale)
    add(Conflict, _conflict)
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
    add(DataError, _not_storable)
    add(StatementError, _statement)
    add(OverflowError, _not_storable)
    add(UnicodeEncodeError, _not_storable)
    add(ValueError, _value)
    add(OperationalError, _database)
    add(DBAPIError, _database)
    add(PoolTimeout, _database)
    add(Exception, _unexpected)
