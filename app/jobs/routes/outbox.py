"""HTTP: what tablets send from their outboxes. The answer names the entry, so that the tablet can let go of it."""

from dataclasses import asdict
from hashlib import sha256
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import JSONResponse, Response
from pydantic import ValidationError

from app.jobs.actions import outbox as actions
from app.jobs.actions.outbox import SentPhoto
from app.jobs.actions.photos import prepare_pictures
from app.jobs.forms import OutboxEntry
from app.jobs.pages.walk import walk_page
from app.people.access import Bench, TapRight
from app.people.queries import Tapper
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import RawForm
from app.platform.web import Db, SiteSettings, drawer, problem, read_form

router = APIRouter(include_in_schema=False)


@router.post("/bench/outbox")
def take(db: Db, tapper: TapRight, entry: OutboxEntry) -> Response:
    """Book one entry, or keep it as also reported or as a question; the same again has the first outcome."""
    if entry.kind == "photo":
        return problem(422, "This is not complete", "A photo is sent with its picture.")
    return _taken(db, tapper, entry, None)


def _taken(db: Database, tapper: Tapper, entry: OutboxEntry, photo: SentPhoto | None) -> Response:
    at = clock.now()
    try:
        with db.write() as session:
            answer = actions.book(session, entry, tapper, at, photo)
    except Refused as refusal:
        # What was refused is rolled back whole; that it came, and why it could not be booked, is kept.
        with db.write() as session:
            answer = actions.keep(session, entry, tapper, at, refusal.reason, photo)
    return JSONResponse(asdict(answer))


@router.post("/bench/outbox/photo")
def take_photo(db: Db, tapper: TapRight, raw: Annotated[RawForm, Depends(read_form)]) -> Response:
    """Keep a photo that was taken at the bench, with the step, inspection or report it belongs to."""
    try:
        entry = OutboxEntry.model_validate_json(raw.get("entry"))
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        return problem(422, "The entry is not valid", f"{where}: {first['msg']}")
    uploads = raw.files.get("photo", ())
    if entry.kind != "photo" or len(uploads) != 1:
        return problem(422, "This is not complete", "Send one picture with an entry of the kind photo.")
    try:
        pictures = prepare_pictures(uploads, "photo", entry.data.caption)
    except Refused as refusal:
        return problem(422, "This photo cannot be kept", refusal.reason)
    sent = SentPhoto(pictures[0], sha256(uploads[0].body).hexdigest())
    return _taken(db, tapper, entry, sent)


@router.get("/jobs/{number}/bench/walk")
def walk(request: Request, db: Db, settings: SiteSettings, caller: Bench, number: str) -> Response:
    """Send the whole way of a job to its tablet: each page of it as the sheet has it, and the drawings."""
    request.state.answers_json = True
    with db.read() as session:
        found = walk_page(
            session, number, who=caller.person_id, at=clock.now(), settings=settings,
            draw=drawer(request, "jobs/bench.html", "bench"),
        )  # fmt: skip
    return JSONResponse(asdict(found), headers={"Cache-Control": "no-store"})
