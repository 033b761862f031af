"""SELECTs of stored pictures, recordings and texts, and the clips that steps show of recordings."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from sqlmodel import Session, col, select

from app.platform.errors import NotFound
from app.platform.media import MediaStore
from app.procedures.models import Media, MediaKind
from app.rules.sheet import Sheet


@dataclass(frozen=True)
class MediaInfo:
    """A stored file; ``size`` in bytes, ``name`` what it was called when it came first."""

    sha256: str
    kind: MediaKind
    content_type: str
    name: str
    size: int


@dataclass(frozen=True)
class ClipView:
    """A step's part of a recording; ``address`` with its fragment, empty when the recording is not stored here.

    ``from_s`` and ``to_s`` are seconds as plain numbers in text, ``said`` the same for people, such as 0:12 to 0:31.
    """

    address: str
    from_s: str
    to_s: str
    said: str
    content_type: str
    recording: str


def media(session: Session, sha256: str) -> MediaInfo:
    """Return one stored file; NotFound when there is none with this hash."""
    row = session.exec(select(Media).where(col(Media.sha256) == sha256)).first()
    if row is None:
        raise NotFound("such file")
    return _info(row)


def _info(row: Media) -> MediaInfo:
    return MediaInfo(row.sha256, row.kind, row.content_type, row.name, row.size)


def media_faults(session: Session, store: MediaStore) -> tuple[str, ...]:
    """Return what is wrong with the files of the media folder: those missing, and those of another size."""
    rows = session.exec(select(Media.sha256, Media.size).order_by(col(Media.stored_at), col(Media.sha256))).all()
    return tuple(fault for sha256, size in rows if (fault := store.fault(sha256, size)))


def clips(session: Session, steps: Iterable[Mapping[str, Any]]) -> Mapping[str, ClipView]:
    """Return step id → clip of the steps of a draft or a sheet, as plain data; a clip with gaps is left out."""
    asked = {str(step.get("id")): step["clip"] for step in steps if isinstance(step.get("clip"), Mapping)}
    if not asked:
        return {}
    wanted = {str(clip.get("video") or "") for clip in asked.values()}
    rows = session.exec(
        select(Media)
        .where(col(Media.kind) == MediaKind.VIDEO, col(Media.sha256).in_(wanted) | col(Media.name).in_(wanted))
        .order_by(col(Media.stored_at))
    ).all()
    found = {row.name: _info(row) for row in rows} | {row.sha256: _info(row) for row in rows}
    views = {step: _view(clip, found.get(str(clip.get("video") or ""))) for step, clip in asked.items()}
    return {step: view for step, view in views.items() if view is not None}


def recordings(session: Session, hashes: Iterable[str]) -> Mapping[str, str]:
    """Return hash → name of those recordings that are stored."""
    rows = session.exec(
        select(Media.sha256, Media.name).where(col(Media.kind) == MediaKind.VIDEO, col(Media.sha256).in_(set(hashes)))
    ).all()
    return {row[0]: row[1] for row in rows}


def sheet_clips(session: Session, sheet: Sheet) -> Mapping[str, ClipView]:
    """Return step id → clip of a published sheet."""
    return clips(session, [{"id": step.id, "clip": step.clip.model_dump()} for step in sheet.steps if step.clip])


def _view(clip: Mapping[str, Any], stored: MediaInfo | None) -> ClipView | None:
    try:
        begin, end = (Decimal(str(clip.get(name))) for name in ("from_s", "to_s"))
    except InvalidOperation:
        return None
    if not (begin.is_finite() and end.is_finite()) or not 0 <= begin < end:
        return None
    from_s, to_s = (format(moment.normalize(), "f") for moment in (begin, end))
    return ClipView(
        address=f"/media/{stored.sha256}#t={from_s},{to_s}" if stored else "",
        from_s=from_s,
        to_s=to_s,
        said=f"{moment_words(begin)} to {moment_words(end)}",
        content_type=stored.content_type if stored else "",
        recording=stored.name if stored else str(clip.get("video")),
    )


def moment_words(seconds: float | Decimal) -> str:
    """Return a moment of a recording as people say it: 0:12, 1:02:30."""
    whole = int(seconds)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"
