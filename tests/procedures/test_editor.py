"""Writing procedures through their pages: begun, saved, mended, checked by a second person, published."""

from collections.abc import Callable
from datetime import UTC, datetime
from io import BytesIO

import pytest
from PIL import Image
from sqlalchemy import update
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col

from app.people.actions import add_person
from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from app.procedures import queries
from app.procedures.actions import SheetFile, create_draft, import_sheets
from app.procedures.models import Draft
from app.procedures.queries import drafts
from app.rules.sheet import Sheet
from app.stores import queries as stores
from tests.procedures.examples import LID, PARTS, SHEET
from tests.visitor import FormFiller, Page, Visitor

Visit = Callable[[str], Visitor]
FILE = SheetFile("radio.yaml", SHEET, {"drawings/lid.svg": LID})


@pytest.fixture(autouse=True)
def catalogue(monkeypatch: pytest.MonkeyPatch) -> None:
    """A catalogue that has the test radio's parts."""
    monkeypatch.setattr(stores, "known_numbers", lambda _session: PARTS)


@pytest.fixture
def radio(db: Database) -> None:
    """The test radio's procedure, published."""
    with db.write() as session:
        import_sheets(session, [FILE], PARTS, datetime(2026, 3, 2, 8, 0, tzinfo=UTC), None)


@pytest.fixture
def checker(app, db: Database) -> Visitor:  # type: ignore[no-untyped-def]
    """A second supervisor."""
    with db.write() as session:
        add_person(session, "Edda Korvin", Role.SUPERVISOR, "nine brass bells ringing", clock.now())
    visitor = Visitor(app)
    visitor.sign_in("Edda Korvin", "nine brass bells ringing")
    return visitor


def begun(visitor: Visitor) -> Page:
    """Begin the next revision of the test radio's procedure."""
    return visitor.open("/procedures/drafts").form("/procedures/drafts/next").submit()


def step(page: Page, name: str) -> Page:
    """Open a step of a draft."""
    return page.visitor.open(f"{page.path}/steps/{name}")


def form(page: Page) -> FormFiller:
    """The form of a heading, of tests or of a step."""
    found = page.soup.find("form", id="part-form")
    assert found is not None, page.words[:800]
    return FormFiller(page, found)


def stored(db: Database, number: int = 1) -> drafts.DraftDetail:
    """A draft as it is stored."""
    with db.read() as session:
        return drafts.draft(session, number)


def test_without_drafts_the_list_says_how_to_begin_one(visit: Visit) -> None:
    page = visit("supervisor").open("/procedures/drafts")
    assert "No drafts" in page.words
    assert page.soup.find("a", href="/procedures/drafts/from-words")
    reader = visit("technician").open("/procedures/drafts")
    assert "A supervisor begins one" in reader.words
    assert reader.soup.find("form", action="/procedures/drafts/blank") is None
    assert visit("stores").open("/procedures/drafts").status == 403


@pytest.mark.usefixtures("radio")
def test_technicians_read_drafts_and_change_nothing(visit: Visit, db: Database) -> None:
    page = begun(visit("supervisor"))
    reader = visit("technician")
    for path in (page.path, f"{page.path}/head", f"{page.path}/tests", f"{page.path}/steps/lid"):
        shown = reader.open(path)
        assert shown.status == 200
        assert "Save and go to the draft" not in shown.words
    answer = reader.post(f"{page.path}/steps/lid", {**form(reader.open(f"{page.path}/steps/lid")).values, "title": "X"})
    assert answer.status == 403
    assert stored(db).version == 1


@pytest.mark.usefixtures("radio")
def test_saving_every_page_unchanged_changes_nothing(visit: Visit, db: Database) -> None:
    page = begun(visit("supervisor"))
    for path in ("head", "tests", "steps/lid", "steps/board"):
        assert form(page.visitor.open(f"{page.path}/{path}")).submit().status == 200
    assert stored(db).version == 1
    assert stored(db).document == Sheet.model_validate(
        stored(db).document | {"countback": 1, "revision": 2}
    ).model_dump(mode="json", exclude_defaults=True, exclude={"countback", "revision"})


@pytest.mark.usefixtures("radio")
def test_a_step_is_written_with_all_that_belongs_to_it(visit: Visit, db: Database) -> None:
    page = step(begun(visit("supervisor")), "lid")
    saved = form(page).submit(
        **{
            "title": "Take the lid off",
            "hazards-0-signal": "CAUTION",
            "hazards-0-symbol": "sharp",
            "hazards-0-hazard": "The rim is sharp.",
            "hazards-0-consequence": "It cuts.",
            "hazards-0-avoidance": "Wear gloves.",
            "releases-2-name": "Side clip",
            "releases-2-kind": "clip",
            "releases-2-count": "3",
            "releases-2-reuse": "inspect",
            "inspect-0-ask": "Are the side clips whole?",
            "inspect-0-of": "seal",
            "inspect-0-on_reject-say": "Fit a new one.",
            "inspect-0-on_reject-add-0-part": "TR-300",
            "inspect-0-on_reject-add-0-name": "Seal",
            "inspect-0-on_reject-add-0-count": "1",
            "releases-0-places": "0.1 0.2\n0.3 0.2\n0,5 0,2\n0.7 0.2",
            "releases-0-torque-value_ncm": "25,5",
            "refit-press_s": "30",
        }
    )
    assert saved.status == 200
    lid = stored(db).document["steps"][0]
    assert lid["title"] == "Take the lid off"
    assert [f["id"] for f in lid["releases"]] == ["screws", "seal", "side-clip"]
    assert lid["releases"][0]["places"][2] == {"x": "0.5", "y": "0.2"}
    assert lid["releases"][0]["torque"] == {"value_ncm": "25.5", "source": "Test data"}
    assert lid["inspect"][0]["id"] == "are-the-side-clips-whole"
    assert lid["refit"]["press_s"] == 30
    assert "no inspection covers it" in saved.words, "the clips go back only if they pass"
    fixed = form(saved).submit(**{"inspect-0-of": "side-clip"})
    assert "Nothing to mend here" in fixed.words
    assert "placed" in str(fixed.soup.select_one("figure")["class"])  # type: ignore[index]
    assert len(fixed.soup.select("svg.tap-places .tap-place")) == 4


@pytest.mark.usefixtures("radio")
def test_mistakes_are_explained_with_the_step_and_a_link_to_its_field(visit: Visit) -> None:
    boss = visit("supervisor")
    page = begun(boss)
    form(step(page, "lid")).submit(after=["board"], time_s="soon", **{"releases-1-part": "TR-999"})
    shown = boss.open(page.path)
    assert "wait for each other" in shown.words
    assert "Part TR-999 is not in the catalogue" in shown.words
    assert "“Time” must be a number" in shown.words
    links = [str(a["href"]) for a in shown.soup.select(".mend-list a")]
    assert "/procedures/drafts/1/steps/lid#f-releases-1-part" in links
    assert "leaves a need out" in shown.words
    assert shown.soup.select_one("svg.precedence") is not None
    there = step(page, "lid")
    control = there.soup.select_one("#f-releases-1-part")
    assert control is not None
    assert control["aria-invalid"] == "true"
    assert there.soup.select_one("#f-time_s")["value"] == "soon"  # type: ignore[index]


@pytest.mark.usefixtures("radio")
def test_autosave_answers_with_the_new_version_and_what_is_to_be_mended(visit: Visit, db: Database) -> None:
    boss = visit("supervisor")
    page = step(begun(boss), "lid")
    values = {**form(page).values, "title": [""]}
    answer = boss.client.post(page.path, data=values, headers={"HX-Request-Type": "partial"})
    assert answer.status_code == 200
    part = Page(boss, answer)
    assert part.soup.find("html") is None
    assert part.soup.find("input", {"name": "version"})["value"] == "2"  # type: ignore[index]
    assert "Title is missing" in part.words
    again = boss.client.post(page.path, data=values, headers={"HX-Request-Type": "partial"})
    assert again.status_code == 200, "the same save again has its first outcome"
    assert stored(db).version == 2


@pytest.mark.usefixtures("radio")
def test_a_stale_save_is_answered_with_what_changed_and_the_input_kept(visit: Visit, db: Database) -> None:
    boss = visit("supervisor")
    page = step(begun(boss), "lid")
    late = form(page)
    form(step(boss.open("/procedures/drafts/1"), "board")).submit(title="Lift the board out")
    refused = late.submit(title="My title")
    assert refused.status == 409
    assert "title: Lift out the board → Lift the board out" in refused.words
    assert refused.soup.select_one("#f-title")["value"] == "My title"  # type: ignore[index]
    assert stored(db).document["steps"][0]["title"] == "Take off the lid"
    kept = form(refused).submit()
    assert kept.status == 200
    assert [s["title"] for s in stored(db).document["steps"]] == ["My title", "Lift the board out"]


@pytest.mark.usefixtures("radio")
def test_steps_are_added_moved_taken_out_and_brought_back(visit: Visit, db: Database) -> None:
    boss = visit("supervisor")
    page = begun(boss)
    added = boss.open(page.path).form("/steps", n=0).submit()
    assert added.path == "/procedures/drafts/1/steps/new-3"
    named = form(added).submit(title="Fold the flap", do="Fold it.", time_s="5")
    assert named.path == "/procedures/drafts/1/steps/fold-the-flap", "it got an id made of its title"
    assert stored(db).document["steps"][1]["after"] == ["lid"]
    moved = boss.open(page.path).form("/steps/fold-the-flap/move", n=1).submit()
    assert [s["id"] for s in stored(db).document["steps"]] == ["lid", "board", "fold-the-flap"]
    assert moved.status == 200
    gone = step(page, "lid").form("/steps/lid/remove").submit()
    assert "Step taken out: Take off the lid" in gone.words
    assert all("lid" not in s.get("after", []) for s in stored(db).document["steps"])
    back = gone.form("/take-back").submit()
    assert [s["id"] for s in stored(db).document["steps"]] == ["lid", "board", "fold-the-flap"]
    assert stored(db).document["steps"][2]["after"] == ["lid"]
    first = [f for f in back.soup.select("details form[action$=take-back]") if f.select_one("[name=to][value='1']")]
    again = FormFiller(back, first[0]).submit()
    assert again.status == 200
    assert [s["id"] for s in stored(db).document["steps"]] == ["lid", "board"]


@pytest.mark.usefixtures("radio")
def test_a_step_is_split_and_merged_again_with_all_it_holds(visit: Visit, db: Database) -> None:
    boss = visit("supervisor")
    page = begun(boss)
    before = stored(db).document["steps"][0]
    split = boss.open(f"{page.path}/steps/lid/split").form("/split")
    assert split.submit(second_title="").status == 422
    made = split.submit(title="Undo the screws", second_title="Lift the lid", second_do="Lift it.", fixings=["seal"])
    assert made.path.endswith("/steps/lift-the-lid")
    first, second, board = stored(db).document["steps"]
    assert [f["id"] for f in first["releases"]] == ["screws"]
    assert [f["id"] for f in second["releases"]] == ["seal"]
    assert second["after"] == ["lid"]
    assert board["after"] == ["lift-the-lid"]
    assert first["time_s"] + second["time_s"] == before["time_s"]
    assert first["refit"]["closes"] is True
    assert "closes" not in second["refit"]
    merged = step(page, "lid").form("/steps/lid/merge").submit()
    assert merged.path.endswith("/steps/lid")
    one, board = stored(db).document["steps"]
    assert [f["id"] for f in one["releases"]] == ["screws", "seal"]
    assert board["after"] == ["lid"]
    assert one["time_s"] == before["time_s"]
    assert one["tools"] == before["tools"]


@pytest.mark.usefixtures("radio")
def test_a_draft_is_checked_by_a_second_person_and_becomes_the_next_revision(
    visit: Visit, db: Database, checker: Visitor
) -> None:
    boss = visit("supervisor")
    page = begun(boss)
    form(step(page, "lid")).submit(**{"releases-0-count": "6"})
    sent = boss.open(page.path).form("/send").submit()
    assert "another supervisor checks it" in sent.words
    assert sent.soup.find("form", action=f"{page.path}/publish") is None
    own = boss.post(f"{page.path}/publish", {**sent.form("/recall").values, "submission_id": clock.uuid7()})
    assert own.status == 409
    assert "another supervisor" in own.words
    edited = boss.post(f"{page.path}/steps/lid", {**form(step(page, "lid")).values, "title": "X"})
    assert edited.status == 409
    assert "being checked" in edited.words

    seen = checker.open(page.path)
    assert seen.form("/send-back").submit(remarks=" ").status in (409, 422)
    back = seen.form("/send-back").submit(remarks="Name the driver.")
    assert "Name the driver." in back.words
    boss.open(page.path).form("/send").submit()
    done = checker.open(page.path).form("/publish").submit()
    assert done.path == "/procedures/test-radio/2"
    with db.read() as session:
        new = queries.sheet(session, queries.find_revision(session, "test-radio", 2).id)
        old = queries.sheet(session, queries.find_revision(session, "test-radio", 1).id)
    assert (old.steps[0].releases[0].count, new.steps[0].releases[0].count) == (4, 6)
    assert "is revision 2" in checker.open(page.path).words
    told = boss.open("/procedures/test-radio/compare?from=1&to=2")
    assert "Fixing “Lid screw”, count" in told.words


@pytest.mark.usefixtures("radio")
def test_the_database_itself_refuses_one_person_as_writer_and_checker(db: Database) -> None:
    with db.write() as session:
        from app.procedures.actions.drafts import next_revision

        draft_id = next_revision(session, 1, who=4, at=clock.now())
    with pytest.raises(IntegrityError), db.write() as session:
        session.connection().execute(update(Draft).where(col(Draft.id) == draft_id).values(sent_by=4, checked_by=4))


@pytest.mark.usefixtures("radio")
def test_a_draft_that_fell_behind_is_not_published_before_it_is_carried_over(visit: Visit, db: Database) -> None:
    boss = visit("supervisor")
    page = begun(boss)
    form(step(page, "lid")).submit(title="Off with the lid")
    with db.write() as session:
        import_sheets(session, [SheetFile("r", SHEET.replace("revision: 1", "revision: 2"))], PARTS, clock.now(), None)
    behind = boss.open(page.path)
    assert "Revision 2 was published since this draft began from revision 1" in behind.words
    assert behind.soup.find("form", action=f"{page.path}/send") is None
    on = behind.form("/newest").submit()
    assert "Would be revision 3, builds on revision 2" in on.words
    assert on.form("/send").submit().status == 200


def test_a_procedure_is_written_from_nothing_to_a_sound_draft(visit: Visit, db: Database) -> None:
    boss = visit("supervisor")
    page = boss.open("/procedures/drafts").form("/procedures/drafts/blank").submit(title="Buoy lamp, exchange of units")
    assert "Device model is missing" in page.words
    head = form(boss.open(f"{page.path}/head")).submit(
        **{
            "device_model-name": "Buoy lamp",
            "device_model-kind": "lamp",
            "device_model-code": "buoy-lamp",
            "summary": "A sealed lamp.",
            "units-0-name": "Lamp head",
            "units-0-part": "TR-100",
            "tools-0-name": "Driver",
            "tools-0-size": "T5",
            "cautions-0-signal": "NOTICE",
            "cautions-0-hazard": "Glass.",
            "cautions-0-consequence": "It breaks.",
            "cautions-0-avoidance": "Lay it down softly.",
        }
    )
    assert "Nothing to mend here" not in head.words, "the unit is not freed yet"
    assert stored(db).document["tools"] == [{"id": "driver-t5", "name": "Driver", "size": "T5"}]
    first = boss.open(page.path).form("/steps").submit()
    form(first).submit(
        title="Lift the head out",
        do="Turn and lift.",
        time_s="40",
        frees="lamp-head",
        tools=["driver-t5"],
        **{"refit-title": "Put the head in", "refit-do": "Turn it home.", "refit-time_s": "30"},
    )
    tests = form(boss.open(f"{page.path}/tests")).submit(
        **{
            "release_tests-0-title": "Lamp test",
            "release_tests-0-do": "Switch it on.",
            "release_tests-0-due-always": "yes",
        }
    )
    assert "Nothing to mend here" in tests.words
    assert "Nothing is to be mended" in boss.open(page.path).words
    text = boss.client.get(f"{page.path}.yaml").text
    assert "id: lift-the-head-out" in text
    again = boss.open("/procedures/drafts").form("/procedures/drafts/file")
    answer = boss.client.post(
        again.action,
        data={k: v[0] for k, v in again.values.items()},
        files=[("files", ("lamp.yaml", text.encode(), "application/yaml"))],
    )
    assert Page(boss, answer).path == "/procedures/drafts/2"
    assert stored(db, 2).document == stored(db, 1).document


@pytest.mark.usefixtures("radio")
@pytest.mark.parametrize(
    ("name", "body", "words"),
    [
        ("photo.svg", b"<svg onload='x()'/>", "namespace"),
        ("photo.svg", b"\0\1", "not text"),
        ("photo.exe", b"MZ", "photo"),
    ],
)
def test_a_picture_that_is_none_is_refused_in_words(visit: Visit, name: str, body: bytes, words: str) -> None:
    boss = visit("supervisor")
    page = step(begun(boss), "board")
    filler = page.form("/picture")
    answer = boss.client.post(
        filler.action,
        data={k: v[0] for k, v in filler.values.items()},
        files={"picture": (name, body, "image/svg+xml")},
    )
    assert answer.status_code == 409
    assert words in Page(boss, answer).words


@pytest.mark.usefixtures("radio")
def test_a_picture_is_added_and_stays_with_earlier_saves(visit: Visit, db: Database) -> None:
    boss = visit("supervisor")
    page = step(begun(boss), "board")
    filler = page.form("/picture")
    answer = boss.client.post(
        filler.action,
        data={k: v[0] for k, v in filler.values.items()},
        files={"picture": ("The board.svg", LID.encode())},
    )
    shown = Page(boss, answer)
    assert shown.soup.select_one("figure svg.drawing") is not None
    name = stored(db).document["steps"][1]["picture"]
    assert name.startswith("the-board-")
    shown.form("/picture", n=1).submit()
    assert "picture" not in stored(db).document["steps"][1]
    boss.open("/procedures/drafts/1").form("/take-back").submit()
    assert step(boss.open("/procedures/drafts/1"), "board").soup.select_one("figure svg.drawing") is not None


@pytest.mark.usefixtures("radio")
def test_a_photo_is_kept_as_a_picture_that_places_lie_on_and_is_published(
    visit: Visit, db: Database, checker: Visitor
) -> None:
    boss = visit("supervisor")
    page = step(begun(boss), "board")
    out = BytesIO()
    Image.new("RGB", (640, 480), "navy").save(out, "PNG")
    filler = page.form("/picture")
    data = {k: v[0] for k, v in filler.values.items()}
    shown = Page(
        boss, boss.client.post(filler.action, data=data, files={"picture": ("../My board.png", out.getvalue())})
    )
    image = shown.soup.select_one("figure svg.photo image")
    assert image is not None
    assert boss.client.get(str(image["href"])).headers["content-type"] == "image/jpeg"
    assert shown.soup.select_one("svg.tap-places")["viewbox"] == "0.0 0.0 640.0 480.0"  # type: ignore[index]
    assert stored(db).document["steps"][1]["picture"].startswith("my-board-")
    whole = boss.open("/procedures/drafts/1/read")
    assert "not published" in whole.words
    assert whole.soup.select_one("svg.photo image") is not None
    boss.open("/procedures/drafts/1").form("/send").submit()
    done = checker.open("/procedures/drafts/1").form("/publish").submit()
    assert done.soup.select_one("li.step-read svg.photo image") is not None
    assert boss.client.get("/procedures/test-radio/2.dita.zip").status_code == 200


@pytest.mark.usefixtures("radio")
def test_where_the_words_allow_it_the_order_is_loosened_by_one_button(visit: Visit, db: Database) -> None:
    with db.write() as session:
        create_draft(
            session,
            title="Radio",
            document=stored_document(session),
            asked=[
                {"path": ["steps", 1, "after"], "question": "It shares nothing with it.", "words": "then the board"}
            ],
            who=4,
            at=clock.now(),
        )
    boss = visit("supervisor")
    page = boss.open("/procedures/drafts/1/steps/board")
    assert "It shares nothing with it." in page.words
    assert "then the board" in boss.open("/procedures/drafts/1").words
    loose = page.form("/steps/board/loosen").submit()
    assert loose.status == 200
    assert "after" not in stored(db).document["steps"][1]
    settled = boss.open("/procedures/drafts/1").form("/asked/0").submit()
    assert settled.status == 200
    assert stored(db).asked[0]["done"] is True


def stored_document(session: Session) -> dict[str, object]:
    """The published test radio as a draft's document."""
    sheet = queries.sheet(session, queries.find_revision(session, "test-radio", 1).id)
    return sheet.model_dump(mode="json", exclude_defaults=True)


@pytest.mark.usefixtures("radio")
def test_a_draft_with_gaps_is_not_read_as_a_whole(visit: Visit) -> None:
    boss = visit("supervisor")
    page = begun(boss)
    form(step(page, "lid")).submit(do="")
    told = boss.open(f"{page.path}/read")
    assert told.status == 409
    assert "cannot be read as a whole yet" in told.words
    assert "Instructions is missing" in told.words


@pytest.mark.usefixtures("radio")
def test_parts_are_looked_up_while_they_are_typed(visit: Visit) -> None:
    answer = visit("supervisor").client.get("/procedures/drafts/parts?releases-0-part=nothing-has-this")
    assert answer.status_code == 200
    assert "<option" not in answer.text
