"""Files as they come: encodings, broken captions, rolling captions, and what is no text at all."""

import pytest

from app.rules.narration import Source, draft_from, read_source
from app.rules.narration.decoding import MAX_BYTES
from app.rules.narration.shapes import SourceKind
from app.rules.verdict import Refused

VTT = """WEBVTT - strip-down

NOTE made by hand

STYLE
::cue { color: black }

intro
00:00:01.000 --> 00:00:03.000 align:start
<v Mate>undo the four <b>screws</b>

00:00:03.000 --> 00:00:06.000
and then lift &amp; turn
the lid off
"""
SRT = """1
00:00:01,000 --> 00:00:03,000
undo the four screws

2
00:00:03,000 --> 00:00:06,500
<i>then</i> {\\an8}lift off the lid
"""


def counts(source: Source) -> list[tuple[str, int | None]]:
    return [(f.kind.value, f.count) for step in draft_from(source).steps for f in step.fixings]


def test_webvtt_is_read_without_tags_notes_and_styles() -> None:
    source = read_source("a.vtt", VTT.encode())
    assert source.kind is SourceKind.WEBVTT
    assert source.text == "undo the four screws\nand then lift & turn the lid off"
    assert source.warnings == ()
    assert (source.cues[0].from_s, source.cues[1].until_s) == (1.0, 6.0)


def test_srt_is_read_without_tags_and_numbers() -> None:
    source = read_source("a.srt", SRT.encode())
    assert source.kind is SourceKind.SUBRIP
    assert source.text == "undo the four screws\nthen lift off the lid"
    assert [step.clip for step in draft_from(source).steps] == ["#t=1,3", "#t=3,6.5"]


def test_a_time_inside_a_webvtt_cue_is_kept() -> None:
    body = b"WEBVTT\n\n00:01.000 --> 00:09.000\nundo the screw <00:05.000>then lift the lid off\n"
    first, second = draft_from(read_source("a.vtt", body)).steps
    assert (first.clip, second.clip) == ("#t=1,5", "#t=5,9")


def test_captions_are_known_whatever_the_file_is_called() -> None:
    assert read_source("notes.txt", SRT.encode()).kind is SourceKind.SUBRIP
    source = read_source("a.srt", b"Undo the four screws.")
    assert source.kind is SourceKind.TEXT
    assert source.warnings == ("No cue times were found, so the file was read as plain text.",)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_encodings_are_told_apart(encoding: str) -> None:
    text = "Undo the four screws – café. " * 3
    mark = "\ufeff" if encoding in {"utf-16-le", "utf-16-be"} else ""
    assert read_source("a.txt", (mark + text).encode(encoding)).text == text
    assert read_source("a.vtt", (mark + VTT).encode(encoding)).kind is SourceKind.WEBVTT


def test_utf_16_without_its_mark_is_read_and_said() -> None:
    source = read_source("a.txt", ("Undo the four screws. " * 5).encode("utf-16-le"))
    assert source.text.startswith("Undo the four")
    assert source.warnings == ("The file was read as UTF-16 without its mark.",)


def test_windows_1252_is_read_and_said() -> None:
    source = read_source("a.txt", "Undo the screws \u2013 don\u2019t rush, caf\u00e9".encode("cp1252"))
    assert source.text == "Undo the screws – don’t rush, café"
    assert "Windows-1252" in source.warnings[0]


@pytest.mark.parametrize(
    "body",
    [
        b"%PDF-1.7 abc",
        b"PK\x03\x04rest",
        b"\x89PNG\r\n",
        b"\x00\x00\x00\x18ftypmp42",
        b"abc" + bytes(range(256)) * 8,
        bytes(400),
    ],
)
def test_what_is_no_text_is_refused_with_what_to_do(body: bytes) -> None:
    with pytest.raises(Refused) as refusal:
        read_source("clip.mp4", body)
    assert "WebVTT or SRT" in refusal.value.reason


@pytest.mark.parametrize("body", [b"", b"  \n\t ", b"\xef\xbb\xbf"])
def test_nothing_is_refused(body: bytes) -> None:
    with pytest.raises(Refused, match="no words"):
        read_source("a.txt", body)


def test_too_much_is_refused() -> None:
    with pytest.raises(Refused, match="larger than 5 MB"):
        read_source("a.txt", b"a" * (MAX_BYTES + 1))


def test_captions_without_words_are_refused() -> None:
    with pytest.raises(Refused, match="no cue with words"):
        read_source("a.srt", b"1\n00:00:01,000 --> 00:00:02,000\n\n")


def test_control_characters_become_spaces_and_are_said() -> None:
    source = read_source("a.txt", b"Undo the four\x07 screws.\x0b")
    assert source.text == "Undo the four  screws. "
    assert source.warnings == ("2 control characters became spaces.",)


@pytest.mark.parametrize(
    "body",
    [
        "WEBVTT\n00:01.000 --> 00:03.000\nundo the four screws\n00:03.000 --> 00:06.000\nthen lift off the lid",
        "WEBVTT\n\n0:1.0 --> 0:3\nundo the four screws\n\n00:03.000 -> 00:06.000\nthen lift off the lid",
        "1\n00:00:01.000 --> 00:00:03\nundo the four\n\nscrews\n2\n00:00:03,000-->00:00:06,000\nthen lift off the lid",
        "undo the four\n1\n00:00:01,000 --> 00:00:03,000\nscrews\n\n0:00:04,000 --> 0:00:05,000\nthen lift off the lid",
    ],
)
def test_broken_captions_lose_no_word(body: str) -> None:
    source = read_source("a.srt", body.encode())
    assert source.text.split() == ["undo", "the", "four", "screws", "then", "lift", "off", "the", "lid"]
    assert counts(source) == [("screw", 4), ("cover", 1)]
    assert any("check the times" in warning for warning in source.warnings)


def test_cues_out_of_order_are_sorted_and_said() -> None:
    later = "1\n00:00:05,000 --> 00:00:06,000\nthen lift off the lid\n\n"
    body = later + "2\n00:00:01,000 --> 00:00:02,000\nundo the four screws\n"
    source = read_source("a.srt", body.encode())
    assert source.text == "undo the four screws\nthen lift off the lid"
    assert any("out of order" in warning for warning in source.warnings)


def test_a_cue_that_ends_before_it_begins_is_said() -> None:
    source = read_source("a.srt", b"1\n00:00:05,000 --> 00:00:02,000\nundo the four screws\n")
    assert any("ended before they began" in warning for warning in source.warnings)
    assert draft_from(source).steps[0].clip == "#t=5,5.1"


def test_rolling_captions_are_read_once() -> None:
    body = """WEBVTT

00:01.000 --> 00:02.000
undo the four

00:02.000 --> 00:03.000
undo the four
screws along the edge

00:03.000 --> 00:04.000
screws along the edge
then lift off the lid
"""
    source = read_source("a.vtt", body.encode())
    assert source.text == "undo the four\nscrews along the edge\nthen lift off the lid"
    assert source.warnings == ("7 words that the captions show again were left out.",)


def test_growing_captions_are_read_once() -> None:
    body = "WEBVTT\n\n00:01.000 --> 00:02.000\nundo\n\n00:02.000 --> 00:03.000\nundo the four\n\n"
    body += "00:03.000 --> 00:04.000\nundo the four screws\n"
    assert read_source("a.vtt", body.encode()).text.split() == ["undo", "the", "four", "screws"]
