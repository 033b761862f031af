"""A step's clip of a recording: in the file, on the procedure, in a draft."""

from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from app.platform.db import Database
from app.platform.settings import Settings
from app.procedures.actions import SheetFile, import_sheets
from app.procedures.document import ImportRefused, json_schema, read_sheet, write_yaml
from app.stores import queries as stores
from tests.procedures.examples import LID, PARTS, SHEET
from tests.procedures.test_from_words import CAPTIONS, HERE, _fields
from tests.procedures.test_media import MP4, _keep
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]
FILMED = SHEET.replace(
    "    picture: drawings/lid.svg\n",
    "    picture: drawings/lid.svg\n    clip: {video: strip-down.mp4, from_s: 12.50, to_s: 31}\n",
)


def test_a_clip_comes_back_as_it_was_written() -> None:
    sheet = read_sheet("x", FILMED, PARTS)
    assert sheet.steps[0].clip is not None
    assert sheet.steps[1].clip is None
    assert read_sheet("x", write_yaml(sheet), PARTS) == sheet
    assert "clip" in json_schema()["$defs"]["Step"]["properties"]


@pytest.mark.parametrize("clip", ["from_s: 31, to_s: 31", "from_s: 40, to_s: 31", "from_s: -1, to_s: 31", "from_s: 3"])
def test_a_clip_that_cannot_be_is_refused_with_its_line(clip: str) -> None:
    with pytest.raises(ImportRefused) as caught:
        read_sheet("x", FILMED.replace("from_s: 12.50, to_s: 31", clip), PARTS)
    assert {problem.step for problem in caught.value.problems} == {"lid"}
    assert all(problem.line for problem in caught.value.problems)


def test_the_procedure_shows_the_clip_from_its_fragment_and_fetches_nothing_before(
    db: Database, settings: Settings, visit: Visit
) -> None:
    """The fragment after W3C Media Fragments URI 1.0, 4.2.1."""
    with db.write() as session:
        file = SheetFile("radio.yaml", FILMED, {"drawings/lid.svg": LID})
        import_sheets(session, [file], PARTS, datetime(2026, 3, 2, 8, 0, tzinfo=UTC), None)
    reader = visit("technician")
    page = reader.open("/procedures/test-radio/1")
    assert "0:12 to 0:31 of strip-down.mp4, is not stored here" in page.words
    stored = _keep(db, settings)
    page = reader.open("/procedures/test-radio/1")
    (film,) = page.soup.select("figure.clip video")
    assert film["src"] == f"/media/{stored.sha256}#t=12.5,31"
    assert film["preload"] == "none"
    assert film.has_attr("muted")
    assert film.has_attr("playsinline")
    assert not film.has_attr("autoplay")
    assert "media-src 'self'" in page.response.headers["content-security-policy"]
    assert "video: strip-down.mp4" in reader.client.get("/procedures/test-radio/1.yaml").text


def test_a_step_of_a_draft_shows_its_clip_and_takes_other_times(
    db: Database, visit: Visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stores, "known_numbers", lambda _session: PARTS)
    boss = visit("supervisor")
    files = {"words_file": ("a.vtt", CAPTIONS.encode(), ""), "video": ("strip.mp4", MP4, "video/mp4")}
    read = boss.open(HERE).form(HERE).submit(files=files, title="Radio")
    made = read.form(read.path).submit()
    first = made.soup.select("a.row-link")[0]["href"]
    step = boss.open(str(first))
    assert str(step.soup.select("figure.clip video")[0]["src"]).endswith("#t=2,9")
    saved = step.form(str(first)).submit(**_fields({"clip-from_s": "2,5", "clip-to_s": "8"}))
    assert str(saved.soup.select("figure.clip video")[0]["src"]).endswith("#t=2.5,8")
    wrong = saved.form(str(first)).submit(**_fields({"clip-to_s": "1"}))
    assert "ends at 1 s" in wrong.words
    without = wrong.form(str(first)).submit(**_fields({"clip-video": "", "clip-from_s": "", "clip-to_s": ""}))
    assert not without.soup.select("figure.clip")


def test_open_questions_stand_on_the_draft_with_their_words_and_are_settled_there(db: Database, visit: Visit) -> None:
    boss = visit("supervisor")
    read = boss.open(HERE).form(HERE).submit(files={"words_file": ("a.vtt", CAPTIONS.encode(), "")}, title="Radio")
    page = read.form(read.path).submit()
    asked = page.soup.select("ul.asked > li")
    assert len(asked) > 1
    said = next(li for li in asked if "How many seconds" in li.get_text() and "main board" in li.get_text())
    assert "at 10.0 s of the recording" in said.get_text()
    link = said.find("a")
    assert link is not None
    assert boss.open(str(link["href"])).status == 200
    action = str(said.find("form")["action"])  # type: ignore[index]
    after = page.form(action).submit()
    assert len(after.soup.select("ul.asked")[0].select("li")) == len(asked) - 1
    assert "Settled: 1" in after.words
    again = after.form(action).submit()
    assert "Settled: 1" not in again.words
