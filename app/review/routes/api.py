"""The history over JSON: jobs by the same filters as the page, and the entries of one job's record."""

from datetime import datetime
from decimal import Decimal
from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field

from app.people.access import ApiEverybody
from app.people.queries import names
from app.platform.web import Db, SiteSettings
from app.procedures import queries as procedures
from app.review.forms import HistoryForm
from app.review.queries import record as read
from app.review.queries.history import HistoryRow, history_page
from app.review.words import words

router = APIRouter(prefix="/api/v1/history", tags=["history"])

Limit = Annotated[int, Query(ge=1, le=200, description="Most items of one answer.")]


class Paged(HistoryForm):
    """The history's filters with the place to go on from."""

    after: int | None = Field(default=None, description="The last answer's ``next``.")
    limit: int = Field(default=50, ge=1, le=200, description="Most items of one answer.")


class HistoryItem(BaseModel):
    """One job. Times are UTC, money is in the site's currency, ``bench_s`` is seconds."""

    number: str
    device_model: str
    serial: str
    fault: str
    technician: str | None
    booked_at: datetime
    closed_at: datetime | None
    outcome: str
    stage: str
    hold: str
    bench_s: int | None
    parts_cost: Decimal | None
    labour_cost: Decimal | None
    overridden: bool


class HistoryAnswer(BaseModel):
    """A page of jobs, newest first; ``next`` goes into ``after`` for the older ones, null at the end."""

    items: list[HistoryItem]
    next: str | None


class RecordEntry(BaseModel):
    """One entry of a job's record. ``words`` says it plainly; ``undoes`` is the id of the entry it takes back."""

    sequence: int
    id: str
    kind: str
    step: str | None
    at: datetime
    person: str | None
    words: str
    data: dict[str, Any]
    undoes: str | None
    chain: str


class RecordAnswer(BaseModel):
    """Entries in the order they were made; ``next`` goes into ``after`` for later ones, null at the end."""

    number: str
    seal: str
    items: list[RecordEntry]
    next: str | None


@router.get("")
def history(db: Db, settings: SiteSettings, _caller: ApiEverybody, asked: Annotated[Paged, Query()]) -> HistoryAnswer:
    """List jobs newest first, by the filters of the history page."""
    with db.read() as session:
        found = history_page(session, asked.narrowed(settings.zone), after=asked.after, limit=asked.limit)
        people = names(session)
    last = str(found.rows[-1].id) if found.older else None
    return HistoryAnswer(items=[_item(row, people) for row in found.rows], next=last)


def _item(row: HistoryRow, people: dict[int, str]) -> HistoryItem:
    return HistoryItem(
        number=row.number,
        device_model=row.model,
        serial=row.serial,
        fault=row.fault,
        technician=people.get(row.technician_id) if row.technician_id is not None else None,
        booked_at=row.booked_at,
        closed_at=row.closed_at,
        outcome=row.outcome,
        stage=row.stage,
        hold=row.hold,
        bench_s=row.bench_s,
        parts_cost=row.parts_cost,
        labour_cost=row.labour_cost,
        overridden=row.overridden,
    )


@router.get("/{number}")
def job_record(number: str, db: Db, _caller: ApiEverybody, after: int = 0, limit: Limit = 100) -> RecordAnswer:
    """List the entries of one job's record in order."""
    with db.read() as session:
        job = read.job_facts(session, number)
        found = read.entries(session, job.id, after=after, limit=limit + 1)
        people = names(session)
        sheet = procedures.sheet(session, job.revision_id)
    more, found = len(found) > limit, found[:limit]
    items = [
        RecordEntry(
            sequence=linked.sequence,
            id=linked.event.event_id,
            kind=linked.event.kind,
            step=linked.event.step,
            at=linked.event.at,
            person=people.get(linked.event.person) if linked.event.person is not None else None,
            words=words(linked.event.kind, {**linked.event.data, "step": linked.event.step}, sheet, people),
            data=dict(linked.event.data),
            undoes=linked.event.undoes,
            chain=linked.chain,
        )
        for linked in found
    ]
    return RecordAnswer(number=job.number, seal=job.seal, items=items, next=str(found[-1].sequence) if more else None)
