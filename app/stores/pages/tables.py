"""The page that takes tables in and gives them out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session

from app.platform.forms import Form
from app.stores import queries
from app.stores.actions import TABLE_MODELS
from app.stores.forms import ImportReport
from app.stores.spreadsheet import Table, write_csv

IMPORTS = {
    "parts": "Parts",
    "suppliers": "Suppliers",
    "locations": "Places",
    "stock": "Stock",
    "prices": "Prices",
}


@dataclass(frozen=True)
class MatchedColumn:
    """One column of the file: its heading, our column it is matched to (empty: left out), and its first entry."""

    n: int
    heading: str
    column: str
    example: str


@dataclass(frozen=True)
class TablesPage:
    """The form, what is known of the file, and what it would do.

    ``text`` is the file as CSV, sent again with the next step; ``choices`` are our columns for the file's kind.
    """

    form: Form[Any]
    kinds: Sequence[tuple[str, str]]
    columns: tuple[MatchedColumn, ...]
    choices: Sequence[tuple[str, str]]
    report: ImportReport | None
    text: str
    done: str
    needed: Mapping[str, tuple[str, ...]]
    exports: Sequence[tuple[str, str]]


def chosen_columns(kind: str, table: Table, asked: Mapping[str, str], remembered: Mapping[str, str]) -> dict[int, str]:
    """Match the file's columns to ours: as asked, else as remembered, else by the same name; '' leaves one out."""
    ours = TABLE_MODELS[kind].model_fields
    found: dict[int, str] = {}
    for n, heading in enumerate(table.heading):
        same = heading.strip().casefold().replace(" ", "_")
        name = asked.get(str(n), remembered.get(heading.casefold(), same))
        found[n] = name if name in ours and name not in found.values() else ""
    return found


def matched_rows(table: Table, columns: Mapping[int, str]) -> list[dict[str, str]]:
    """Return the rows by our column names; what is matched to nothing is left out."""
    return [{name: row[n] for n, name in columns.items() if name} for row in table.rows]


def tables_page(
    session: Session,
    form: Form[Any],
    table: Table | None,
    columns: Mapping[int, str],
    report: ImportReport | None,
    done: str,
) -> TablesPage:
    """Gather the page."""
    kind = form.value("kind") if form.value("kind") in IMPORTS else "parts"
    return TablesPage(
        form=form,
        kinds=tuple(IMPORTS.items()),
        columns=tuple(
            MatchedColumn(n, heading, columns.get(n, ""), next((row[n] for row in table.rows if row[n]), ""))
            for n, heading in enumerate(table.heading)
        )
        if table
        else (),
        choices=(("", "Leave out"), *((name, name) for name in TABLE_MODELS[kind].model_fields)),
        report=report,
        text=write_csv(table.heading, table.rows).decode("utf-8-sig") if table else form.value("text"),
        done=done,
        needed={IMPORTS[name]: tuple(TABLE_MODELS[name].model_fields) for name in IMPORTS},
        exports=tuple((kind, IMPORTS.get(kind, kind.capitalize())) for kind in queries.EXPORTS),
    )
