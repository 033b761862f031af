"""SELECTs of published procedures. Revisions never change, so what is read of them is kept."""

import threading
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

from markupsafe import Markup
from sqlmodel import Session, col, select

from app.platform.errors import NotFound
from app.procedures.models import DeviceModelRow, Drawing, Fault, Procedure, Revision
from app.procedures.queries.drafts import picture_svgs
from app.rules.sheet import Identifier, Sheet

T = TypeVar("T")

# Set on a session that publishes: what it reads is not settled before its commit, so it is not kept.
UNSETTLED = "procedures being published"
_KEPT_AT_MOST = 2000
_lock = threading.Lock()
# Kept by engine: two databases in one process (tests, a restored copy) have their own revision 1.
_kept: "WeakKeyDictionary[Any, dict[Hashable, Any]]" = WeakKeyDictionary()


@dataclass(frozen=True)
class ModelInfo:
    """A device model that procedures are written for."""

    id: int
    code: str
    name: str
    kind: str
    identifier: Identifier
    has_cell: bool
    ingress: str | None


@dataclass(frozen=True)
class RevisionInfo:
    """A published revision and the procedure it belongs to."""

    id: int
    procedure_id: int
    code: str
    title: str
    number: int
    device_model_id: int
    published_at: datetime
    published_by: int | None


@dataclass(frozen=True)
class FaultWord:
    """A fault in the words of the booking page, and the units that usually explain it, the first one first.

    ``formerly`` are words that it had before, so that earlier jobs still count.
    """

    code: str
    words: str
    unit: str | None
    also: tuple[str, ...] = ()
    formerly: tuple[str, ...] = ()

    @property
    def units(self) -> tuple[str, ...]:
        """The units of the table for this fault."""
        return (*((self.unit,) if self.unit else ()), *self.also)

    @property
    def sayings(self) -> tuple[str, ...]:
        """Its words, now and before."""
        return self.words, *self.formerly


def _once(session: Session, key: Hashable, make: Callable[[], T]) -> T:
    """Return what is kept under a key of this database, or make it."""
    engine = session.get_bind()
    with _lock:
        mine = _kept.setdefault(engine, {})
        if key in mine:
            found: T = mine[key]
            return found
    made = make()
    if not session.info.get(UNSETTLED):
        with _lock:
            if len(mine) >= _KEPT_AT_MOST:
                mine.pop(next(iter(mine)))
            mine[key] = made
    return made


def _revision(session: Session, revision_id: int) -> Revision:
    row = session.exec(select(Revision).where(col(Revision.id) == revision_id)).first()
    if row is None:
        raise NotFound("such revision")
    return row


def sheet(session: Session, revision_id: int) -> Sheet:
    """Return the sheet of a revision; NotFound when there is none. Kept for the life of the process."""
    return _once(
        session, ("sheet", revision_id), lambda: Sheet.model_validate(_revision(session, revision_id).document)
    )


def drawing_hashes(session: Session, revision_id: int) -> Mapping[str, str]:
    """Return picture name → hash of a revision's drawings."""
    return _once(session, ("hashes", revision_id), lambda: dict(_revision(session, revision_id).drawings))


def drawing_urls(session: Session, revision_id: int) -> Mapping[str, str]:
    """Return picture name → address of a revision's drawings."""
    hashes = drawing_hashes(session, revision_id)
    return {
        picture: f"/drawings/{sha256}.svg" if picture.endswith(".svg") else f"/media/{sha256}"
        for picture, sha256 in hashes.items()
    }


def drawing_svg(session: Session, sha256: str) -> str:
    """Return a cleaned drawing by its hash; NotFound when there is none."""

    def load() -> str:
        found = session.exec(select(Drawing.svg).where(col(Drawing.sha256) == sha256)).first()
        if found is None:
            raise NotFound("such drawing")
        return found

    return _once(session, ("svg", sha256), load)


def step_svgs(session: Session, revision_id: int) -> Mapping[str, Markup]:
    """Return picture name → drawing to put into a page; safe, as only cleaned drawings are stored."""

    def load() -> Mapping[str, Markup]:
        return picture_svgs(session, drawing_hashes(session, revision_id))

    return _once(session, ("inline", revision_id), load)


def device_models(session: Session) -> tuple[ModelInfo, ...]:
    """Return all device models in alphabetical order."""
    rows = session.exec(select(DeviceModelRow).order_by(col(DeviceModelRow.name))).all()
    return tuple(_model(row) for row in rows)


def device_model(session: Session, device_model_id: int, *, hold: bool = False) -> ModelInfo:
    """Return one device model; NotFound when there is none.

    ``hold`` keeps everybody else who holds the same model waiting until this transaction ends.
    """
    statement = select(DeviceModelRow).where(col(DeviceModelRow.id) == device_model_id)
    if hold:
        # Not the strongest lock: rows that point at the model can still be written meanwhile.
        statement = statement.with_for_update(key_share=True)
    row = session.exec(statement).first()
    if row is None:
        raise NotFound("such device model")
    return _model(row)


def _model(row: DeviceModelRow) -> ModelInfo:
    return ModelInfo(row.id or 0, row.code, row.name, row.kind, row.identifier, row.has_cell, row.ingress)


def _info(revision: Revision, procedure: Procedure) -> RevisionInfo:
    return RevisionInfo(
        id=revision.id or 0,
        procedure_id=procedure.id or 0,
        code=procedure.code,
        title=procedure.title,
        number=revision.number,
        device_model_id=procedure.device_model_id,
        published_at=revision.published_at,
        published_by=revision.published_by,
    )


_JOINED = (
    select(Revision, Procedure)
    .join(Procedure, col(Procedure.id) == col(Revision.procedure_id))
    .order_by(col(Revision.number).desc())
)


def revision_info(session: Session, revision_id: int) -> RevisionInfo:
    """Return a revision by its id; NotFound when there is none. Kept for the life of the process."""

    def load() -> RevisionInfo:
        row = session.exec(_JOINED.where(col(Revision.id) == revision_id)).first()
        if row is None:
            raise NotFound("such revision")
        return _info(*row)

    return _once(session, ("info", revision_id), load)


def current_revision(session: Session, device_model_id: int) -> RevisionInfo | None:
    """Return the newest revision for a device model, or None; of several procedures, the first by code."""
    row = session.exec(
        select(Revision, Procedure)
        .join(Procedure, col(Procedure.id) == col(Revision.procedure_id))
        .where(col(Procedure.device_model_id) == device_model_id)
        .order_by(col(Procedure.code), col(Revision.number).desc())
        .limit(1)
    ).first()
    return None if row is None else _info(*row)


def revisions(session: Session, code: str) -> tuple[RevisionInfo, ...]:
    """Return all revisions of a procedure, newest first; NotFound when there is no such procedure."""
    rows = session.exec(_JOINED.where(col(Procedure.code) == code)).all()
    if not rows:
        raise NotFound(f"procedure {code}")
    return tuple(_info(*row) for row in rows)


def newest_revision(session: Session, code: str) -> RevisionInfo | None:
    """Return the newest revision of a procedure by its code, or None."""
    row = session.exec(_JOINED.where(col(Procedure.code) == code).limit(1)).first()
    return None if row is None else _info(*row)


def find_revision(session: Session, code: str, number: int) -> RevisionInfo:
    """Return one revision by procedure code and number; NotFound when there is none."""
    row = session.exec(_JOINED.where(col(Procedure.code) == code, col(Revision.number) == number)).first()
    if row is None:
        raise NotFound(f"revision {number} of procedure {code}")
    return _info(*row)


def procedures(session: Session, after: str = "", limit: int | None = None) -> tuple[RevisionInfo, ...]:
    """Return the newest revision of every procedure, by code; ``after`` and ``limit`` take a part of the list."""
    newest = (
        select(col(Revision.id))
        .where(col(Revision.procedure_id) == col(Procedure.id))
        .order_by(col(Revision.number).desc())
        .limit(1)
        .correlate(Procedure)
        .scalar_subquery()
    )
    rows = session.exec(
        select(Revision, Procedure)
        .join(Procedure, col(Procedure.id) == col(Revision.procedure_id))
        .where(col(Revision.id) == newest, col(Procedure.code) > after)
        .order_by(col(Procedure.code))
        .limit(limit)
    ).all()
    return tuple(_info(*row) for row in rows)


def faults(session: Session, device_model_id: int) -> tuple[FaultWord, ...]:
    """Return the fault words of a device model in the order they were written."""
    rows = session.exec(
        select(Fault).where(col(Fault.device_model_id) == device_model_id).order_by(col(Fault.id))
    ).all()
    return tuple(FaultWord(row.code, row.words, row.unit, tuple(row.also), tuple(row.formerly)) for row in rows)


def precedence_svg(session: Session, revision_id: int, draw: Callable[[], str]) -> Markup:
    """Return the drawn precedence of a revision, drawn once."""
    return _once(session, ("precedence", revision_id), lambda: Markup(draw()))  # noqa: S704  Escaped by draw.
