"""Labels of jobs, places and lots: what they hold can be read by a reader that is not ours, and leads back."""

import re
from collections.abc import Callable

import pytest
import zxingcpp
from bs4 import Tag
from PIL import Image, ImageDraw

from app.platform.clock import now, uuid7
from app.platform.db import Database
from app.platform.labels import draw_qr
from app.rules.scan_codes import job_code, lot_code, parse, shelf_code, tray_code
from app.stores import actions as stores
from tests.jobs.bench_shop import CLERK, BenchShop, set_up
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]


@pytest.fixture
def number(db: Database) -> str:
    """A job with its kit handed out, cell and speaker to exchange."""
    with db.write() as session:
        return BenchShop(session, set_up(session)).kitted()


def drawn(svg: Tag, scale: int = 6) -> Image.Image:
    """Draw one of our QR codes as a raster: its path is rows of strokes, a module high, moved by and drawn along."""
    side = int(str(svg["viewbox"]).split()[2])
    image = Image.new("L", (side * scale, side * scale), 255)
    pen = ImageDraw.Draw(image)
    x = y = 0.0
    for sign, numbers in re.findall(r"([Mmh])([-0-9. ]+)", str(svg.find_all("path")[-1]["d"])):
        by = [float(n) for n in re.findall(r"-?[0-9.]+", numbers)]
        if sign == "h":
            box = [x, y - 0.5, x + by[0], y + 0.5]
            pen.rectangle([box[0] * scale, box[1] * scale, box[2] * scale - 1, box[3] * scale - 1], fill=0)
            x += by[0]
        else:
            x, y = (by[0], by[1]) if sign == "M" else (x + by[0], y + by[1])
    return image


def read_codes(page: Page) -> list[str]:
    """Return what the labels of a page hold, as a foreign reader reads them."""
    found = []
    for label in page.soup.select(".label"):
        svg = label.find("svg")
        assert isinstance(svg, Tag)
        read = zxingcpp.read_barcodes(drawn(svg))
        assert [code.text for code in read] == [label["data-code"]]
        found.append(read[0].text)
    return found


def test_a_job_has_a_label_for_itself_and_one_for_each_tray_pocket(visit: Visit, number: str) -> None:
    page = visit("technician").open(f"/jobs/{number}").link("Labels")
    codes = read_codes(page)
    assert codes[0] == job_code(number)
    assert codes[1:] == [tray_code(number, n) for n in range(1, len(codes))]
    assert len(codes) > 2
    assert "Field recorder" in page.words
    assert "4 × Back screw" in page.words


def test_places_have_labels_all_together_and_each_alone(visit: Visit, number: str) -> None:
    clerk = visit("stores")
    page = clerk.open("/locations").link("Labels")
    assert read_codes(page) == [shelf_code("A-01"), shelf_code("B-01")]
    one = clerk.open("/locations/2").link("Label")
    assert read_codes(one) == [shelf_code("B-01")]
    assert clerk.open("/locations/labels?place=Z-99").status == 404


def test_lots_have_labels_from_the_part(visit: Visit, number: str) -> None:
    page = visit("stores").open("/parts/F-310").link("Labels")
    assert read_codes(page) == [lot_code("F-310", "L-F-310")]
    assert "use by 31 Dec 2027" in page.words
    assert visit("stores").open("/parts/F-310/labels?lot=nowhere").status == 404


def test_what_came_for_an_order_has_labels(visit: Visit, db: Database, number: str) -> None:
    with db.write() as session:
        line = [stores.OrderLine("F-330", 4)]
        order = stores.place_order(session, 1, line, entry_id=uuid7(), at=now(), who=CLERK)
    clerk = visit("stores")
    came = clerk.open(f"/orders/{order}/receive").form("/receive").submit()
    page = clerk.open(came.path).link("Labels of the lots")
    assert [parse(code).part for code in read_codes(page)] == ["F-330"]


def test_the_label_paper_is_chosen_and_a_used_sheet_goes_on_where_it_is_free(visit: Visit, number: str) -> None:
    clerk = visit("stores")
    page = clerk.open("/locations/labels?size=a4-24&start=24&copies=1")
    assert [len(sheet.select(".label")) for sheet in page.soup.select(".labels-a4-24 .label-page")] == [1, 1]
    assert len(page.soup.select(".label-free")) == 23
    wrong = page.form("/locations/labels").submit(start="25")
    assert wrong.status == 422
    assert "begin with one of 1 to 24" in wrong.words
    many = page.form("/locations/labels").submit(copies="51")
    assert many.status == 422
    assert "Print 1 to 50 of each." in many.words


@pytest.mark.parametrize("lot", ["L1", "LOT/2026-05.03 b_7", "ü" * 16])
def test_long_and_odd_lots_are_read_too(lot: str) -> None:
    from bs4 import BeautifulSoup

    code = lot_code("F-310", lot)
    svg = BeautifulSoup(str(draw_qr(code)), "html.parser").find("svg")
    assert isinstance(svg, Tag)
    assert zxingcpp.read_barcode(drawn(svg)).text == code  # type: ignore[union-attr]


def test_a_scan_leads_to_what_the_label_is_on(visit: Visit, number: str) -> None:
    technician, clerk = visit("technician"), visit("stores")
    assert technician.open(f"/scan?code={job_code(number)}").path == f"/jobs/{number}/bench"
    assert technician.open(f"/scan?code={tray_code(number, 1)}").path == f"/jobs/{number}/bench"
    assert clerk.open(f"/scan?code={job_code(number)}").path == f"/jobs/{number}"
    place = technician.open(f"/scan?code={shelf_code('B-01')}")
    assert place.path == "/parts"
    assert "F-310" in place.words
    assert "F-100" not in place.words
    assert technician.open(f"/scan?code={lot_code('F-310', 'L-F-310')}").path == "/parts/F-310"


def test_what_was_typed_is_kept_and_told_why_it_leads_nowhere(visit: Visit, number: str) -> None:
    ask = visit("technician").open("/jobs").link("Scan")
    assert ask.status == 200
    code = job_code(number)
    swapped = code[:-2] + ("A" if code[-2] != "A" else "B") + code[-1]
    for text, words in (
        ("4006381333931", "Not one of our labels."),
        (swapped, "Misread: scan again."),
        (job_code("J999999"), "is on job J999999, which is not kept here."),
        (shelf_code("Z-9"), "is on place Z-9, which is not kept here."),
        (lot_code("Z-9", "1"), "part Z-9, which is not kept here."),
    ):
        page = ask.form("/scan").submit(code=text)
        assert page.status == 422
        assert words in page.words
        assert page.form("/scan").values["code"] == [text]
