"""A step's clip on the bench page: there on the way down, nothing of it where the procedure has none."""

from collections.abc import Callable

from app.platform.db import Database
from app.platform.settings import Settings
from app.procedures.files import SheetFile
from tests.jobs.bench_shop import BenchShop, set_up
from tests.jobs.sheets import TEXT
from tests.jobs.test_bench_page import bench, tick
from tests.procedures.test_media import _keep
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]
CLIP = "    clip: {video: strip-down.mp4, from_s: 4, to_s: 9.5}\n"
FILMED = TEXT.replace("    title: Warm the edge\n", f"    title: Warm the edge\n{CLIP}")


def _opened(db: Database, visit: Visit, text: str) -> Page:
    with db.write() as session:
        number = BenchShop(session, set_up(session, file=SheetFile("x.yaml", text))).kitted(("cell",))
    return bench(visit("technician"), number)


def test_the_step_shows_its_clip_and_the_next_one_without_a_clip_does_not(
    db: Database, settings: Settings, visit: Visit
) -> None:
    stored = _keep(db, settings)
    page = _opened(db, visit, FILMED)
    (figure,) = page.soup.select(".bench-drawing > figure.clip")
    assert figure.has_attr("data-plays")
    film = figure.find("video")
    assert film is not None
    assert film["src"] == f"/media/{stored.sha256}#t=4,9.5"
    assert film["preload"] == "none", "it is no part of the first load"
    assert "clip" in str(page.soup.find_all("script"))
    after = tick(page)
    assert not after.soup.select("figure.clip")
    number = page.path.split("/")[2]
    walk = page.visitor.client.get(f"/jobs/{number}/bench/walk")
    assert walk.status_code == 200
    assert f"/media/{stored.sha256}#t=4,9.5" in walk.text, "taking back the tick shows it again"


def test_a_procedure_without_clips_loads_nothing_for_them(db: Database, visit: Visit) -> None:
    page = _opened(db, visit, TEXT)
    assert "clip.js" not in page.text
    assert "clip.css" not in page.text


def test_a_clip_whose_recording_is_not_stored_is_a_note(db: Database, visit: Visit) -> None:
    page = _opened(db, visit, FILMED)
    assert not page.soup.select("video")
    assert "is not stored here" in page.words
