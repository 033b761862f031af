"""Health of the process and of what it stands on, and what a tablet keeps. Public: states and shell, no content."""

from fastapi import APIRouter, Depends, Request
from fastapi.responses import JSONResponse, Response

from app.platform import shell
from app.platform.health import readiness
from app.platform.web import Db, SiteSettings, page

DAY = {"cache-control": "public, max-age=86400"}


async def declared_public() -> None:
    """Declare a platform route public; people's access rules stand above this room."""


router = APIRouter(include_in_schema=False, dependencies=[Depends(declared_public)])
routers = (router,)


@router.get("/healthz")
async def healthz() -> JSONResponse:
    """Tell that the process answers."""
    return JSONResponse({"status": "ok"})


@router.get("/readyz")
def readyz(db: Db, settings: SiteSettings) -> JSONResponse:
    """Tell whether the database answers, is writable, and stands at the right migration."""
    found = readiness(db, settings)
    return JSONResponse(found.as_json(), status_code=200 if found.ready else 503)


@router.get("/sw.js")
async def worker() -> Response:
    """Send the service worker, for the whole site; the browser asks for it again each time."""
    headers = {"service-worker-allowed": "/", "cache-control": "no-cache"}
    return Response(shell.service_worker(), media_type="text/javascript", headers=headers)


@router.get("/manifest.webmanifest")
async def manifest(settings: SiteSettings) -> Response:
    """Send what makes the site installable."""
    return JSONResponse(shell.manifest(settings.site_name), media_type="application/manifest+json", headers=DAY)


@router.get("/icon-192.png")
def small_icon() -> Response:
    """Send the installed program's icon."""
    return Response(shell.icon(192), media_type="image/png", headers=DAY)


@router.get("/icon-512.png")
def large_icon() -> Response:
    """Send the installed program's icon, large."""
    return Response(shell.icon(512), media_type="image/png", headers=DAY)


@router.get("/on-this-tablet")
def on_this_tablet(request: Request) -> Response:
    """Show the frame in which the script lists what waits on this tablet and which jobs are kept on it."""
    return page(request, "shell.html", headers={"cache-control": "no-cache"})
