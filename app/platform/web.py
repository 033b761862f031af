"""The web machinery every room uses: pages and their fragments, posted forms, redirects, request checks."""

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from babel.numbers import format_currency
from fastapi import Depends, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException

from app.platform import clock
from app.platform.db import Database
from app.platform.forms import RawForm, Upload
from app.platform.resources import resource
from app.platform.settings import Settings
from app.platform.static_files import sources
from app.rules.money import minor_units, short_price
from app.rules.pieces import pieces

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
MAX_FORM_FIELDS = 3000
MAX_UPLOAD_BYTES = 15 * 1024 * 1024
VERSION = "0.1.0"
# What a tablet sends from its outbox carries the right of the person who tapped in this header.
TAP_HEADER = "X-Countback-Tap"


@dataclass(frozen=True)
class Site:
    """What every page knows about the site."""

    name: str
    currency: str
    demo: bool
    version: str
    zone: str


@dataclass(frozen=True)
class NoCaller:
    """Stands in for the person on pages that are shown before sign-in."""

    name: str = ""
    role: str = ""
    theme: str = "auto"
    hand: str = "right"
    tones: str = "soft"
    csrf: str = ""
    tap: str = ""


def make_environment(settings: Settings) -> Environment:
    """Return the template environment: strict about typos, escaping always on.

    Apps of one process and the same settings share it, as compiling the templates is most of making it.
    """
    return _environment(settings.site_name, settings.currency, settings.demo, settings.time_zone)


@lru_cache(maxsize=8)
def _environment(site_name: str, currency: str, demo: bool, time_zone: str) -> Environment:
    environment = Environment(
        loader=FileSystemLoader(resource("templates")),
        undefined=StrictUndefined,
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    zone = ZoneInfo(time_zone)
    environment.globals["site"] = Site(site_name, currency, demo, VERSION, time_zone)
    environment.globals["static"] = static_url
    environment.globals["new_id"] = clock.uuid7
    environment.globals["once"] = lru_cache(maxsize=4096)(_drawn)
    environment.filters["local"] = lambda at: _local(at, zone).strftime("%-d %b %Y %H:%M") if at else "—"
    environment.filters["local_day"] = lambda at: _day(at, zone)
    environment.filters["local_time"] = lambda at: _local(at, zone).strftime("%H:%M") if at else "—"
    environment.filters["iso"] = lambda at: at.isoformat() if at else ""
    environment.filters["money"] = lambda amount: money_text(amount, currency)
    environment.filters["price"] = lambda amount: price_text(amount, currency)
    environment.filters["pieces"] = pieces
    environment.filters["duration"] = duration_text
    return environment


def _drawn(macro: Callable[..., Any], *given: Any) -> Any:
    """Draw a macro; kept by what it is given, so only for macros that look at nothing else."""
    return macro(*given)


def _local(at: datetime, zone: Any) -> datetime:
    return (at if at.tzinfo else at.replace(tzinfo=UTC)).astimezone(zone)


def _day(at: date | datetime | None, zone: Any) -> str:
    if at is None:
        return "—"
    local = _local(at, zone) if isinstance(at, datetime) else at
    return local.strftime("%-d %b %Y")


def money_text(amount: Decimal | None, currency: str) -> str:
    """Return an amount as people write it, with its currency; a dash for none."""
    return "—" if amount is None else format_currency(amount, currency, locale="en_GB")


def price_text(price: Decimal | None, currency: str) -> str:
    """Return a unit price or cost with its currency and all its decimals, of which it may have four."""
    if price is None:
        return "—"
    places = max(0, -int(short_price(price, minor_units(currency)).as_tuple().exponent))
    return format_currency(price, currency, f"¤#,##0.{'0' * places}".rstrip("."), locale="en_GB", currency_digits=False)


def duration_text(seconds: float | None) -> str:
    """Return seconds as ``1 h 05 min`` or ``12 min``; under a minute as seconds."""
    if seconds is None:
        return "—"
    whole = int(seconds)
    if whole < 60:
        return f"{whole} s"
    minutes = (whole + 30) // 60
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


# Modules import one another by relative addresses, which carry no ``?v=``: their mark stands in the path instead.
MODULES = ("js/bench/", "vendor/idb.js")


@lru_cache(maxsize=256)
def static_url(path: str) -> str:
    """Return the address of a static file, with a mark of its content so that it may be cached for ever.

    ``css/tokens+base.css`` names two style sheets that are sent as one.
    """
    if path.startswith(MODULES):
        return f"/static/~{_modules_mark()}/{path}"
    files = [resource("static") / name for name in sources(path)]
    digest = hashlib.sha256()
    for file in files:
        digest.update(file.read_bytes() if file.is_file() else VERSION.encode())
    return f"/static/{path}?v={digest.hexdigest()[:12]}"


@lru_cache(maxsize=1)
def _modules_mark() -> str:
    """Return one mark for all modules, so that a page never mixes two versions of them."""
    static = resource("static")
    digest = hashlib.sha256()
    for file in [*sorted((static / "js" / "bench").rglob("*.js")), static / MODULES[1]]:
        digest.update(file.read_bytes() if file.is_file() else b"")
    return digest.hexdigest()[:12]


def get_settings(request: Request) -> Settings:
    """Return the settings the app was built with."""
    settings: Settings = request.app.state.settings
    return settings


# The dependencies that only look something up are coroutines, so that they cost no thread.
async def _database(request: Request) -> Database:
    database: Database = request.app.state.db
    return database


async def _settings(request: Request) -> Settings:
    return get_settings(request)


Db = Annotated[Database, Depends(_database)]
SiteSettings = Annotated[Settings, Depends(_settings)]


def is_partial(request: Request) -> bool:
    """Whether htmx asks for a fragment rather than a page."""
    return request.headers.get("HX-Request-Type") == "partial"


def page(
    request: Request,
    template: str,
    context: Any = None,
    *,
    status: int = 200,
    fragment: str | None = None,
    headers: Mapping[str, str] | None = None,
) -> HTMLResponse:
    """Render a page; its context dataclass is ``page`` in the template.

    When htmx asks for a part and ``fragment`` names a block of the template, only that block is sent.
    """
    environment: Environment = request.app.state.templates
    loaded = environment.get_template(template)
    caller = getattr(request.state, "caller", None) or NoCaller()
    values = {
        "page": context,
        "caller": caller,
        "path": request.url.path,
        "query": dict(request.query_params),
    }
    if fragment is not None and is_partial(request):
        body = "".join(loaded.blocks[fragment](loaded.new_context(values)))
    else:
        body = loaded.render(values)
    return HTMLResponse(body, status_code=status, headers={"Vary": "HX-Request-Type", **(headers or {})})


def drawer(request: Request, template: str, fragment: str) -> Callable[[Any], str]:
    """Return a function that renders one block of a template for a context, as often as it is asked to."""
    environment: Environment = request.app.state.templates
    loaded = environment.get_template(template)
    block = loaded.blocks[fragment]
    caller = getattr(request.state, "caller", None) or NoCaller()
    values: dict[str, Any] = {"caller": caller, "path": request.url.path, "query": {}}
    return lambda context: "".join(block(loaded.new_context({**values, "page": context})))


def see_other(location: str) -> RedirectResponse:
    """Send the browser to the page that shows what was done."""
    return RedirectResponse(location, status_code=303)


async def read_form(request: Request) -> RawForm:
    """Read a posted form whole; files are read into memory within the limit of 15 MB each."""
    async with request.form(max_files=12, max_fields=MAX_FORM_FIELDS, max_part_size=1024 * 1024) as form:
        fields: dict[str, list[str]] = {}
        files: dict[str, list[Upload]] = {}
        for name, value in form.multi_items():
            if isinstance(value, UploadFile):
                body = await value.read(MAX_UPLOAD_BYTES + 1)
                if len(body) > MAX_UPLOAD_BYTES:
                    raise HTTPException(413, f"{value.filename} is larger than 15 MB. Send a smaller file.")
                if value.filename:
                    files.setdefault(name, []).append(Upload(value.filename, value.content_type or "", body))
            else:
                # PostgreSQL keeps no NUL in a text, and nobody types one.
                fields.setdefault(name, []).append(value.replace("\0", ""))
    return RawForm({k: tuple(v) for k, v in fields.items()}, {k: tuple(v) for k, v in files.items()})


def same_origin(request: Request, settings: Settings) -> bool:
    """Whether an unsafe request comes from our own pages, by Sec-Fetch-Site, with Origin as the fallback."""
    site = request.headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = request.headers.get("origin")
    if origin is None:
        return True  # No browser: a browser sends one of the two with every unsafe request.
    allowed = {o.strip() for o in settings.trusted_origins.split(",") if o.strip()}
    return origin in allowed or urlsplit(origin).netloc == request.headers.get("host")


SECURITY_HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; "
        "img-src 'self' data: blob:; media-src 'self'; font-src 'self'; connect-src 'self'; manifest-src 'self'; "
        "worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), geolocation=(), microphone=(), payment=()",
    "x-frame-options": "DENY",
}


# Where the camera reads codes, WebAssembly is let in for the reader; text is never run as script.
CAMERA_PAGES = ("/jobs", "/bench", "/scan", "/on-this-tablet")
CAMERA_HEADERS = SECURITY_HEADERS | {
    "content-security-policy": SECURITY_HEADERS["content-security-policy"].replace(
        "script-src 'self'", "script-src 'self' 'wasm-unsafe-eval'"
    )
}


def headers_for(path: str) -> Mapping[str, str]:
    """Return the security headers of a path."""
    return CAMERA_HEADERS if path.startswith(CAMERA_PAGES) else SECURITY_HEADERS


def harden(request: Request, answer: Response) -> Response:
    """Give an answer that no middleware sees the headers that ``SecurityHeaders`` gives all others."""
    answer.headers.update({"cache-control": "no-store", **headers_for(request.url.path)})
    return answer


class HeadLikeGet:
    """ASGI middleware: HEAD is answered like GET, without the body (RFC 9110, 9.3.2)."""

    def __init__(self, app: Callable[..., Any]) -> None:
        self.app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Pass a HEAD request on as GET and send its answer's headers alone."""
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return

        async def without_body(message: Any) -> None:
            await send({**message, "body": b""} if message["type"] == "http.response.body" else message)

        await self.app({**scope, "method": "GET"}, receive, without_body)


class SecurityHeaders:
    """ASGI middleware: the headers above on every answer; pages are never stored by caches."""

    def __init__(self, app: Callable[..., Any]) -> None:
        self.app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Pass the request on and add the headers to its answer."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = headers_for(scope["path"])

        async def with_headers(message: Any) -> None:
            if message["type"] == "http.response.start":
                present = {k.lower() for k, _ in message["headers"]}
                extra = [(k.encode(), v.encode()) for k, v in headers.items() if k.encode() not in present]
                if b"cache-control" not in present:
                    extra.append((b"cache-control", b"no-store"))
                message["headers"] = [*message["headers"], *extra]
            await send(message)

        await self.app(scope, receive, with_headers)


def static_folder() -> Path:
    """Return the folder that is served under /static."""
    return resource("static")


def client_address(request: Request) -> str:
    """Return the caller's network address, as far as it is known."""
    return request.client.host if request.client else "unknown"


def wants_json(request: Request) -> bool:
    """Whether errors are answered as problem+json: the API's paths, the tablets' outbox, clients that ask for JSON."""
    if request.url.path.startswith("/api/") or TAP_HEADER in request.headers:
        return True
    return getattr(request.state, "answers_json", False) or "application/json" in request.headers.get("accept", "")


def problem(status: int, title: str, detail: str, **more: Any) -> Response:
    """Return an error as RFC 9457 problem details."""
    body = {"type": "about:blank", "title": title, "status": status, "detail": detail, **more}
    return JSONResponse(body, status_code=status, media_type="application/problem+json")


__all__ = [
    "SECURITY_HEADERS",
    "TAP_HEADER",
    "Db",
    "HeadLikeGet",
    "NoCaller",
    "SecurityHeaders",
    "SiteSettings",
    "client_address",
    "duration_text",
    "harden",
    "is_partial",
    "make_environment",
    "money_text",
    "page",
    "problem",
    "read_form",
    "same_origin",
    "see_other",
    "static_url",
    "wants_json",
]
