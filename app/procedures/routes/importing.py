"""HTTP: a supervisor imports procedures."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Posted, Supervisor
from app.platform import clock
from app.platform.errors import Refused
from app.platform.forms import blank
from app.platform.submissions import claim, settle
from app.platform.web import Db, page
from app.procedures import actions
from app.procedures.document import ImportRefused
from app.procedures.files import read_uploads
from app.procedures.pages import ImportPage
from app.stores import queries as stores

router = APIRouter(include_in_schema=False)


@router.get("/procedures/import")
def show_import(request: Request, _caller: Supervisor) -> Response:
    """Show the import form."""
    return page(request, "procedures/import.html", ImportPage(blank()))


@router.post("/procedures/import")
def import_files(request: Request, db: Db, caller: Supervisor, raw: Posted) -> Response:
    """Import the uploaded files, all or none, and say what became of them."""
    at = clock.now()
    try:
        files = read_uploads([*raw.files.get("files", ()), *raw.files.get("drawings", ())])
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            parts = stores.known_numbers(session)
            imported = actions.import_sheets(session, files, parts, at, caller.person_id)
            settle(session, key, "/procedures")
    except ImportRefused as refusal:
        count = len(refusal.problems)
        words = f"{count} {'thing' if count == 1 else 'things'} to mend first, then import again."
        shown = ImportPage(blank().refused(Refused(words)), refusal.problems)
        return page(request, "procedures/import.html", shown, status=422)
    except Refused as refusal:
        return page(request, "procedures/import.html", ImportPage(blank().refused(refusal)), status=409)
    return page(request, "procedures/import.html", ImportPage(blank(), imported=imported))
