"""HTTP: stored pictures, recordings and texts, whole or in ranges (RFC 9110, 14)."""

from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import FileResponse, Response

from app.people.access import Everybody
from app.platform.errors import NotFound
from app.platform.media import MediaStore
from app.platform.web import Db, SiteSettings
from app.procedures import queries
from app.procedures.models import MediaKind

router = APIRouter(include_in_schema=False)

FOR_EVER = "private, max-age=31536000, immutable"
# A stranger's file opened by itself may do nothing but be shown.
POLICY = "default-src 'none'; img-src 'self'; media-src 'self'; frame-ancestors 'none'; sandbox"


@router.api_route("/media/{sha256}", methods=["GET", "HEAD"])
def stored_file(
    request: Request,
    db: Db,
    settings: SiteSettings,
    _caller: Everybody,
    sha256: Annotated[str, Path(pattern=r"^[0-9a-f]{64}$")],
) -> Response:
    """Answer with a stored file; its address is the hash of its content, so it may be kept for ever."""
    with db.read() as session:
        found = queries.media(session, sha256)
    headers = {"etag": f'"{sha256}"', "cache-control": FOR_EVER, "content-security-policy": POLICY}
    if f'"{sha256}"' in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    path = MediaStore(settings.media_folder).path(sha256)
    try:
        known = path.stat()
    except OSError as error:
        raise NotFound(f"file {sha256[:12]}… in the media folder") from error
    shown = "attachment" if found.kind is MediaKind.WORDS else "inline"
    return FileResponse(
        path,
        headers=headers,
        media_type=found.content_type,
        filename=found.name,
        stat_result=known,
        content_disposition_type=shown,
    )
