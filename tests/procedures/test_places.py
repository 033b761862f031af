"""Places on the drawing: written in the procedure file, checked on import, numbered on the pages."""

from collections.abc import Callable
from pathlib import Path

import pytest
import yaml
from bs4 import BeautifulSoup

from app.platform import clock
from app.platform.db import Database
from app.procedures.actions import SheetFile, import_sheets
from app.procedures.document import ImportRefused, json_schema, plain, read_sheet, write_yaml
from app.procedures.places import letters, placed_spots, view_box
from app.rules.sheet import Sheet
from tests.jobs.sheets import PICTURE, placed
from tests.procedures.examples import LID, PARTS, SEED, SHEET
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]
SCREWS = "      - {id: screws, kind: screw, name: Lid screw, count: 4,"
FOUR = "[{x: 0.1, y: 0.2}, {x: 0.3, y: 0.2},\n           {x: 0.1, y: 0.8}, {x: 0.3, y: 0.8}]"


def with_places(places: str = FOUR, text: str = SHEET) -> str:
    """The test radio's file with places for its four lid screws, on a line of their own."""
    return text.replace(SCREWS, f"{SCREWS}\n         places: {places},")


def refused(text: str) -> list[tuple[int | None, str | None, str, str]]:
    """Line, step, message and remedy of each problem."""
    with pytest.raises(ImportRefused) as caught:
        read_sheet("radio.yaml", text, PARTS)
    return [(p.line, p.step, p.message, p.remedy) for p in caught.value.problems]


def test_places_are_read_in_their_order() -> None:
    screws = read_sheet("radio.yaml", with_places(), PARTS).step("lid").releases[0]
    assert [(float(p.x), float(p.y)) for p in screws.places] == [(0.1, 0.2), (0.3, 0.2), (0.1, 0.8), (0.3, 0.8)]


def test_a_sheet_with_places_is_the_same_when_written_and_read_again() -> None:
    sheet = read_sheet("radio.yaml", with_places(), PARTS)
    assert read_sheet("again.yaml", write_yaml(sheet), PARTS) == sheet
    assert Sheet.model_validate(plain(sheet)) == sheet
    assert "places:" in write_yaml(sheet)
    assert "places" not in write_yaml(read_sheet("radio.yaml", SHEET, PARTS))


def test_the_schema_describes_places() -> None:
    schema = json_schema()
    places = schema["$defs"]["Fixing"]["properties"]["places"]
    assert places["items"] == {"$ref": "#/$defs/Place"}
    assert "as many as" in places["description"]
    assert set(schema["$defs"]["Place"]["required"]) == {"x", "y"}


LINE = SHEET.split("\n").index(next(line for line in SHEET.split("\n") if line.startswith(SCREWS))) + 2


@pytest.mark.parametrize(
    ("places", "line", "message", "remedy"),
    [
        ("[{x: 0.1, y: 0.2}]", LINE, "“Lid screw” has 1 place for a count of 4.", "Give one place for each piece"),
        ("[{x: 0.1, y: 0.2}, {x: 0.3, y: 0.2}, {x: 0.1, y: 0.8},\n           {x: 1.3, y: 0.8}]", LINE + 1,
         "“x” is 1.3, which is out of range.", "Give at most 1."),
        ("[{x: 0.1, y: 0.2}, {x: 0.3, y: 0.2}, {x: 0.1, y: 0.8},\n           {x: -0.3, y: 0.8}]", LINE + 1,
         "“x” is -0.3, which is out of range.", "Give at least 0."),
        ("[{x: 0.1, y: 0.2}, {x: 0.3, y: 0.2}, {x: 0.1, y: 0.8},\n           {x: 0.3}]", LINE + 1,
         "“y” is missing.", "Add “y”."),
        ("[{x: 0.1, y: 0.2}, {x: 0.3, y: 0.2}, {x: 0.1, y: 0.8},\n           {x: 0.12345, y: 0.8}]", LINE + 1,
         "“x” must be a number", "Round it to 4 decimals."),
        ("[{x: 0.1, y: 0.2}, {x: 0.3, y: 0.2}, {x: 0.1, y: 0.8},\n           {x: 0.1, y: 0.8}]", LINE + 1,
         "Place 4 of “Lid screw” lies on place 3 of “Lid screw”.", "Give each piece its own place in the picture."),
    ],
)  # fmt: skip
def test_a_wrong_place_is_refused_with_line_step_and_remedy(places: str, line: int, message: str, remedy: str) -> None:
    (problem,) = refused(with_places(places))
    assert problem[:2] == (line, "lid")
    assert message in problem[2]
    assert remedy in problem[3]


def test_places_need_a_picture_to_stand_on() -> None:
    text = with_places(text=SHEET.replace("    picture: drawings/lid.svg\n", ""))
    (problem,) = refused(text)
    assert problem == (
        LINE, "lid", "“Lid screw” has places, and the step has no picture to show them on.",
        "Name the step's “picture”, or leave “places” out.",
    )  # fmt: skip


def test_fixings_of_one_step_are_told_apart_by_letters() -> None:
    step = placed().step("back")
    assert letters(step.releases) == {"screws": ""}
    two = step.releases[0].model_copy(update={"id": "more", "count": 1, "places": step.releases[0].places[:1]})
    assert letters([*step.releases, two]) == {"screws": "a", "more": "b"}
    spots = placed_spots(step.model_copy(update={"releases": (*step.releases, two)}), (0, 0, 640, 480))
    assert [spot.label for spot in spots] == ["a1", "a2", "a3", "a4", "b"]


@pytest.mark.parametrize(
    ("svg", "box"),
    [
        (PICTURE, (0.0, 0.0, 640.0, 480.0)),
        ('<svg viewBox="-5,1.5, 64 48"/>', (-5.0, 1.5, 64.0, 48.0)),
        ('<svg viewBox="0 0 0 48"/>', None),
        ("<svg/>", None),
        (None, None),
    ],
)
def test_the_view_box_of_a_drawing_is_read(svg: str | None, box: tuple[float, ...] | None) -> None:
    assert view_box(svg) == box


@pytest.mark.parametrize("path", ["", "/print"])
def test_the_procedure_page_numbers_the_places_on_the_drawing(db: Database, visit: Visit, path: str) -> None:
    with db.write() as session:
        import_sheets(
            session, [SheetFile("radio.yaml", with_places(), {"drawings/lid.svg": LID})], PARTS, clock.now(), None
        )
    page = visit("technician").open(f"/procedures/test-radio/1{path}")
    (drawn,) = page.soup.select("figure.placed svg.places")
    assert drawn["viewbox"] == "0.0 0.0 64.0 48.0"
    assert [text.get_text() for text in drawn.select("text")] == ["1", "2", "3", "4"]
    circle = drawn.select("circle")[1]
    assert (float(str(circle["cx"])), float(str(circle["cy"]))) == pytest.approx((19.2, 9.6))


@pytest.mark.parametrize("path", sorted(SEED.glob("*.yaml")), ids=lambda p: p.stem)
def test_the_demo_procedures_mark_every_screw_clip_and_connector(path: Path) -> None:
    sheet = Sheet.model_validate(yaml.safe_load(path.read_text(encoding="utf-8")))
    kinds = ("screw", "clip", "connector", "flex", "cable")
    fixings = [f for step in sheet.steps for f in step.releases if f.kind.value in kinds]
    assert len(fixings) > 15
    assert [f.id for f in fixings if len(f.places) != f.count] == []


@pytest.mark.parametrize("path", sorted(SEED.glob("*.yaml")), ids=lambda p: p.stem)
def test_each_place_of_the_demo_lies_on_a_ring_of_its_drawing(path: Path) -> None:
    """The drawings have a circle of class hole for each place seen from above."""
    text = path.read_text(encoding="utf-8")
    sheet = Sheet.model_validate(yaml.safe_load(text))
    checked = 0
    for step in sheet.steps:
        if step.picture is None:
            continue
        soup = _soup((SEED / step.picture).read_text(encoding="utf-8"))
        rings = {(float(str(c["cx"])), float(str(c["cy"]))) for c in soup.select("circle.hole")}
        pieces = sum(f.count for f in step.releases)
        if len(rings) != pieces:
            continue  # Seen at an angle, where rings are drawn as ellipses.
        for place in (p for f in step.releases for p in f.places):
            near = min(abs(x - float(place.x) * 640) + abs(y - float(place.y) * 480) for x, y in rings)
            assert near < 0.3, step.id
            checked += 1
    assert checked > 25


def _soup(svg: str) -> BeautifulSoup:
    return BeautifulSoup(svg, "html.parser")
