"""Import of the catalogue from CSV rows: dry run, errors by row, all or nothing."""

from collections.abc import Callable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from pydantic import BaseModel
from sqlmodel import Session, select

from app.stores.actions.catalogue import PartData, add_part, edit_part, save_location, save_supplier
from app.stores.forms import (
    CatalogueLocation,
    CataloguePart,
    CatalogueSupplier,
    ImportReport,
    RowError,
    check_row,
)
from app.stores.models import Location, Part, Supplier

Row = Mapping[str, str]
ROW_MODELS: Mapping[str, type[BaseModel]] = {
    "suppliers": CatalogueSupplier,
    "locations": CatalogueLocation,
    "parts": CataloguePart,
}


@dataclass
class _Work:
    errors: list[RowError] = field(default_factory=list)
    added: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    same: int = 0


def import_catalogue(
    session: Session,
    suppliers: Sequence[Row],
    locations: Sequence[Row],
    parts: Sequence[Row],
    *,
    entry_id: str = "import",
    at: datetime,
    who: int | None,
    dry_run: bool = False,
) -> ImportReport:
    """Import suppliers, locations and parts, given as rows of column name to text; existing ones are updated.

    Row numbers in errors count the heading as row 1. With errors, or as a dry run, nothing is stored. A part
    with a blank field gets the default; an existing part that is not named stays as it is.
    """
    work = _Work()
    checked = {
        "suppliers": _check(work, "suppliers", suppliers, "code"),
        "locations": _check(work, "locations", locations, "code"),
        "parts": _check(work, "parts", parts, "number"),
    }
    known_suppliers = {row.code: row for row in session.exec(select(Supplier)).all()}
    known_locations = {row.code: row for row in session.exec(select(Location)).all()}
    known_parts = {row.number: row for row in session.exec(select(Part)).all()}
    codes = {
        "supplier": known_suppliers.keys() | {row.code for _n, row in checked["suppliers"]},
        "location": known_locations.keys() | {row.code for _n, row in checked["locations"]},
    }
    _check_references(work, parts, codes)
    _check_gtins(work, checked["parts"], known_parts)
    if not work.errors:
        stamp = None if dry_run else {"entry_id": entry_id, "at": at, "who": who}
        _store_places(session, work, checked["suppliers"], known_suppliers, "supplier", save_supplier, stamp)
        _store_places(session, work, checked["locations"], known_locations, "location", save_location, stamp)
        _store_parts(session, work, checked["parts"], known_parts, stamp)
    work.errors.sort(key=lambda e: (e.file, e.row, e.column))
    stored = not work.errors and not dry_run
    return ImportReport(tuple(work.errors), tuple(work.added), tuple(work.changed), work.same, stored)


def _check(work: _Work, file: str, rows: Sequence[Row], key: str) -> list[tuple[int, Any]]:
    """Check rows one by one, and that no key stands twice."""
    good: list[tuple[int, Any]] = []
    seen: dict[str, int] = {}
    for number, row in enumerate(rows, start=2):
        data, errors = check_row(ROW_MODELS[file], file, number, row)
        work.errors += errors
        if data is None:
            continue
        name = getattr(data, key)
        if name in seen:
            work.errors.append(
                RowError(file, number, key, f"{name} stands in row {seen[name]} already. Keep one of them.")
            )
            continue
        seen[name] = number
        good.append((number, data))
    return good


def _check_references(work: _Work, rows: Sequence[Row], codes: Mapping[str, AbstractSet[str]]) -> None:
    """Check the codes of all rows, also of those that are wrong elsewhere, so that one look shows everything.

    A code that is no code at all has been told of already.
    """
    told = {(error.row, error.column) for error in work.errors if error.file == "parts"}
    for number, row in enumerate(rows, start=2):
        for column, known in codes.items():
            code = " ".join((row.get(column) or "").split())
            if code and code not in known and (number, column) not in told:
                word = "place" if column == "location" else column
                words = f"There is no {word} {code}. Add it to the {word}s first, or correct the code."
                work.errors.append(RowError("parts", number, column, words))


def _check_gtins(work: _Work, rows: list[tuple[int, CataloguePart]], known: Mapping[str, Part]) -> None:
    owners = {part.gtin: part.number for part in known.values() if part.gtin}
    for number, row in rows:
        if row.gtin is None:
            continue
        owner = owners.setdefault(row.gtin, row.number)
        if owner != row.number:
            words = f"This GTIN belongs to {owner}. Read it off the pack again."
            work.errors.append(RowError("parts", number, "gtin", words))


def _store_places(
    session: Session,
    work: _Work,
    rows: list[tuple[int, Any]],
    known: Mapping[str, Any],
    word: str,
    save: Callable[..., int],
    stamp: Mapping[str, Any] | None,
) -> None:
    """Tell new rows from changed ones; store them when there is a stamp to store them under."""
    for _number, row in rows:
        values = row.model_dump()
        old = known.get(row.code)
        if old is None:
            work.added.append(f"{word} {row.code}")
        elif any(getattr(old, name) != value for name, value in values.items()):
            work.changed.append(f"{word} {row.code}")
        else:
            work.same += 1
            continue
        if stamp is not None:
            save(session, None if old is None else old.id, **values, **stamp)


def _store_parts(
    session: Session,
    work: _Work,
    rows: list[tuple[int, CataloguePart]],
    known: Mapping[str, Part],
    stamp: Mapping[str, Any] | None,
) -> None:
    suppliers = dict(session.exec(select(Supplier.id, Supplier.code)).all())
    locations = dict(session.exec(select(Location.id, Location.code)).all())
    for _number, row in rows:
        data = PartData(**row.model_dump(exclude={"number"}))
        old = known.get(row.number)
        if old is None:
            work.added.append(f"part {row.number}")
            if stamp is not None:
                add_part(session, row.number, data, **stamp)
            continue
        stored = {**old.model_dump(), "supplier": suppliers[old.supplier_id], "location": locations[old.location_id]}
        if all(stored[name] == value for name, value in data.__dict__.items()):
            work.same += 1
            continue
        work.changed.append(f"part {row.number}")
        if stamp is not None:
            edit_part(session, row.number, data, **stamp)
