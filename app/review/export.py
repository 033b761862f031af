"""The history as CSV, written so that a spreadsheet takes text as text and numbers as numbers."""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime, tzinfo
from decimal import Decimal

from app.review.queries.history import HistoryRow

HEADS = (
    "job", "device model", "serial", "fault", "technician", "booked in", "closed", "outcome", "stage",
    "bench seconds", "parts cost", "labour cost", "currency", "overridden",
)  # fmt: skip
# A cell that begins with one of these is taken as a formula by spreadsheets; the wide forms by some of them.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

Cell = str | int | Decimal | None


def safe_cell(value: Cell) -> str:
    """Return a cell's text. Text that a spreadsheet would run gets an apostrophe before it; a number stays one."""
    if value is None:
        return ""
    if isinstance(value, int | Decimal):
        return str(value)
    return f"'{value}" if value.startswith(_FORMULA) else value


def csv_lines(rows: Iterable[HistoryRow], names: Mapping[int, str], zone: tzinfo, currency: str) -> Iterator[bytes]:
    """Yield the CSV (RFC 4180, UTF-8 with a byte order mark), heads first, a line a job."""
    yield b"\xef\xbb\xbf" + _line(HEADS)
    for row in rows:
        yield _line(_cells(row, names, zone, currency))


def _cells(row: HistoryRow, names: Mapping[int, str], zone: tzinfo, currency: str) -> tuple[Cell, ...]:
    technician = names.get(row.technician_id, "") if row.technician_id is not None else ""
    return (
        row.number,
        row.model,
        row.serial,
        row.fault,
        technician,
        _moment(row.booked_at, zone),
        _moment(row.closed_at, zone),
        row.outcome,
        row.stage,
        row.bench_s,
        row.parts_cost,
        row.labour_cost,
        currency,
        "yes" if row.overridden else "no",
    )


def _moment(at: datetime | None, zone: tzinfo) -> str:
    return "" if at is None else at.astimezone(zone).strftime("%Y-%m-%d %H:%M")


def _line(cells: Iterable[Cell]) -> bytes:
    text = io.StringIO()
    csv.writer(text).writerow([safe_cell(cell) for cell in cells])
    return text.getvalue().encode()
