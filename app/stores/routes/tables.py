"""HTTP: tables in and out, as CSV and as workbooks."""

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.people.access import Caller, Posted, Stores
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import NotFound, Refused
from app.platform.forms import Form, RawForm, check
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other
from app.stores import actions, queries
from app.stores.forms import ImportReport
from app.stores.pages.common import workshop_day
from app.stores.pages.tables import TablesPage, chosen_columns, matched_rows, tables_page
from app.stores.spreadsheet import CSV_TYPE, XLSX_TYPE, Table, read_table, write_csv, write_workbook
from app.stores.table_rows import TableForm

router = APIRouter(include_in_schema=False)
Done = Annotated[str, Query(pattern=r"^(\d{1,9}-\d{1,9}-\d{1,9})?$")]


class _Checked(Exception):
    """Carries the report of a dry run, or of one with errors, out of a transaction so that it is rolled back."""

    def __init__(self, report: ImportReport) -> None:
        super().__init__("rolled back")
        self.report = report


@router.get("/stores/import")
def show_import(request: Request, db: Db, _caller: Stores, done: Done = "", kind: str = "parts") -> Response:
    """Show the form that takes a file; ``done`` is what the last import did, as ``_done`` writes it."""
    with db.read() as session:
        context = tables_page(session, Form(values={"kind": kind}), None, {}, None, done)
    return page(request, "stores/import.html", context)


@router.post("/stores/import")
def import_file(request: Request, db: Db, settings: SiteSettings, caller: Stores, raw: Posted) -> Response:
    """Check a file and show what it would do; or store it, when the button said so and nothing is wrong."""
    form = check(TableForm, raw)
    if form.data is None:
        return _show(request, db, form, None, {}, None, 422)
    uploads = raw.files.get("file", ())
    upload = uploads[-1] if uploads else None
    try:
        table = read_table(upload.body if upload else form.data.text.encode(), upload.filename if upload else "")
    except Refused as refusal:
        return _show(request, db, form.wrong("file", refusal.reason), None, {}, None, 422)
    with db.read() as session:
        remembered = queries.remembered_columns(session, form.data.kind)
    columns = chosen_columns(form.data.kind, table, {} if upload else raw.starting("column-"), remembered)
    at = clock.now()
    try:
        with db.write() as session:
            report = _import(session, settings, caller, raw, form.data.kind, table, columns, at)
    except _Checked as found:
        report = found.report
        return _show(request, db, form, table, columns, report, 422 if report.errors else 200)
    except Refused as refusal:
        return _show(request, db, form.refused(refusal), table, columns, None, 409)
    return see_other(f"/stores/import?kind={form.data.kind}&done={_done(report)}")


def _done(report: ImportReport) -> str:
    return f"{len(report.added)}-{len(report.changed)}-{report.same}"


def _import(
    session: Session,
    settings: Settings,
    caller: Caller,
    raw: RawForm,
    kind: str,
    table: Table,
    columns: Mapping[int, str],
    at: datetime,
) -> ImportReport:
    """Import, remember the columns and settle; or raise to roll everything back."""
    store = raw.get("do") == "import"
    key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at) if store else clock.uuid7(at)
    day = workshop_day(settings, at)
    rows = matched_rows(table, columns)
    report = actions.import_table(session, kind, rows, entry_id=key, at=at, who=caller.person_id, today=day)
    if report.errors or not store:
        raise _Checked(report)
    actions.remember_columns(session, kind, {table.heading[n]: name for n, name in columns.items()})
    settle(session, key, f"/stores/import?kind={kind}&done={_done(report)}")
    return report


def _show(
    request: Request,
    db: Database,
    form: Form[Any],
    table: Table | None,
    columns: Mapping[int, str],
    report: ImportReport | None,
    status: int,
) -> Response:
    with db.read() as session:
        context: TablesPage = tables_page(session, form, table, columns, report, "")
    return page(request, "stores/import.html", context, status=status)


@router.get("/stores/export/everything.xlsx")
def export_everything(db: Db, _caller: Stores) -> Response:
    """Send everything as one workbook, a sheet for each kind."""
    with db.read() as session:
        body = write_workbook({kind: queries.export_table(session, kind) for kind in queries.EXPORTS})
    return _file(body, XLSX_TYPE, "stores.xlsx")


@router.get("/stores/export/{name}")
def export_one(db: Db, _caller: Stores, name: str) -> Response:
    """Send one kind of table as CSV or as a workbook, by the ending of the name."""
    kind, _, ending = name.rpartition(".")
    if kind not in queries.EXPORTS or ending not in ("csv", "xlsx"):
        raise NotFound(f"table {name}")
    with db.read() as session:
        heading, rows = queries.export_table(session, kind)
        body = write_csv(heading, rows) if ending == "csv" else write_workbook({kind: (heading, rows)})
    return _file(body, CSV_TYPE if ending == "csv" else XLSX_TYPE, f"stores-{name}")


def _file(body: bytes, media_type: str, name: str) -> Response:
    return Response(body, media_type=media_type, headers={"content-disposition": f'attachment; filename="{name}"'})
