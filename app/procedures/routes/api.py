"""JSON API: procedures to read."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel

from app.people.access import ApiEverybody
from app.platform.web import Db
from app.procedures import queries
from app.procedures.queries import RevisionInfo
from app.rules.sheet import Sheet

router = APIRouter(prefix="/api/v1", tags=["procedures"])


class ProcedureItem(BaseModel):
    """A procedure by its newest revision."""

    code: str
    title: str
    device_model: str
    revision: int
    published_at: datetime


class ProcedureList(BaseModel):
    """A part of the list; ``next`` is what to send as ``after`` for the part that follows."""

    items: list[ProcedureItem]
    next: str | None


class RevisionBody(BaseModel):
    """One published revision, whole; ``drawings`` are addresses by picture name."""

    code: str
    revision: int
    published_at: datetime
    sheet: Sheet
    drawings: dict[str, str]


@router.get("/procedures")
def list_procedures(
    db: Db,
    _caller: ApiEverybody,
    after: Annotated[str, Query(max_length=48)] = "",
    limit: Annotated[int, Query(ge=1, le=200)] = 50,
) -> ProcedureList:
    """List procedures by code, each with its newest revision."""
    with db.read() as session:
        models = {model.id: model.code for model in queries.device_models(session)}
        found = queries.procedures(session, after, limit + 1)
    items = [_item(info, models) for info in found[:limit]]
    return ProcedureList(items=items, next=items[-1].code if len(found) > limit else None)


def _item(info: RevisionInfo, models: dict[int, str]) -> ProcedureItem:
    return ProcedureItem(
        code=info.code,
        title=info.title,
        device_model=models[info.device_model_id],
        revision=info.number,
        published_at=info.published_at,
    )


@router.get("/procedures/{code}/{revision}")
def get_revision(
    db: Db,
    _caller: ApiEverybody,
    code: Annotated[str, Path(max_length=48)],
    revision: Annotated[int, Path(ge=1, le=9999)],
) -> RevisionBody:
    """Return one revision whole."""
    with db.read() as session:
        info = queries.find_revision(session, code, revision)
        sheet = queries.sheet(session, info.id)
        drawings = dict(queries.drawing_urls(session, info.id))
    return RevisionBody(
        code=info.code,
        revision=info.number,
        published_at=info.published_at,
        sheet=sheet,
        drawings=drawings,
    )
