"""HTTP: the difference between revisions, and procedures as files with their pictures: our own, and DITA topics."""

import io
import zipfile
from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.people.access import Bench, Everybody
from app.platform.media import MediaStore
from app.platform.settings import Settings
from app.platform.web import Db, SiteSettings, page
from app.procedures import dita, queries
from app.procedures.document import write_yaml
from app.procedures.drawings import standalone
from app.procedures.pages import comparing as pages
from app.procedures.queries import RevisionInfo
from app.procedures.routes.draft_change import DraftId
from app.procedures.routes.reading import Code, Number
from app.rules.sheet import Sheet

router = APIRouter(include_in_schema=False)


@router.get("/procedures/drafts/{draft_id}/compare")
def compare_draft(request: Request, db: Db, _caller: Bench, draft_id: DraftId) -> Response:
    """Show how a draft differs from what it began from."""
    with db.read() as session:
        shown = pages.draft_compare_page(session, draft_id)
    return page(request, "procedures/compare.html", shown)


@router.get("/procedures/{code}/compare")
def compare(
    request: Request,
    db: Db,
    _caller: Everybody,
    code: Code,
    before: Annotated[int | None, Query(alias="from", ge=1, le=9999)] = None,
    after: Annotated[int | None, Query(alias="to", ge=1, le=9999)] = None,
) -> Response:
    """Show what differs between two revisions."""
    with db.read() as session:
        shown = pages.compare_page(session, code, before, after)
    return page(request, "procedures/compare.html", shown)


@router.get("/procedures/dita.zip")
def all_topics(db: Db, settings: SiteSettings, _caller: Everybody) -> Response:
    """Answer with the newest revision of every procedure as DITA topics with a map."""
    with db.read() as session:
        found = [_whole(session, settings, info) for info in queries.procedures(session)]
    return _zip(dita.bundle(f"Procedures of {settings.site_name}", found), "procedures-dita")


@router.get("/procedures/{code}/{number}.dita")
def topic(db: Db, _caller: Everybody, code: Code, number: Number) -> Response:
    """Answer with a revision as a DITA task topic."""
    with db.read() as session:
        text = dita.write_topic(queries.sheet(session, queries.find_revision(session, code, number).id))
    name = f'attachment; filename="{code}-revision-{number}.dita"'
    return Response(text, media_type=dita.MEDIA_TYPE, headers={"content-disposition": name})


@router.get("/procedures/{code}/{number}.dita.zip")
def topic_with_pictures(db: Db, settings: SiteSettings, _caller: Everybody, code: Code, number: Number) -> Response:
    """Answer with a revision as a DITA task topic, its map and its pictures."""
    with db.read() as session:
        sheet, pictures = _whole(session, settings, queries.find_revision(session, code, number))
    return _zip(dita.bundle(sheet.title, [(sheet, pictures)]), f"{code}-revision-{number}-dita")


@router.get("/procedures/{code}/{number}.zip")
def file_with_pictures(db: Db, settings: SiteSettings, _caller: Everybody, code: Code, number: Number) -> Response:
    """Answer with a revision as a procedure file and the pictures it names, each ready to be imported again."""
    out = io.BytesIO()
    with db.read() as session, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        info = queries.find_revision(session, code, number)
        archive.writestr(f"{code}.yaml", write_yaml(queries.sheet(session, info.id)))
        for name, body in _whole(session, settings, info, styled=False)[1].items():
            archive.writestr(name, body)
    return _zip(out.getvalue(), f"{code}-revision-{number}")


def _whole(
    session: Session, settings: Settings, info: RevisionInfo, styled: bool = True
) -> tuple[Sheet, Mapping[str, bytes]]:
    """Return a revision with its pictures by name; a photo whose file is not there is left out.

    ``styled`` drawings show themselves; without it they are as they are stored and can be imported.
    """
    pictures = {}
    for name, sha256 in queries.drawing_hashes(session, info.id).items():
        if name.endswith(".svg"):
            svg = queries.drawing_svg(session, sha256)
            pictures[name] = (standalone(svg) if styled else svg).encode()
        elif (photo := MediaStore(settings.media_folder).path(sha256)).is_file():
            pictures[name] = photo.read_bytes()
    return queries.sheet(session, info.id), pictures


def _zip(body: bytes, name: str) -> Response:
    headers = {"content-disposition": f'attachment; filename="{name}.zip"'}
    return Response(body, media_type="application/zip", headers=headers)
