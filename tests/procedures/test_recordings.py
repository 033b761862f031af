"""A recording added to a draft that was there before, replaced, shifted, and timed by captions."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.procedures.actions import create_draft
from app.procedures.queries.drafts import DraftDetail, draft
from app.rules.draft_clips import read_shift, with_recording
from tests.procedures.test_media import MP4
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]
STEPS = [
    {"id": "screws", "title": "Undo the screws", "do": "Undo the four screws in the lid."},
    {"id": "seal", "title": "Peel off the seal", "do": "Peel off the seal and bin it."},
    {"id": "board", "title": "Lift out the board", "do": "Lift the board straight up."},
]
CAPTIONS = b"""WEBVTT

00:00:02.000 --> 00:00:06.000
undo the four screws in the lid

00:00:07.000 --> 00:00:09.500
peel off the seal and bin it
"""
OTHERS = b"WEBVTT\n\n00:00:02.000 --> 00:00:06.000\nsomething else is told here\n"
VIDEO = ("strip.mp4", MP4, "video/mp4")


@pytest.fixture
def begun(db: Database) -> int:
    """A draft that was written without a recording."""
    with db.write() as session:
        return create_draft(
            session, title="Radio", document={"code": "radio", "steps": STEPS}, who=None, at=clock.now()
        )


def _send(visitor: Visitor, draft_id: int, files: dict[str, Any], **values: str) -> Page:
    there = f"/procedures/drafts/{draft_id}/recording"
    empty = {"video": ("", b""), "captions": ("", b"")}
    return visitor.open(there).form(there).submit(files={**empty, **files}, **values)


def _kept(db: Database, draft_id: int) -> DraftDetail:
    with db.read() as session:
        return draft(session, draft_id)


def _clips(found: DraftDetail) -> list[tuple[str, str] | None]:
    clips = [step.get("clip") for step in found.document["steps"]]
    return [(clip["from_s"], clip["to_s"]) if clip else None for clip in clips]


def test_a_recording_and_captions_are_added_later_and_give_steps_their_clips(
    db: Database, visit: Visit, begun: int
) -> None:
    boss = visit("supervisor")
    assert boss.open(f"/procedures/drafts/{begun}").soup.find("a", string="Add a recording")
    done = _send(boss, begun, {"video": VIDEO, "captions": ("strip.vtt", CAPTIONS, "text/vtt")})
    assert done.status == 200, done.words[:400]
    assert "2 of 3" in done.words
    found = _kept(db, begun)
    assert _clips(found) == [("2", "6"), ("7", "9.5"), None]
    assert found.document["steps"][0]["clip"]["video"] == found.video
    assert found.source, "the captions are kept"
    assert "0:02 to 0:06" in done.words


def test_another_recording_takes_over_the_clips_with_a_shift(db: Database, visit: Visit, begun: int) -> None:
    boss = visit("supervisor")
    _send(boss, begun, {"video": VIDEO, "captions": ("strip.vtt", CAPTIONS, "text/vtt")})
    first = _kept(db, begun)
    other = ("again.mp4", MP4 + b"other", "video/mp4")
    _send(boss, begun, {"video": other}, shift="1,5")
    found = _kept(db, begun)
    assert found.video != first.video
    assert _clips(found) == [("3.5", "7.5"), ("8.5", "11"), None]
    assert {step["clip"]["video"] for step in found.document["steps"] if "clip" in step} == {found.video}
    _send(boss, begun, {}, shift="-1.5")
    assert _clips(_kept(db, begun)) == _clips(first)


def test_what_cannot_be_used_is_told_beside_its_field_and_the_recording_need_not_be_sent_again(
    db: Database, visit: Visit, begun: int
) -> None:
    boss = visit("supervisor")
    assert "Choose the recording first" in _send(boss, begun, {"captions": ("a.vtt", CAPTIONS, "text/vtt")}).words
    plain = _send(boss, begun, {"video": VIDEO, "captions": ("a.txt", b"Undo the screws.", "text/plain")})
    assert plain.status == 422
    assert "no times" in plain.words
    form = plain.form(f"/procedures/drafts/{begun}/recording")
    assert len(form.values["kept_video"][0]) == 64
    wrong = form.submit(files={"video": ("", b""), "captions": ("", b"")}, shift="soon")
    assert "Enter seconds" in wrong.words
    others = wrong.form(f"/procedures/drafts/{begun}/recording").submit(
        files={"video": ("", b""), "captions": ("a.vtt", OTHERS, "text/vtt")},
        shift="",
    )
    assert others.status == 409
    assert "No step's words are in these captions" in others.words
    assert _kept(db, begun).video is None


@pytest.mark.parametrize(
    ("name", "body", "told"),
    [
        ("film.vtt", b"\x89PNG\r\n\x1a\n" + bytes(500), "not text"),
        ("broken.vtt", b"WEBVTT\n\n00:00:01.000 --> 00:00:02.000\n\n", "no cue with words"),
        ("huge.vtt", CAPTIONS + b"undo the four screws " * 260_000, "larger than 5 MB"),
        ("../../<script>.vtt\x00", b"%PDF-1.7 words", "not text"),
    ],
)
def test_captions_that_cannot_be_read_are_told(
    db: Database, visit: Visit, begun: int, name: str, body: bytes, told: str
) -> None:
    answer = _send(visit("supervisor"), begun, {"video": VIDEO, "captions": (name, body, "text/vtt")})
    assert answer.status == 422
    assert told in answer.words
    assert "<script>.vtt" not in answer.text
    assert _kept(db, begun).video is None


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig", "cp1252"])
def test_captions_in_other_encodings_time_the_steps(db: Database, visit: Visit, begun: int, encoding: str) -> None:
    body = CAPTIONS.decode().replace("the seal and", "the seal – “careful” – and").encode(encoding)
    _send(visit("supervisor"), begun, {"video": VIDEO, "captions": ("strip.vtt", body, "text/vtt")})
    assert _clips(_kept(db, begun))[:2] == [("2", "6"), ("7", "9.5")]


def test_a_stale_change_of_the_recording_is_refused_with_what_is_new(db: Database, visit: Visit, begun: int) -> None:
    boss = visit("supervisor")
    there = f"/procedures/drafts/{begun}/recording"
    form = boss.open(there).form(there)
    _send(boss, begun, {"video": VIDEO})
    stale = form.submit(files={"video": VIDEO, "captions": ("", b"")}, shift="2")
    assert stale.status == 409
    assert "Somebody wrote to this draft" in stale.words


def test_a_clip_never_leaves_the_recording() -> None:
    document = {"steps": [{"title": "Lid", "clip": {"video": "a", "from_s": "2", "to_s": "4"}}]}
    with pytest.raises(Refused, match="outside the recording"):
        with_recording(document, "b", Decimal(-3))
    typed = {"steps": [{"title": "Lid", "clip": {"video": "a", "from_s": "soon", "to_s": "4"}}]}
    assert with_recording(typed, "b", Decimal(1))["steps"][0]["clip"] == {"video": "b", "from_s": "soon", "to_s": "4"}


@pytest.mark.parametrize(("text", "value"), [("", "0"), ("2.5", "2.5"), ("−3", "-3"), (" 1,25 ", "1.25")])
def test_a_shift_is_read(text: str, value: str) -> None:
    assert read_shift(text) == Decimal(value)


@pytest.mark.parametrize("text", ["soon", "nan", "1e9", "inf", "86401"])
def test_a_shift_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(Refused):
        read_shift(text)


def test_only_supervisors_change_a_recording(visit: Visit, begun: int) -> None:
    assert visit("technician").open(f"/procedures/drafts/{begun}/recording").status == 403
