"""Publishing revisions: all or nothing, never changed, kept apart by database."""

from collections.abc import Callable

import pytest
from sqlmodel import Session, select

from app.platform import clock
from app.platform.db import Database
from app.platform.errors import NotFound
from app.procedures import actions, queries
from app.procedures.actions import Imported, SheetFile, import_sheets
from app.procedures.document import ImportRefused, read_sheet
from app.procedures.files import read_folder
from app.procedures.models import DeviceModelRow, Drawing, Procedure, Revision
from tests.procedures.examples import LID, PARTS, SEED, SHEET
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]
FILE = SheetFile("radio.yaml", SHEET, {"drawings/lid.svg": LID})


def _import(db: Database, *files: SheetFile) -> tuple[Imported, ...]:
    with db.write() as session:
        return import_sheets(session, files, PARTS, clock.now(), None)


def _refused(db: Database, *files: SheetFile) -> str:
    with pytest.raises(ImportRefused) as caught, db.write() as session:
        import_sheets(session, files, PARTS, clock.now(), None)
    return " | ".join(str(p) for p in caught.value.problems)


def _rows(db: Database) -> list[int]:
    with db.read() as session:
        return [len(session.exec(select(t)).all()) for t in (DeviceModelRow, Procedure, Revision, Drawing)]


def test_a_published_revision_is_read_back_whole(db: Database) -> None:
    (done,) = _import(db, FILE)
    assert done.new
    with db.read() as session:
        assert queries.sheet(session, done.revision_id) == read_sheet("x", SHEET, PARTS)
        info = queries.revision_info(session, done.revision_id)
        assert (info.code, info.number) == ("test-radio", 1)
        assert queries.current_revision(session, info.device_model_id) == info
        (url,) = queries.drawing_urls(session, done.revision_id).values()
        sha256 = url.removeprefix("/drawings/").removesuffix(".svg")
        assert "<title>The lid</title>" in queries.drawing_svg(session, sha256)
        assert list(queries.step_svgs(session, done.revision_id)) == ["drawings/lid.svg"]
        assert [m.code for m in queries.device_models(session)] == ["test-radio"]


def test_the_same_again_changes_nothing(db: Database) -> None:
    (first,) = _import(db, FILE)
    before = _rows(db)
    (again,) = _import(db, FILE)
    assert not again.new
    assert again.revision_id == first.revision_id
    assert _rows(db) == before


def test_the_same_revision_with_other_content_is_refused(db: Database) -> None:
    _import(db, FILE)
    words = _refused(db, SheetFile("radio.yaml", SHEET.replace("count: 4", "count: 5"), FILE.drawings))
    assert "published revisions never change" in words
    assert "Raise the revision number to 2." in words
    assert "radio.yaml, line 4" in words
    other = {"drawings/lid.svg": LID.replace("L3 4", "L3 5")}
    assert "never change" in _refused(db, SheetFile("radio.yaml", SHEET, other))


def test_a_new_revision_becomes_current_and_the_old_one_stays(db: Database) -> None:
    (first,) = _import(db, FILE)
    text = SHEET.replace("revision: 1", "revision: 3").replace("count: 4", "count: 5")
    (second,) = _import(db, SheetFile("radio.yaml", text))
    with db.read() as session:
        assert [r.number for r in queries.revisions(session, "test-radio")] == [3, 1]
        model = queries.device_models(session)[0]
        found = queries.current_revision(session, model.id)
        assert found is not None
        assert found.id == second.revision_id
        assert queries.sheet(session, first.revision_id).steps[0].releases[0].count == 4
        assert queries.drawing_urls(session, first.revision_id) == queries.drawing_urls(session, second.revision_id), (
            "a picture that does not come along is the newest revision's"
        )
    between = SHEET.replace("revision: 1", "revision: 2")
    assert "Raise the revision number to 4." in _refused(db, SheetFile("radio.yaml", between))


def test_nothing_is_half_imported(db: Database) -> None:
    broken = SheetFile(
        "broken.yaml", SHEET.replace("code: test-radio\ntitle", "code: other\ntitle").replace("count: 4", "count: 0")
    )
    words = _refused(db, FILE, broken)
    assert "broken.yaml" in words
    assert _rows(db) == [0, 0, 0, 0]


def test_a_missing_or_unclean_drawing_is_named_with_its_line_and_step(db: Database) -> None:
    line = SHEET[: SHEET.index("picture:")].count("\n") + 1
    place = f"radio.yaml, line {line}, step “lid”: The drawing drawings/lid.svg"
    assert _refused(db, SheetFile("radio.yaml", SHEET)).startswith(f"{place} did not come")
    bad = {"drawings/lid.svg": LID.replace("<desc>", "<script/><desc>")}
    words = _refused(db, SheetFile("radio.yaml", SHEET, bad))
    assert words.startswith(place)
    assert "“script” is not allowed" in words


def test_two_files_with_one_revision_and_a_change_of_device_model_are_refused(db: Database) -> None:
    assert "stands in radio.yaml too" in _refused(db, FILE, SheetFile("copy.yaml", SHEET, FILE.drawings))
    _import(db, FILE)
    text = SHEET.replace("revision: 1", "revision: 2").replace("{code: test-radio", "{code: other-radio")
    assert "another device model" in _refused(db, SheetFile("radio.yaml", text))


def test_what_a_rolled_back_import_read_is_not_kept(db: Database) -> None:
    with Session(db.engine) as session:
        (done,) = import_sheets(session, [FILE], PARTS, clock.now(), None)
        assert queries.sheet(session, done.revision_id).title == "Test radio, exchange of units"
        session.rollback()
    with pytest.raises(NotFound), db.read() as session:
        queries.sheet(session, done.revision_id)


def test_every_procedure_of_the_demo_is_published_and_downloads_unchanged(db: Database, visit: Visit) -> None:
    with db.write() as session:
        done = import_sheets(session, read_folder(SEED), None, clock.now(), None)
    boss = visit("supervisor")
    texts = [boss.client.get(f"/procedures/{d.code}/{d.revision}.yaml") for d in done]
    again = [SheetFile(f"{d.code}.yaml", t.text) for d, t in zip(done, texts, strict=True)]
    with db.write() as session:
        assert [d.new for d in import_sheets(session, again, None, clock.now(), None)] == [False] * len(done)
    for one in done:
        page = boss.open(f"/procedures/{one.code}/{one.revision}")
        assert page.status == 200
        assert len(page.soup.select("li.step-read")) == one.steps
        assert len(page.soup.select("li.step-read figure svg.drawing")) == one.steps
        assert boss.open(f"/procedures/{one.code}/{one.revision}/print").status == 200


def test_fault_words_are_kept_by_device_model(db: Database) -> None:
    _import(db, FILE)
    with db.write() as session:
        actions.set_faults(session, "test-radio", [("dead", "Stays dark", "board"), ("dull", "Sounds dull", None)])
        actions.set_faults(session, "test-radio", [("dead", "Does not start", "board")])
    with db.read() as session:
        found = queries.faults(session, queries.device_models(session)[0].id)
    assert [(f.code, f.words, f.unit) for f in found] == [
        ("dead", "Does not start", "board"),
        ("dull", "Sounds dull", None),
    ]
