"""SELECTs of procedures in writing."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from markupsafe import Markup
from sqlalchemy import true
from sqlmodel import Session, col, select

from app.platform.errors import NotFound
from app.procedures.drawings import inline, photo_svg
from app.procedures.models import Draft, DraftSave, DraftState, Drawing, Media, MediaKind, Procedure, Revision
from app.rules.draft_flow import DraftStanding


@dataclass(frozen=True)
class DraftRow:
    """A draft in the list; ``base`` is (code, revision number) of what it began from, if it began from one."""

    id: int
    title: str
    state: DraftState
    version: int
    base: tuple[str, int] | None
    saved_at: datetime
    saved_by: int | None
    sent_by: int | None


@dataclass(frozen=True)
class DraftDetail:
    """A draft whole. ``drawings`` are picture name → hash of what is stored."""

    id: int
    title: str
    state: DraftState
    version: int
    document: dict[str, Any]
    asked: tuple[dict[str, Any], ...]
    drawings: Mapping[str, str]
    base_revision_id: int | None
    revision_id: int | None
    source: str | None
    video: str | None
    created_at: datetime
    created_by: int | None
    saved_at: datetime
    saved_by: int | None
    sent_at: datetime | None
    sent_by: int | None
    checked_at: datetime | None
    checked_by: int | None
    remarks: str

    @property
    def standing(self) -> DraftStanding:
        """Where it stands, for the rules."""
        return DraftStanding(self.state.value, self.sent_by, self.saved_by)


@dataclass(frozen=True)
class SaveRow:
    """One save of a draft: the version it made and what was changed."""

    version: int
    words: str
    saved_at: datetime
    saved_by: int | None


def drafts(
    session: Session, states: tuple[DraftState, ...], limit: int = 200, after: int | None = None
) -> tuple[DraftRow, ...]:
    """Return drafts in these states, those written to last first; ``after`` is the id of the last one had."""
    last = select(Draft.saved_at, Draft.id).where(col(Draft.id) == after).subquery()
    behind = (
        (col(Draft.saved_at) < select(last.c.saved_at).scalar_subquery())
        | ((col(Draft.saved_at) == select(last.c.saved_at).scalar_subquery()) & (col(Draft.id) < after))
        if after is not None
        else true()
    )
    found = session.exec(
        select(Draft, Procedure.code, Revision.number)
        .outerjoin(Revision, col(Revision.id) == col(Draft.base_revision_id))
        .outerjoin(Procedure, col(Procedure.id) == col(Revision.procedure_id))
        .where(col(Draft.state).in_(states), behind)
        .order_by(col(Draft.saved_at).desc(), col(Draft.id).desc())
        .limit(limit)
    ).all()
    return tuple(
        DraftRow(
            row.id or 0, row.title, row.state, row.version, (code, number) if code else None, row.saved_at,
            row.saved_by, row.sent_by,
        )
        for row, code, number in found
    )  # fmt: skip


def draft(session: Session, draft_id: int) -> DraftDetail:
    """Return one draft; NotFound when there is none."""
    row = session.exec(select(Draft).where(col(Draft.id) == draft_id)).first()
    if row is None:
        raise NotFound(f"draft {draft_id}")
    return DraftDetail(
        id=row.id or 0,
        title=row.title,
        state=row.state,
        version=row.version,
        document=dict(row.document),
        asked=tuple(row.asked),
        drawings=dict(row.drawings),
        base_revision_id=row.base_revision_id,
        revision_id=row.revision_id,
        source=row.source,
        video=row.video,
        created_at=row.created_at,
        created_by=row.created_by,
        saved_at=row.saved_at,
        saved_by=row.saved_by,
        sent_at=row.sent_at,
        sent_by=row.sent_by,
        checked_at=row.checked_at,
        checked_by=row.checked_by,
        remarks=row.remarks,
    )


def saves(session: Session, draft_id: int, limit: int = 400) -> tuple[SaveRow, ...]:
    """Return the saves of a draft, newest first."""
    found = session.exec(
        select(DraftSave.version, DraftSave.words, DraftSave.saved_at, DraftSave.saved_by)
        .where(col(DraftSave.draft_id) == draft_id)
        .order_by(col(DraftSave.version).desc())
        .limit(limit)
    ).all()
    return tuple(SaveRow(*row) for row in found)


def saved_document(session: Session, draft_id: int, version: int) -> dict[str, Any]:
    """Return what a draft was at a version; NotFound when it was never saved so."""
    found = session.exec(
        select(DraftSave.document).where(col(DraftSave.draft_id) == draft_id, col(DraftSave.version) == version)
    ).first()
    if found is None:
        raise NotFound(f"save {version} of draft {draft_id}")
    return dict(found)


def picture_svgs(session: Session, drawings: Mapping[str, str]) -> Mapping[str, Markup]:
    """Return picture name → drawing or photo to put into a page, of those that are stored."""
    wanted = set(drawings.values())
    rows = session.exec(select(Drawing.sha256, Drawing.svg).where(col(Drawing.sha256).in_(wanted))).all()
    svgs = {sha256: Markup(inline(svg)) for sha256, svg in rows}  # noqa: S704  Cleaned by clean_svg.
    photos = session.exec(
        select(Media.sha256, Media.width, Media.height, Media.name).where(
            col(Media.sha256).in_(wanted - set(svgs)), col(Media.kind) == MediaKind.PICTURE
        )
    ).all()
    for sha256, width, height, name in photos:
        svgs[sha256] = Markup(photo_svg(f"/media/{sha256}", width or 4, height or 3, name))  # noqa: S704  Escaped.
    return {picture: svgs[sha256] for picture, sha256 in drawings.items() if sha256 in svgs}
