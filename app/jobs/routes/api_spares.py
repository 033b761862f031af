"""JSON API: what steps used and spoiled beside what their sheets planned, and the spares decided for them."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import BaseModel, Field

from app.jobs.actions.close import today
from app.jobs.actions.spares import decide_spares, withdraw_spares
from app.jobs.pages.spares import Judged, judge
from app.jobs.queries.spares import factors, step_parts, with_decided
from app.people.access import ApiSupervisor
from app.platform import clock
from app.platform.errors import AlreadyDone, NotFound
from app.platform.settings import Settings
from app.platform.submissions import SubmissionId, claim, settle
from app.platform.web import Db, SiteSettings

router = APIRouter(prefix="/api/v1", tags=["jobs"])
YEAR = timedelta(days=365)
Short = Annotated[str, Field(min_length=1, max_length=48)]


class SpoiledBody(BaseModel):
    """A part at a step: pieces on the sheets, used, spoiled; shares between 0 and 1 with Wilson's 95 % interval.

    ``spares`` are those planned now and ``suggested`` those to plan, in pieces for each piece on the sheet.
    """

    procedure: str
    step: str
    part: str
    jobs: int
    sheet: int
    used: int
    spoiled: int
    beyond: int
    share: float
    low: float
    high: float
    spares: Decimal
    suggested: float
    because: list[str]


class NewSpares(BaseModel):
    """A decision: spare pieces for each piece on the sheet from now on; 0 plans none any more."""

    id: SubmissionId
    procedure: Short
    step: Short
    part: Annotated[str, Field(min_length=1, max_length=32)]
    spares: Annotated[Decimal, Field(ge=0, le=10, decimal_places=4)]
    reason: Annotated[str, Field(min_length=1, max_length=300)]


@router.get("/discards")
def list_discards(
    db: Db,
    settings: SiteSettings,
    _caller: ApiSupervisor,
    first: date | None = None,
    last: date | None = None,
    procedure: str | None = None,
) -> list[SpoiledBody]:
    """Return what the jobs closed in these days, both included, used by step and part; by default of a year."""
    until = last or today(clock.now(), settings)
    since = first or until - YEAR
    with db.read() as session:
        rows = step_parts(session, _begin(since, settings), _begin(until + timedelta(days=1), settings), code=procedure)
        planned = factors(session, procedure)
        found = judge(with_decided(session, rows, planned), planned)
    return [_body(one) for one in sorted(found, key=lambda one: one.key)]


def _begin(day: date, settings: Settings) -> datetime:
    return datetime.combine(day, time(0), tzinfo=settings.zone)


def _body(one: Judged) -> SpoiledBody:
    found = one.found
    return SpoiledBody(
        procedure=one.key[0], step=one.key[1], part=one.key[2], jobs=one.row.jobs, sheet=one.row.sheet,
        used=one.row.used, spoiled=one.row.spoiled, beyond=one.row.beyond, share=found.share, low=found.low,
        high=found.high, spares=one.now, suggested=found.suggested, because=[*found.because, *filter(None, [one.look])],
    )  # fmt: skip


@router.post("/spares")
def decide(db: Db, settings: SiteSettings, caller: ApiSupervisor, body: NewSpares) -> SpoiledBody:
    """Plan spares for a step from now on, or none any more; returns what the last year says of it."""
    at = clock.now()
    key = (body.procedure, body.step, body.part)
    before = _of(db, settings, caller, key)
    stamp: dict[str, Any] = {"at": at, "who": caller.person_id}
    try:
        with db.write() as session:
            entry = claim(session, body.id, body.model_dump(mode="json", exclude={"id"}), caller.person_id, at)
            if body.spares:
                words = before.because[0] if before else ""
                decide_spares(session, key, body.spares, body.reason, words, **stamp, entry_id=entry)
            else:
                withdraw_spares(session, key, body.reason, **stamp, entry_id=entry)
            settle(session, entry, "/api/v1/discards")
    except AlreadyDone:
        pass  # The same again: its outcome stands.
    found = _of(db, settings, caller, key)
    if found is None:
        raise NotFound(f"use of {body.part} at step {body.step}")
    return found


def _of(db: Db, settings: SiteSettings, caller: ApiSupervisor, key: tuple[str, str, str]) -> SpoiledBody | None:
    rows = list_discards(db, settings, caller, procedure=key[0])
    return next((one for one in rows if (one.procedure, one.step, one.part) == key), None)
