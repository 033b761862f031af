"""What stock that came free does for waiting jobs: their parts holds end by themselves."""

from collections.abc import Iterator

import structlog
from fastapi import Request
from sqlalchemy.exc import SQLAlchemyError

from app.jobs.actions.close import today
from app.jobs.actions.hold import retry_reservations
from app.jobs.queries.kit import any_short
from app.platform import clock
from app.platform.db import Database
from app.platform.settings import Settings
from app.platform.web import SAFE_METHODS, Db, SiteSettings

log = structlog.get_logger()


def serve_waiting_jobs(db: Database, settings: Settings, who: int | None) -> None:
    """Reserve for jobs that are short, the oldest first. What was stored before stands, even if this fails."""
    try:
        with db.read() as session:
            waits = any_short(session)
        if waits:
            at = clock.now()
            with db.write() as session:
                retry_reservations(session, at, who, today=today(at, settings))
    except SQLAlchemyError as error:
        log.warning("waiting jobs not served", error=str(error))


def after_stores(request: Request, db: Db, settings: SiteSettings) -> Iterator[None]:
    """Serve waiting jobs after anything was stored through the stores' pages or API.

    The stores room knows nothing of jobs, so the app puts this around its routes. It runs in a transaction of its
    own: jobs are locked before stock, and the stores' own actions lock stock only.
    """
    yield
    if request.method not in SAFE_METHODS:
        caller = getattr(request.state, "caller", None)
        serve_waiting_jobs(db, settings, caller.person_id if caller else None)
