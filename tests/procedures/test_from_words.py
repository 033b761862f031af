"""From words to a draft, through the pages."""

from collections.abc import Callable
from typing import Any

import pytest

from app.platform.db import Database
from app.platform.settings import Settings
from app.procedures import queries
from app.procedures.queries.drafts import DraftDetail, draft
from tests.procedures.test_media import MP4
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]
HERE = "/procedures/drafts/from-words"
TEXT = (
    "This is the deck radio. Undo the four T5 screws in the back cover and lift off the cover. "
    "Unplug the battery connector. Release three clips along the left edge. "
    "Peel off the seal and throw it away, it must be renewed. Take care not to bend the flex. Lift out the main board."
)
CAPTIONS = """\
WEBVTT

00:00:02.000 --> 00:00:06.500
Undo the four T5 screws

00:00:06.500 --> 00:00:09.000
in the back cover.

00:00:10.000 --> 00:00:14.250
Lift out the main board.
"""


def _send(visitor: Visitor, files: dict[str, Any] | None = None, **values: str) -> Page:
    return visitor.open(HERE).form(HERE).submit(files=files or {"video": ("", b"")}, **values)


def _file(name: str, body: bytes) -> dict[str, Any]:
    return {"words_file": (name, body, "application/octet-stream")}


def _fields(values: dict[str, Any]) -> dict[str, Any]:
    """Fields whose names are no words of the language."""
    return values


def _made(db: Database, page: Page) -> DraftDetail:
    assert page.path.startswith("/procedures/drafts/"), page.words[:500]
    with db.read() as session:
        return draft(session, int(page.path.rsplit("/", 1)[1]))


def test_pasted_words_become_a_draft_with_its_open_questions(db: Database, visit: Visit) -> None:
    boss = visit("supervisor")
    read = _send(boss, title="Deck radio, exchange of units", words=TEXT)
    assert read.status == 200
    assert read.path.startswith(HERE)
    assert "4 × T5 screws (screw)" in read.words
    assert any("four T5 screws" in q.get_text() for q in read.soup.find_all("q"))
    form = read.form(read.path)
    assert form.values["code"] == ["deck-radio-exchange-of-units"]
    assert form.values["written_by"] == ["Ruth Okonjo-Lind"]
    part = next(name for name in form.values if name.endswith("-part") and "releases" in name)
    done = form.submit(kind="deck radio", **_fields({part: "tr-300"}))
    made = _made(db, done)
    assert made.document["title"] == "Deck radio, exchange of units"
    assert made.document["device_model"]["kind"] == "deck radio"
    steps = made.document["steps"]
    assert [step.get("after") for step in steps[1:]] == [[step["id"]] for step in steps[:-1]], "as narrated"
    fixings = [fixing for step in steps for fixing in step.get("releases", ())]
    assert [f["part"] for f in fixings if f["reuse"] == "single-use"] == ["TR-300"]
    assert any(f["kind"] == "clip" and f["count"] == 3 for f in fixings)
    assert done.soup.select("svg.precedence"), "drawn, however many gaps there are"
    assert made.source
    assert made.video is None
    asked = [q["question"] for q in made.asked]
    assert any("How many seconds" in question for question in asked)
    assert not any("part number" in question and "new seal" in question for question in asked), "it was answered"
    assert any(q["words"] == "Take care not to bend the flex." for q in made.asked)
    assert all(q["step"] for q in made.asked if q["path"][0] == "steps")


def test_captions_with_their_recording_give_each_step_its_clip(db: Database, visit: Visit) -> None:
    boss = visit("supervisor")
    files = {**_file("strip-down.vtt", CAPTIONS.encode()), "video": ("strip.mp4", MP4, "video/mp4")}
    read = _send(boss, files, title="Radio")
    assert "Clip 0:02 to 0:09" in read.words
    assert "strip.mp4" in read.words
    made = _made(db, read.form(read.path).submit(kind="radio"))
    clips = [step.get("clip") for step in made.document["steps"]]
    assert clips[0] == {"video": made.video, "from_s": "2", "to_s": "9"}
    assert clips[-1] == {"video": made.video, "from_s": "10", "to_s": "14.3"}
    assert made.asked[-1]["from_s"] == "10.0"
    assert boss.client.get(f"/media/{made.source}").content == CAPTIONS.encode()
    assert boss.client.get(f"/media/{made.source}").headers["content-disposition"].startswith("attachment")


def test_a_recording_without_times_in_the_words_is_kept_and_said(db: Database, visit: Visit) -> None:
    read = _send(visit("supervisor"), {"video": ("strip.mp4", MP4, "video/mp4")}, words=TEXT, title="Radio")
    assert "These words carry no times" in read.words
    made = _made(db, read.form(read.path).submit())
    assert made.video
    assert all("clip" not in step for step in made.document["steps"])


def test_the_same_form_again_makes_one_draft(visit: Visit) -> None:
    read = _send(visit("supervisor"), words=TEXT, title="Radio")
    form = read.form(read.path)
    first, again = form.submit(), form.submit()
    assert first.path == again.path


def test_a_wrong_answer_is_told_beside_its_field_and_nothing_typed_is_lost(visit: Visit) -> None:
    read = _send(visit("supervisor"), words=TEXT, title="Radio")
    form = read.form(read.path)
    part = next(name for name in form.values if name.endswith("-part"))
    wrong = form.submit(kind="deck radio", code="Not A Code", **_fields({part: "no number!"}))
    assert wrong.status == 422
    assert "Part numbers are capitals and digits" in wrong.words
    again = wrong.form(wrong.path)
    assert again.values["code"] == ["Not A Code"]
    assert again.values["kind"] == ["deck radio"]
    assert again.values[part] == ["no number!"]
    assert again.submit(code="radio", **_fields({part: ""})).path.startswith("/procedures/drafts/")


def test_answers_to_another_reading_are_not_taken(visit: Visit) -> None:
    read = _send(visit("supervisor"), words=TEXT, title="Radio")
    refused = read.form(read.path).submit(mark="0" * 16)
    assert refused.status == 422
    assert "read otherwise" in refused.words


@pytest.mark.parametrize(
    ("name", "body", "told"),
    [
        ("film.txt", b"\x89PNG\r\n\x1a\n" + bytes(500), "not text"),
        ("words.txt", bytes(range(256)) * 40, "not text"),
        ("words.pdf.txt", b"%PDF-1.7 words", "not text"),
        ("empty.txt", b" \n ", "no words"),
        ("hello.txt", b"Good morning everybody.", "No step was found"),
        ("broken.vtt", b"WEBVTT\n\n00:00:01.000 --> 00:00:02.000\n\n", "no cue with words"),
        ("long.txt", b"Undo the four screws. " * 12_000, "at most 200,000"),
        ("huge.txt", b"Undo the four screws. " * 240_000, "larger than 5 MB"),
        ("../../<script>.txt\x00", b"\xff\xd8\xff\xe0 words", "not text"),
    ],
)
def test_what_cannot_be_read_is_told_and_the_rest_of_the_form_is_kept(
    visit: Visit, name: str, body: bytes, told: str
) -> None:
    answer = _send(visit("supervisor"), {**_file(name, body), "video": ("s.mp4", MP4, "video/mp4")}, title="My radio")
    assert answer.status == 422
    assert told in answer.words
    assert "<script>.txt" not in answer.text
    form = answer.form(HERE)
    assert form.values["title"] == ["My radio"]
    assert len(form.values["kept_video"][0]) == 64, "the recording need not be sent again"
    good = form.submit(files={"video": ("", b"")}, words=TEXT)
    assert good.path.startswith(f"{HERE}/")
    assert "s.mp4" in good.words


@pytest.mark.parametrize(
    ("name", "body"),
    [
        ("utf16.txt", TEXT.encode("utf-16")),
        ("utf16be.txt", b"\xfe\xff" + TEXT.encode("utf-16-be")),
        ("windows.txt", TEXT.replace("board.", "board, it’s the déclic one.").encode("cp1252")),
        ("mark.txt", b"\xef\xbb\xbf" + TEXT.encode()),
        ("broken.srt", CAPTIONS.replace("WEBVTT", "").replace("00:00:06.500 -->", "00:00:06,5 ->").encode()),
    ],
)
def test_other_encodings_and_broken_captions_are_read(visit: Visit, name: str, body: bytes) -> None:
    read = _send(visit("supervisor"), _file(name, body), title="Radio")
    assert read.path.startswith(f"{HERE}/"), read.words[:400]
    assert "4 × T5 screws (screw)" in read.words


def test_words_in_both_places_in_none_and_a_film_that_is_none_are_refused_with_the_words_kept(visit: Visit) -> None:
    boss = visit("supervisor")
    both = _send(boss, _file("a.txt", b"Undo two screws."), words=TEXT)
    assert both.status == 422
    assert "not both" in both.words
    assert both.form(HERE).values["words"] == [TEXT]
    assert "Paste the words" in _send(boss, title="x").words
    film = _send(boss, {**_file("a.vtt", CAPTIONS.encode()), "video": ("strip.mp4", b"MZ no film", "video/mp4")})
    assert film.status == 422
    assert "not a recording that a browser plays" in film.words
    assert film.form(HERE).values["words"][0].strip() == CAPTIONS.strip(), "a browser forgets the chosen file"


def test_an_upload_over_the_limit_is_refused_while_it_comes(
    db: Database, settings: Settings, visit: Visit, app: Any
) -> None:
    app.state.settings = settings.model_copy(update={"video_mb": 1, "words_mb": 1})
    boss = visit("supervisor")
    little = _send(boss, {**_file("a.vtt", CAPTIONS.encode()), "video": ("s.mp4", MP4 + bytes(1_100_000), "video/mp4")})
    assert little.status == 422
    assert "larger than 1 MB" in little.words
    much = _send(boss, {"video": ("s.mp4", MP4 + bytes(6_000_000), "video/mp4")}, words=TEXT)
    assert much.status == 413
    with db.read() as session:
        assert queries.media_faults(session, queries_store(settings)) == ()
    assert not [p for p in settings.media_folder.rglob("*") if p.is_file()]


def queries_store(settings: Settings) -> Any:
    """Return the store of the test's media folder."""
    from app.platform.media import MediaStore

    return MediaStore(settings.media_folder)


def test_only_supervisors_draft_from_words(visit: Visit) -> None:
    assert visit("technician").open(HERE).status == 403
    assert visit("stores").open(HERE).status == 403
    assert visit("supervisor").open(f"{HERE}/{'0' * 64}").status == 404


def test_a_caution_and_the_refit_are_drafted_and_their_questions_settled_on_the_steps_page(
    db: Database, visit: Visit
) -> None:
    boss = visit("supervisor")
    told = (
        "Undo the two T5 screws. Careful, the edge is sharp. Lift out the board. "
        "On refitting, tighten the screws to 9 Ncm."
    )
    read = _send(boss, words=told, title="Radio")
    assert "CAUTION is proposed, no signal word was said. Hazard: The edge is sharp." in read.words
    assert "Nothing was told of it; this is proposed." in read.words
    done = read.form(read.path).submit(kind="radio")
    made = _made(db, done)
    first, second = made.document["steps"]
    assert first["hazards"] == [{"signal": "CAUTION", "symbol": "sharp", "hazard": "The edge is sharp."}]
    assert first["releases"][0]["torque"] == {"value_ncm": "9", "source": "Told in pasted.txt"}
    assert second["refit"]["do"] == "Put the board back in."
    number = next(n for n, q in enumerate(made.asked) if q["question"].startswith("9 N·cm was told"))
    step = boss.open(f"{done.path}/steps/{first['id']}")
    assert "Does the maker's documentation give it?" in step.words
    settled = step.form(f"{done.path}/asked/{number}").submit()
    assert settled.path == f"{done.path}/steps/{first['id']}"
    assert "Does the maker's documentation give it?" not in settled.words
    assert "How is it avoided?" in settled.words


def test_a_refit_told_of_no_step_is_shown_as_read_and_asked_in_the_draft(db: Database, visit: Visit) -> None:
    told = (
        "Undo the two T5 screws. Lift off the cover. Undo the three T6 screws. Lift out the board. "
        "On refitting, tighten the screws."
    )
    read = _send(visit("supervisor"), words=told, title="Radio")
    assert read.status == 200
    assert "Asked in the draft, of no step yet: 1" in read.words
    assert "was told for the refit. Which step does it belong to?" in read.words
    made = _made(db, read.form(read.path).submit(kind="radio"))
    assert ["steps"] in [list(q["path"]) for q in made.asked]


def test_the_other_way_round_tells_nothing_that_would_have_to_be_asked(visit: Visit) -> None:
    told = "Undo the two T5 screws. Lift out the board. To put it back, do it the other way round."
    read = _send(visit("supervisor"), words=told, title="Radio")
    assert read.status == 200
    assert "Which step does it belong to?" not in read.words
