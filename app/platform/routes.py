"""Health of the process and of what it stands on. Public: they tell states, no content."""

from fastapi import APIRouter, Depends
from fastapi.responses import JSONResponse

from app.platform.health import readiness
from app.platform.web import Db, SiteSettings


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
