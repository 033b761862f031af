"""Import of tables: columns matched and remembered, errors by row and column, all of it or nothing."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from pydantic import BaseModel
from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused
from app.stores.actions.importing import ROW_MODELS, import_catalogue
from app.stores.actions.policy import save_prices
from app.stores.actions.receiving import receive_loose
from app.stores.forms import ImportReport, RowError, check_row
from app.stores.models import ImportColumns, Location, Part, Supplier, SupplierPrice
from app.stores.table_rows import PriceRow, StockRow

MODELS: Mapping[str, type[BaseModel]] = {**ROW_MODELS, "stock": StockRow, "prices": PriceRow}
Row = Mapping[str, str]
Fault = Callable[[int, str, str], None]


def import_table(
    session: Session,
    kind: str,
    rows: Sequence[Row],
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    today: date,
) -> ImportReport:
    """Import rows of column name to text, in the caller's transaction, and say what was done.

    With errors in the report the caller must roll back; a dry run is the same, rolled back. ``kind`` is one of
    ``MODELS``. Stock is received without an order, prices replace those of the same part and supplier.
    """
    given = {name for row in rows for name in row}
    missing = [
        RowError(kind, 1, name, "No column of the file is matched to it. Match one, or add the column.")
        for name, field in MODELS[kind].model_fields.items()
        if field.is_required() and name not in given
    ]
    if missing:
        return ImportReport(errors=tuple(missing))
    if kind in ROW_MODELS:
        tables = [rows if name == kind else () for name in ("suppliers", "locations", "parts")]
        return import_catalogue(session, *tables, entry_id=entry_id, at=at, who=who)
    checked: list[tuple[int, Any]] = []
    errors: list[RowError] = []
    for number, row in enumerate(rows, start=2):
        data, wrong = check_row(MODELS[kind], kind, number, row)
        errors += wrong
        if data is not None:
            checked.append((number, data))

    def fault(row: int, column: str, message: str) -> None:
        errors.append(RowError(kind, row, column, message))

    stamp: dict[str, Any] = {"entry_id": entry_id, "at": at, "who": who}
    added: list[str]
    changed: list[str]
    if kind == "stock":
        added, changed = _stock(session, checked, fault, stamp, today), []
    else:
        added, changed = _prices(session, checked, fault)
    errors.sort(key=lambda e: (e.row, e.column))
    return ImportReport(tuple(errors), tuple(added), tuple(changed), stored=not errors)


def _stock(
    session: Session, rows: Sequence[tuple[int, StockRow]], fault: Fault, stamp: Mapping[str, Any], today: date
) -> list[str]:
    parts = {p.number: p for p in session.exec(select(Part)).all()}
    places = set(session.exec(select(Location.code)).all())
    added = []
    for number, row in rows:
        if row.part not in parts:
            fault(number, "part", f"There is no part {row.part}. Import the parts first, or correct the number.")
            continue
        if row.location and row.location not in places:
            fault(number, "location", f"There is no place {row.location}. Add it first, or correct the code.")
            continue
        try:
            receive_loose(
                session, row.part, row.lot, row.expires_on, row.quantity, row.unit_cost, row.location or None,
                "Imported", **stamp, today=today,
            )  # fmt: skip
        except Refused as refusal:
            fault(number, {"lot_code": "lot"}.get(refusal.field or "", refusal.field or ""), refusal.reason)
            continue
        added.append(f"{row.quantity} × {row.part}")
    return added


def _prices(session: Session, rows: Sequence[tuple[int, PriceRow]], fault: Fault) -> tuple[list[str], list[str]]:
    suppliers = dict(session.exec(select(Supplier.code, Supplier.id)).all())
    steps: dict[tuple[str, str], list[tuple[int, PriceRow]]] = {}
    for number, row in rows:
        if row.supplier not in suppliers:
            fault(number, "supplier", f"There is no supplier {row.supplier}. Add it first, or correct the code.")
            continue
        steps.setdefault((row.part, row.supplier), []).append((number, row))
    known = set(
        session.exec(
            select(Part.number, Supplier.code)
            .join(SupplierPrice, col(SupplierPrice.part_id) == col(Part.id))
            .join(Supplier, col(Supplier.id) == col(SupplierPrice.supplier_id))
        ).all()
    )
    added: list[str] = []
    changed: list[str] = []
    for (part, supplier), found in sorted(steps.items()):
        try:
            prices = [(row.from_quantity, row.unit_price) for _number, row in found]
            save_prices(session, part, suppliers[supplier] or 0, prices)
        except NotFound:
            fault(found[0][0], "part", f"There is no part {part}. Import the parts first, or correct the number.")
        except Refused as refusal:
            fault(found[-1][0], "from_quantity", refusal.reason)
        else:
            (changed if (part, supplier) in known else added).append(f"{part} from {supplier}")
    return added, changed


def remember_columns(session: Session, kind: str, columns: Mapping[str, str]) -> None:
    """Remember which heading of a file of this kind means which column; headings in small letters."""
    row = session.exec(select(ImportColumns).where(col(ImportColumns.kind) == kind).with_for_update()).first()
    row = row or ImportColumns(kind=kind, columns={})
    row.columns = {**row.columns, **{name.casefold(): value for name, value in columns.items()}}
    session.add(row)
    session.flush()
