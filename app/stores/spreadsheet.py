"""Tables from and for spreadsheets: CSV and Office Open XML workbooks (ISO/IEC 29500), read and written."""

import csv
import io
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final

from openpyxl import Workbook, load_workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.utils.exceptions import InvalidFileException

from app.platform.errors import Refused

MAX_ROWS: Final = 50_000
MAX_UNPACKED: Final = 200 * 1024 * 1024
FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r")
CSV_TYPE: Final = "text/csv; charset=utf-8"
XLSX_TYPE: Final = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@dataclass(frozen=True)
class Table:
    """A heading and rows of text under it, all as wide as the heading."""

    heading: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def read_table(body: bytes, filename: str = "") -> Table:
    """Read a CSV file or the first sheet of a workbook. Raises Refused in words for what cannot be read."""
    lines = _workbook_lines(body) if body[:2] == b"PK" else _csv_lines(body)
    lines = [line for line in lines if any(line)]
    if not lines:
        raise Refused("The file is empty. It needs a heading row and at least one row under it.", "file")
    heading = lines[0]
    while heading and not heading[-1]:
        heading = heading[:-1]
    if len({name.casefold() for name in heading if name}) != len([name for name in heading if name]):
        raise Refused("Two columns have the same heading. Keep one of them.", "file")
    if len(lines) == 1:
        raise Refused("The file has a heading and no rows.", "file")
    if len(lines) > MAX_ROWS:
        raise Refused(f"The file has more than {MAX_ROWS:,} rows. Send it in parts.", "file")
    width = len(heading)
    rows = []
    for number, line in enumerate(lines[1:], start=2):
        if any(line[width:]):
            raise Refused(
                f"Row {number} has {len(line)} fields, the heading {width}. Put text that has a comma in it in double "
                "quotes.",
                "file",
            )
        rows.append((*line[:width], *[""] * (width - len(line))))
    return Table(tuple(heading), tuple(rows))


def _csv_lines(body: bytes) -> list[list[str]]:
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Refused("The file is not UTF-8 text. Save it as CSV in UTF-8, or as XLSX.", "file") from error
    first = text.lstrip("\r\n ").splitlines()[:1]
    delimiter = max(",;\t", key=first[0].count) if first else ","
    reader = csv.reader(io.StringIO(text.strip("\r\n")), delimiter=delimiter, strict=True)
    try:
        return [[_unescaped(field.strip()) for field in line] for line in reader]
    except csv.Error as error:
        raise Refused(f"Row {reader.line_num} cannot be read as CSV: {error}.", "file") from error


def _workbook_lines(body: bytes) -> list[list[str]]:
    try:
        with zipfile.ZipFile(io.BytesIO(body)) as packed:
            if sum(part.file_size for part in packed.infolist()) > MAX_UNPACKED:
                raise Refused("The workbook unpacks to more than 200 MB. Send it in parts.", "file")
        book = load_workbook(io.BytesIO(body), read_only=True, data_only=True)
        sheet = book.worksheets[0]
        found = [[_text(value) for value in row] for row in sheet.iter_rows(values_only=True, max_row=MAX_ROWS + 1)]
        book.close()
    except (zipfile.BadZipFile, InvalidFileException, KeyError, ValueError, IndexError) as error:
        raise Refused("The file is not a workbook that can be read. Save it as XLSX or CSV.", "file") from error
    return found


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.date().isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() else f"{Decimal(repr(value)).normalize():f}"
    return _unescaped(str(value).strip())


def _unescaped(text: str) -> str:
    """Take the sign away that ``escaped`` puts before a formula's start."""
    return text[1:] if text[:1] == "'" and text[1:2] in FORMULA_STARTS else text


def escaped(value: Any) -> Any:
    """Return a value for a spreadsheet: text that would start a formula gets a leading apostrophe."""
    if value is None:
        return ""
    return f"'{value}" if isinstance(value, str) and value[:1] in FORMULA_STARTS else value


def write_csv(heading: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    """Return a table as CSV in UTF-8 with a mark, as spreadsheets expect it; formula starts are escaped."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(heading)
    for row in rows:
        writer.writerow([_plain(escaped(value)) for value in row])
    return out.getvalue().encode("utf-8-sig")


def _plain(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, date) else value


def write_workbook(sheets: Mapping[str, tuple[Sequence[str], Iterable[Sequence[Any]]]]) -> bytes:
    """Return tables as a workbook, a sheet each; text is stored as text, so that none of it becomes a formula."""
    book = Workbook(write_only=True)
    for name, (heading, rows) in sheets.items():
        sheet = book.create_sheet(name)
        sheet.append(list(heading))
        for row in rows:
            sheet.append([_cell(sheet, value) for value in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _cell(sheet: Any, value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, str):
        cell = WriteOnlyCell(sheet, value=escaped(value))
        cell.data_type = "s"
        return cell
    return value
