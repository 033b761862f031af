"""Pages and API of procedures."""

from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from app.people import actions as people
from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from app.procedures import queries
from app.procedures.actions import SheetFile, import_sheets
from app.stores import queries as stores
from tests.procedures.examples import LID, PARTS, SHEET
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]
FILE = SheetFile("radio.yaml", SHEET, {"drawings/lid.svg": LID})


@pytest.fixture
def radio(db: Database) -> None:
    """The test radio's procedure, published."""
    with db.write() as session:
        import_sheets(session, [FILE], PARTS, datetime(2026, 3, 2, 8, 0, tzinfo=UTC), None)


@pytest.fixture
def catalogue(monkeypatch: pytest.MonkeyPatch) -> None:
    """A catalogue that has the test radio's parts."""
    monkeypatch.setattr(stores, "known_numbers", lambda _session: PARTS)


def _upload(visitor: Visitor, *files: tuple[str, bytes]) -> Page:
    sheets = [("files", (n, b, "application/octet-stream")) for n, b in files if not n.endswith(".svg")]
    drawings = [("drawings", (n, b, "image/svg+xml")) for n, b in files if n.endswith(".svg")]
    form = visitor.open("/procedures/import").form("/procedures/import")
    values = {name: value[0] for name, value in form.values.items()}
    answer = visitor.client.post(form.action, data=values, files=[*sheets, *drawings])
    return Page(visitor, answer)


def test_without_procedures_the_list_says_what_to_do(visit: Visit) -> None:
    assert "No procedures yet" in visit("technician").open("/procedures").words
    assert visit("supervisor").open("/procedures").soup.find("a", href="/procedures/import")


@pytest.mark.usefixtures("radio")
def test_a_procedure_is_reached_from_the_list_and_by_its_code(visit: Visit) -> None:
    visitor = visit("technician")
    page = visitor.open("/procedures").link("Test radio, exchange of units")
    assert page.path == "/procedures/test-radio/1"
    assert visitor.open("/procedures/test-radio").path == "/procedures/test-radio/1"
    for words in ("24.5 N·cm", "Scrap; a new one goes back", "1.50 to 2.5 kPa", "On every job", "cures 10 min"):
        assert words in page.words
    assert "Undo the screws & lift <it>." in page.words
    assert page.soup.select_one("svg.precedence title") is not None
    assert "documentation, local codes and licensed practice come first" in page.words


@pytest.mark.usefixtures("radio")
def test_an_old_revision_says_which_is_the_newest(visit: Visit, db: Database) -> None:
    with db.write() as session:
        import_sheets(session, [SheetFile("r", SHEET.replace("revision: 1", "revision: 2"))], PARTS, clock.now(), None)
    page = visit("stores").open("/procedures/test-radio/1")
    assert "Revision 2 is the newest" in page.words
    assert page.link("Read it").path == "/procedures/test-radio/2"


@pytest.mark.usefixtures("radio")
@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/procedures/none-such", 404),
        ("/procedures/test-radio/9", 404),
        ("/procedures/test-radio/9.yaml", 404),
        ("/procedures/test-radio/x", 404),
        ("/procedures/Test_Radio", 404),
        ("/drawings/0000.svg", 404),
        (f"/drawings/{'0' * 64}.svg", 404),
    ],
)
def test_what_is_not_there_is_answered_as_such(visit: Visit, path: str, status: int) -> None:
    assert visit("technician").open(path).status == status


@pytest.mark.usefixtures("radio")
def test_a_drawing_may_be_kept_for_ever_and_may_do_nothing(visit: Visit, db: Database) -> None:
    with db.read() as session:
        (url,) = queries.drawing_urls(session, queries.procedures(session)[0].id).values()
    answer = visit("technician").client.get(url)
    assert answer.headers["content-type"] == "image/svg+xml"
    assert "immutable" in answer.headers["cache-control"]
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "sandbox" in policy
    assert "unsafe" not in policy
    assert "<title>The lid</title>" in answer.text


@pytest.mark.usefixtures("catalogue")
def test_a_supervisor_imports_a_procedure_with_its_drawing(visit: Visit) -> None:
    boss = visit("supervisor")
    page = _upload(boss, ("radio.yaml", SHEET.encode()), ("lid.svg", LID.encode()))
    assert page.status == 200
    assert "Published" in page.words
    assert _upload(boss, ("radio.yaml", SHEET.encode())).words.count("Was there already") == 1
    assert boss.open("/procedures/test-radio/1").status == 200


@pytest.mark.usefixtures("catalogue")
@pytest.mark.parametrize(
    ("files", "words"),
    [
        ([("radio.yaml", SHEET.replace("after: [lid]", "after: [lit]").encode())], "no such step"),
        ([("radio.yaml", SHEET.encode())], "did not come with the file"),
        ([("radio.yaml", SHEET.encode("utf-16"))], "UTF-16"),
        ([("radio.yaml", b"\0\1\2\3")], "not text"),
        ([("radio.yaml", b"# x\n" * 1_300_000)], "larger than 2 MB"),
        ([("radio.exe", b"MZ")], "neither YAML nor SVG"),
        ([("radio.yaml", SHEET.encode()), ("lid.svg", b"<svg onload='x()'/>")], "namespace"),
        ([("lid.svg", LID.encode())], "no procedure file"),
        ([("radio.yaml", b"a: &a [x]\nb: [*a, *a]\n")], "anchor or alias"),
    ],
)
def test_a_bad_upload_is_told_on_the_page_and_imports_nothing(
    visit: Visit, files: list[tuple[str, bytes]], words: str
) -> None:
    boss = visit("supervisor")
    page = _upload(boss, *files)
    assert page.status == 422
    assert words in page.words
    assert "No procedures yet" in boss.open("/procedures").words


@pytest.mark.usefixtures("radio")
def test_a_procedure_with_parts_that_are_not_in_the_catalogue_is_refused(visit: Visit) -> None:
    text = SHEET.replace("revision: 1", "revision: 2")
    page = _upload(visit("supervisor"), ("radio.yaml", text.encode()))
    assert page.status == 422
    assert page.words.count("is not in the catalogue") == 3


def test_the_schema_is_published(visit: Visit) -> None:
    answer = visit("technician").client.get("/procedures/schema.json")
    assert answer.json()["title"] == "Countback procedure"


@pytest.mark.usefixtures("radio")
def test_the_api_lists_and_gives_procedures(app, visit: Visit, db: Database) -> None:  # type: ignore[no-untyped-def]
    with db.write() as session:
        other = SHEET.replace("code: test-radio\ntitle", "code: a-second\ntitle")
        import_sheets(session, [SheetFile("r", other, FILE.drawings)], PARTS, clock.now(), None)
        token = people.make_token(session, "Test", Role.TECHNICIAN, clock.now(), 4)
    client = Visitor(app).client
    client.headers["authorization"] = f"Bearer {token}"
    first = client.get("/api/v1/procedures?limit=1").json()
    assert [i["code"] for i in first["items"]] == ["a-second"]
    second = client.get(f"/api/v1/procedures?limit=1&after={first['next']}").json()
    assert [i["code"] for i in second["items"]] == ["test-radio"]
    assert second["next"] is None
    body = client.get("/api/v1/procedures/test-radio/1").json()
    assert body["sheet"]["steps"][0]["releases"][0]["torque"]["value_ncm"] == "24.50"
    assert body["drawings"]["drawings/lid.svg"].startswith("/drawings/")
    missing = client.get("/api/v1/procedures/test-radio/7")
    assert missing.status_code == 404
    assert missing.headers["content-type"] == "application/problem+json"
