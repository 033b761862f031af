"""HTTP: procedures to read, print and download, and their drawings."""

import base64
from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import JSONResponse, Response

from app.people.access import Everybody
from app.platform.db import Database
from app.platform.web import Db, page, see_other
from app.procedures import pages, queries
from app.procedures.document import json_schema, write_yaml
from app.procedures.drawings import STYLE_HASH, standalone

router = APIRouter(include_in_schema=False)

Code = Annotated[str, Path(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=48)]
Number = Annotated[int, Path(ge=1, le=9999)]
FOR_EVER = "private, max-age=31536000, immutable"
# A drawing opened by itself may use our own style for it, and nothing else.
DRAWING_POLICY = (
    f"default-src 'none'; style-src 'sha256-{base64.b64encode(STYLE_HASH).decode()}'; frame-ancestors 'none'; sandbox"
)


@router.get("/procedures")
def list_procedures(request: Request, db: Db, _caller: Everybody) -> Response:
    """Show all procedures by device model."""
    with db.read() as session:
        shown = pages.list_page(session)
    return page(request, "procedures/list.html", shown)


@router.get("/procedures/schema.json")
def schema(_caller: Everybody) -> Response:
    """Answer with the JSON Schema of a procedure file."""
    return JSONResponse(json_schema(), media_type="application/schema+json")


@router.get("/procedures/{code}/{number}.yaml")
def download(db: Db, _caller: Everybody, code: Code, number: Number) -> Response:
    """Answer with a revision as a procedure file."""
    with db.read() as session:
        text = write_yaml(queries.sheet(session, queries.find_revision(session, code, number).id))
    name = f'attachment; filename="{code}-revision-{number}.yaml"'
    return Response(text, media_type="application/yaml", headers={"content-disposition": name})


@router.get("/procedures/{code}/{number}/print")
def print_procedure(request: Request, db: Db, _caller: Everybody, code: Code, number: Number) -> Response:
    """Show a revision as it is printed."""
    return _procedure(request, db, code, number, "procedures/print.html")


@router.get("/procedures/{code}/{number}")
def show_procedure(request: Request, db: Db, _caller: Everybody, code: Code, number: Number) -> Response:
    """Show a revision to read."""
    return _procedure(request, db, code, number, "procedures/procedure.html")


@router.get("/procedures/{code}")
def current(db: Db, _caller: Everybody, code: Code) -> Response:
    """Go to the newest revision."""
    with db.read() as session:
        newest = queries.revisions(session, code)[0]
    return see_other(f"/procedures/{code}/{newest.number}")


@router.get("/drawings/{sha256}.svg")
def drawing(db: Db, _caller: Everybody, sha256: Annotated[str, Path(pattern=r"^[0-9a-f]{64}$")]) -> Response:
    """Answer with a drawing; its address is the hash of its content, so it may be kept for ever."""
    with db.read() as session:
        svg = standalone(queries.drawing_svg(session, sha256))
    headers = {"cache-control": FOR_EVER, "content-security-policy": DRAWING_POLICY}
    return Response(svg, media_type="image/svg+xml", headers=headers)


def _procedure(request: Request, db: Database, code: str, number: int, template: str) -> Response:
    with db.read() as session:
        shown = pages.procedure_page(session, queries.find_revision(session, code, number))
    return page(request, template, shown)
