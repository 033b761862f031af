"""JSON API: what of a job's kit can be picked, and approved alternates in it."""

from datetime import date
from typing import Annotated

from fastapi import APIRouter
from pydantic import BaseModel, Field
from sqlmodel import Session

from app.jobs.actions.close import today
from app.jobs.actions.take_alternate import take_alternate
from app.jobs.queries import jobs as queries
from app.jobs.queries import kit as kit_queries
from app.jobs.routes.api import proposed_picks
from app.people.access import ApiStores
from app.platform import clock
from app.platform.errors import AlreadyDone
from app.platform.submissions import SubmissionId, claim, settle
from app.platform.web import Db, SiteSettings

router = APIRouter(prefix="/api/v1", tags=["jobs"])


class ProposedPick(BaseModel):
    """A pick as it is proposed, to be sent back as it is; ``serials_wanted`` are to be named in ``serials``."""

    part_number: str
    lot: str
    location: str
    quantity: int
    expires_on: date | None
    serials_wanted: int = Field(description="How many serials the pick must name; 0 where none are tracked.")


class StandInBody(BaseModel):
    """An alternate that a job takes in place of a part; ``open`` is not handed out yet."""

    part: str
    alternate: str
    quantity: int
    open: int


class NewStandIn(BaseModel):
    """An approved alternate to take in place of a part that is short."""

    id: SubmissionId
    part: Annotated[str, Field(min_length=1, max_length=32)]
    alternate: Annotated[str, Field(min_length=1, max_length=32)]
    quantity: Annotated[int, Field(ge=1, le=100_000)]
    reason: Annotated[str, Field(min_length=1, max_length=300)]


def _stand_ins(session: Session, number: str) -> list[StandInBody]:
    rows = kit_queries.stand_ins(session, queries.find_job(session, number).id)
    return [StandInBody(part=r.part_number, alternate=r.alternate, quantity=r.quantity, open=r.open) for r in rows]


@router.get("/jobs/{number}/kit")
def list_picks(db: Db, settings: SiteSettings, _caller: ApiStores, number: str) -> list[ProposedPick]:
    """List what of a job's kit can be handed out now: first expired, first out."""
    with db.read() as session:
        picks = proposed_picks(session, number, today(clock.now(), settings))
    return [
        ProposedPick(
            part_number=pick.part_number,
            lot=pick.lot_code,
            location=pick.location_code,
            quantity=pick.quantity,
            expires_on=pick.expires_on,
            serials_wanted=pick.quantity if pick.serial_tracked else 0,
        )
        for pick in picks
    ]


@router.get("/jobs/{number}/kit/alternates")
def list_stand_ins(db: Db, _caller: ApiStores, number: str) -> list[StandInBody]:
    """List the alternates in a job's kit."""
    with db.read() as session:
        return _stand_ins(session, number)


@router.post("/jobs/{number}/kit/alternates")
def take(db: Db, settings: SiteSettings, caller: ApiStores, number: str, body: NewStandIn) -> list[StandInBody]:
    """Let an approved alternate stand in for a part that is short."""
    at = clock.now()
    try:
        with db.write() as session:
            said = {"alternate in": number, **body.model_dump(exclude={"id"})}
            key = claim(session, body.id, said, caller.person_id, at)
            take_alternate(
                session, number, body.part, body.alternate, body.quantity, body.reason,
                at=at, who=caller.person_id, event_id=key, today=today(at, settings),
            )  # fmt: skip
            settle(session, key, f"/api/v1/jobs/{number}/kit/alternates")
    except AlreadyDone:
        pass
    return list_stand_ins(db, caller, number)
