"""Tables in and out: columns matched and remembered, errors by row and column, all or nothing, formulas escaped."""

import io
from collections.abc import Callable
from datetime import date

import pytest
from openpyxl import Workbook, load_workbook

from app.platform.db import Database
from app.rules.verdict import Refused
from app.stores import actions, queries
from app.stores.spreadsheet import read_table, write_csv, write_workbook
from tests.stores.shop import faults, level, receive, stamp
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]


def workbook(*rows: tuple[object, ...]) -> bytes:
    """Return a workbook with one sheet."""
    book = Workbook()
    for row in rows:
        book.active.append(list(row))  # type: ignore[union-attr]
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def send(clerk: Visitor, kind: str, body: bytes, name: str = "file.xlsx") -> Page:
    """Send a file to be checked."""
    form = clerk.open("/stores/import").form("/stores/import")
    return form.submit(files={"file": (name, body, "application/octet-stream")}, kind=kind, do="check")


def test_stock_comes_in_from_a_workbook_with_other_headings_which_are_remembered(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    body = workbook(
        ("Our number", "Batch", "Pieces", "Best before", "Cost", "Bin", "Remark"),
        ("DISP-1", "D7", 3, None, 86.4, "A-01", "new"),
        ("SEAL-1", "S7", 20, date(2099, 1, 31), 2.5, "C-01", ""),
    )
    shown = send(clerk, "stock", body)
    assert shown.status == 422
    assert "No column of the file is matched to it." in shown.words
    columns = {"column-0": "part", "column-1": "lot", "column-2": "quantity", "column-3": "expires_on",
               "column-4": "unit_cost", "column-5": "location", "column-6": ""}  # fmt: skip
    checked = shown.form("/stores/import").submit(None, **columns, do="check")
    assert "The file is in order" in checked.words
    assert level(shop, "DISP-1").on_hand == 0
    stored = checked.form("/stores/import").submit(None, do="import")
    assert "Stored: 2 new, 0 changed" in stored.words
    assert (level(shop, "DISP-1").on_hand, level(shop, "SEAL-1").on_hand) == (3, 20)
    with shop.read() as session:
        lots = {lot.code: (lot.expires_on, str(lot.unit_cost)) for lot in queries.lots_of(session, ["SEAL-1"])}
    assert lots == {"S7": (date(2099, 1, 31), "2.5000")}
    again = send(clerk, "stock", body.replace(b"", b""))
    assert again.form("/stores/import").values["column-1"] == ["lot"]
    assert faults(shop) == []


def test_errors_are_told_by_row_and_column_and_nothing_is_stored(shop: Database, visit: Visit) -> None:
    rows = (
        "part,lot,quantity,expires_on,unit_cost,location\n"
        "DISP-1,D1,2,,86.40,A-01\n"
        "NONE-9,D1,2,,1,A-01\n"
        "SCRW-1,S1,many,,0.03,B-01\n"
        "SEAL-1,S2,1,,2.50,C-01\n"
        "DISP-1,D2,1,,86.40,Z-99\n"
    )
    page = send(visit("stores"), "stock", rows.encode(), "stock.csv")
    assert page.status == 422
    cells = [[c.get_text(strip=True) for c in row.find_all("td")] for row in page.soup.select(".error-rows tbody tr")]
    assert [(row, column) for row, column, _words in cells] == [
        ("3", "part"), ("4", "quantity"), ("5", "expires_on"), ("6", "location"),
    ]  # fmt: skip
    assert level(shop, "DISP-1").on_hand == 0


def test_prices_and_parts_come_in_too(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    prices = b"part,supplier,from_quantity,unit_price\nDISP-1,KLP,1,86.40\nDISP-1,KLP,10,79\nDISP-1,KLP,10,78\n"
    assert "A quantity stands there twice." in send(clerk, "prices", prices, "p.csv").words
    checked = send(clerk, "prices", prices.rsplit(b"DISP-1", 1)[0], "p.csv")
    checked.form("/stores/import").submit(None, do="import")
    with shop.read() as session:
        _heading, rows = queries.export_table(session, "prices")
    assert [tuple(str(cell) for cell in row) for row in rows] == [
        ("DISP-1", "KLP", "1", "86.4000"), ("DISP-1", "KLP", "10", "79.0000"),
    ]  # fmt: skip
    # Check digit of a GTIN: GS1 General Specifications, modulo 10; the last digit is one too high.
    bad = b"number,name,location,supplier,price,gtin\nGLUE-1,Glue,C-01,NYB,3,2001234567894\n"
    page = send(clerk, "parts", bad, "parts.csv")
    assert "The check digit does not fit" in page.words


def test_what_goes_out_can_come_in_again(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    for kind in ("parts", "suppliers", "locations"):
        for ending in ("csv", "xlsx"):
            body = clerk.client.get(f"/stores/export/{kind}.{ending}").content
            page = send(clerk, kind, body, f"x.{ending}")
            assert "The file is in order" in page.words, page.words[:600]
            assert "New 0" in page.words
            assert "Changed 0" in page.words


def test_everything_goes_out_as_one_workbook_and_no_text_is_a_formula(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        receive(session, "DISP-1", 2, "=1+1")
        actions.save_supplier(session, None, code="EVIL", name="=HYPERLINK(0)", email="", address="", **stamp())
    clerk = visit("stores")
    answer = clerk.client.get("/stores/export/everything.xlsx")
    book = load_workbook(io.BytesIO(answer.content))
    assert book.sheetnames == list(queries.EXPORTS)
    texts = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert not [cell for cell in texts if cell.data_type == "f"]
    lines = clerk.client.get("/stores/export/suppliers.csv").content.decode("utf-8-sig")
    assert "'=HYPERLINK(0)" in lines
    assert visit("technician").client.get("/stores/export/stock.csv").status_code == 403
    assert clerk.client.get("/stores/export/secrets.csv").status_code == 404


def test_tables_are_the_same_after_a_round_trip() -> None:
    rows = [("a", "=1", "-2", "x, y"), ("", "@b", "'quoted", 'say "so"')]
    for body in (write_csv(("A", "B", "C", "D"), rows), write_workbook({"s": (("A", "B", "C", "D"), rows)})):
        found = read_table(body)
        assert found.heading == ("A", "B", "C", "D")
        assert list(found.rows) == rows


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "The file is empty."),
        (b"a,b\n", "a heading and no rows"),
        (b"a,A\n1,2\n", "Two columns have the same heading."),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"PK\x03\x04 no workbook", "not a workbook"),
        (b"a,b\n1,2,3\n", "Row 2 has 3 fields"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(body: bytes, words: str) -> None:
    with pytest.raises(Refused, match=words.replace(".", r"\.")):
        read_table(body)
