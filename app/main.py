"""Builds the app: settings, database, error answers, and the rooms mounted in order."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib import import_module

from fastapi import Depends, FastAPI
from fastapi.middleware.gzip import GZipMiddleware

from app.jobs.routes.waiting import after_stores
from app.people.openapi import ABOUT, describe_api
from app.platform import failures
from app.platform.body_limit import BodyLimit
from app.platform.db import Database, make_database
from app.platform.settings import Settings, get_settings
from app.platform.static_files import StaticForEver
from app.platform.web import VERSION, HeadLikeGet, SecurityHeaders, make_environment, static_folder

ROOMS = ("platform", "people", "stores", "procedures", "jobs", "review")


def build_app(settings: Settings | None = None, db: Database | None = None) -> FastAPI:
    """Build the application. ``db`` lets tests and the demo hand in an open database."""
    settings = settings or get_settings()

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        yield
        if db is None:
            app.state.db.dispose()

    app = FastAPI(
        title="Countback",
        version=VERSION,
        description=ABOUT,
        docs_url=None,
        redoc_url=None,
        lifespan=lifespan,
    )
    app.state.settings = settings
    app.state.db = db or make_database(settings)
    app.state.templates = make_environment(settings)
    failures.install(app)
    for room in ROOMS:
        around = [Depends(after_stores, scope="function")] if room == "stores" else []
        for router in import_module(f"app.{room}.routes").routers:
            app.include_router(router, dependencies=around)
    describe_api(app)
    app.mount("/static", StaticForEver(directory=static_folder()), name="static")
    app.add_middleware(GZipMiddleware, minimum_size=800, compresslevel=5)
    app.add_middleware(BodyLimit)
    app.add_middleware(SecurityHeaders)
    app.add_middleware(HeadLikeGet)
    return app
