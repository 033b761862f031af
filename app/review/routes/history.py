"""The history of all jobs: list and CSV."""

from collections.abc import Iterator

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response, StreamingResponse

from app.people.access import Everybody, Supervisor
from app.people.queries import names
from app.platform import clock
from app.platform.forms import Form, RawForm, check
from app.platform.web import Db, SiteSettings, page
from app.review.export import csv_lines
from app.review.forms import HistoryForm
from app.review.pages.history import history_list
from app.review.queries.history import HistoryPage, HistoryRow, history_page, model_names

router = APIRouter(include_in_schema=False)
PAGE = 50
CHUNK = 500


def asked(request: Request) -> RawForm:
    """Return the address's query as the forms take it."""
    query = request.query_params
    return RawForm({name: tuple(query.getlist(name)) for name in query})


@router.get("/review")
def review(_caller: Everybody) -> RedirectResponse:
    """Send the short address on to the history."""
    return RedirectResponse("/review/history", status_code=307)


@router.get("/review/history")
def history(
    request: Request,
    db: Db,
    settings: SiteSettings,
    caller: Everybody,
    after: int | None = None,
    before: int | None = None,
) -> Response:
    """Show the jobs under the filters of the address, newest first."""
    form = check(HistoryForm, asked(request))
    with db.read() as session:
        people, models = names(session), model_names(session)
        found = HistoryPage((), False, False)
        if form.data is not None:
            wanted = form.data.narrowed(settings.zone)
            found = history_page(session, wanted, after=after, before=before, limit=PAGE)
    shown = history_list(form, found, people, models, may_export=caller.role == "supervisor")
    status = 422 if form.data is None else 200
    return page(request, "review/history.html", shown, status=status, fragment="list")


@router.get("/review/history.csv")
def history_csv(request: Request, db: Db, settings: SiteSettings, _caller: Supervisor) -> Response:
    """Send the jobs under the filters of the address as CSV, read and sent a few hundred at a time."""
    form: Form[HistoryForm] = check(HistoryForm, asked(request))
    if form.data is None:
        return RedirectResponse(f"/review/history?{request.url.query}", status_code=303)
    wanted = form.data.narrowed(settings.zone)
    with db.read() as session:
        people = names(session)

    def rows() -> Iterator[HistoryRow]:
        # Each chunk is a read of its own: a long one would keep SQLite from tidying its log meanwhile.
        after: int | None = None
        while True:
            with db.read() as session:
                found = history_page(session, wanted, after=after, limit=CHUNK)
            yield from found.rows
            if not found.older:
                return
            after = found.rows[-1].id

    day = clock.now().astimezone(settings.zone).strftime("%Y-%m-%d")
    headers = {"Content-Disposition": f'attachment; filename="history-{day}.csv"'}
    lines = csv_lines(rows(), people, settings.zone, settings.currency)
    return StreamingResponse(lines, media_type="text/csv; charset=utf-8", headers=headers)
