"""The catalogue taken in by page: dry run, errors by row, all or nothing, updates; there is one page for it."""

from collections.abc import Callable

from app.platform.db import Database
from app.stores import queries
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]
HEAD = "number,name,location,supplier,price,pack,reorder_point,order_up_to,gtin,serial_tracked,waste_stream\n"


def check(clerk: Visitor, text: str, kind: str = "parts") -> Page:
    """Send a pasted file for a dry run."""
    return clerk.open("/stores/import").form("/stores/import").submit(kind=kind, text=text, do="check")


def test_the_dry_run_stores_nothing_and_the_button_stores_all(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    text = HEAD + "NEW-1,New one,A-01,KLP,1.5,1,1,2,,0,metal\nDISP-1,Display,A-01,KLP,99,1,2,5,,0,glass\n"
    checked = check(clerk, text)
    assert "The file is in order" in checked.words
    assert "part DISP-1" in checked.words
    with shop.read() as session:
        assert queries.part(session, "NEW-1") is None
    done = checked.form("/stores/import").submit(do="import")
    assert "Stored: 1 new, 1 changed, 0 the same as before." in done.words
    with shop.read() as session:
        changed = queries.part(session, "DISP-1")
        assert changed is not None
        assert (str(changed.price), changed.waste_stream, changed.version) == ("99.0000", "glass", 2)
    again = check(clerk, text)
    assert "Everything in the file is stored already." in again.words
    assert "Import 0 rows" not in again.words


def test_errors_name_row_column_and_remedy_and_nothing_is_stored(shop: Database, visit: Visit) -> None:
    rows = (
        "GOOD-1,Good,A-01,KLP,1,1,0,0,,0,metal",
        "BAD-1,,A-01,KLP,1,1,0,0,,0,metal",
        "BAD-2,Price,A-01,KLP,cheap,1,0,0,,0,metal",
        "BAD-3,Place,Z-99,KLP,1,1,0,0,,0,metal",
        "BAD-4,Code,A-01,KLP,1,1,0,0,7300010000011,0,metal",
        "BAD-5,Levels,A-01,KLP,1,1,9,3,,0,metal",
        "BAD-6,Stream,A-01,KLP,1,1,0,0,,0,soup",
        "BAD-7,Supplier code,A-01,K P!,1,1,0,0,,0,metal",
        "GOOD-1,Twice,A-01,KLP,1,1,0,0,,0,metal",
    )
    refused = check(visit("stores"), HEAD + "\n".join(rows))
    assert refused.status == 422
    table = [
        [cell.get_text(" ", strip=True) for cell in row("td")] for row in refused.soup.select(".error-rows tbody tr")
    ]
    assert [row[:2] for row in table] == [
        ["3", "name"], ["4", "price"], ["5", "location"], ["6", "gtin"], ["7", "—"], ["8", "waste_stream"],
        ["9", "supplier"], ["10", "number"],
    ]  # fmt: skip
    assert "There is no place Z-99." in refused.words
    assert "GOOD-1 stands in row 2 already." in refused.words
    with shop.read() as session:
        assert queries.part(session, "GOOD-1") is None


def test_a_file_is_uploaded_with_semicolons_and_a_mark(shop: Database, visit: Visit) -> None:
    body = "\ufeffcode;name;walk_order\nD-01;Cells;40\n".encode()
    form = visit("stores").open("/stores/import").form("/stores/import")
    checked = form.submit(files={"file": ("places.csv", body, "text/csv")}, kind="locations", do="check")
    checked.form("/stores/import").submit(do="import")
    with shop.read() as session:
        assert "D-01" in {place.code for place in queries.locations(session)}


def test_what_is_no_table_is_refused_in_words(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    assert "The file is empty." in check(clerk, " ").words
    assert "no rows" in check(clerk, HEAD).words
    assert "No column of the file is matched to it." in check(clerk, "number,colour\nA,red\n").words
    assert "Row 2 has 3 fields, the heading 2." in check(clerk, "code,name\nA,b,c\n", "locations").words
    form = clerk.open("/stores/import").form("/stores/import")
    binary = form.submit(files={"file": ("x.csv", b"\xff\xfe\x00", "text/csv")}, do="check")
    assert binary.status == 422
    assert "not UTF-8" in binary.words


def test_the_parts_page_leads_to_the_one_page_that_takes_files_in(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    links = [link["href"] for link in clerk.open("/parts").soup.select("main a") if "Import" in link.get_text()]
    assert links == ["/stores/import"]
    assert clerk.client.get("/parts/import").status_code == 404
