"""Steps find their time in captions by their words, in order, wherever the captions are cut."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.narration import Source, read_source
from app.rules.narration.timing import spans_of
from app.rules.verdict import Refused

TEXTS = ("Undo the four screws in the lid.", "Peel off the seal.", "Undo the four screws of the board.")
SAID = (
    "hello so undo the four screws in the lid okay and now peel off the seal good then undo the four screws of the "
    "board"
)


def captions(size: int) -> Source:
    """Return SAID as captions of so many words, a second a word."""
    said = SAID.split()
    cues = [
        f"00:00:{k:02}.000 --> 00:00:{min(k + size, len(said)):02}.000\n{' '.join(said[k : k + size])}\n"
        for k in range(0, len(said), size)
    ]
    return read_source("a.vtt", ("WEBVTT\n\n" + "\n".join(cues)).encode())


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 9))
def test_each_step_gets_the_time_in_which_its_words_are_told(size: int) -> None:
    spans = spans_of(TEXTS, captions(size))
    for span, (begin, end) in zip(spans, ((2, 9), (12, 16), (18, 25)), strict=True):
        assert span is not None
        assert abs(span[0] - begin) <= 1
        assert abs(span[1] - end) <= 1


def test_a_step_that_is_not_told_has_no_time() -> None:
    spans = spans_of((TEXTS[0], "Unplug the fan and lift it clear.", TEXTS[2]), captions(5))
    assert [span is not None for span in spans] == [True, False, True]


def test_words_without_times_and_far_too_many_are_refused() -> None:
    with pytest.raises(Refused, match="no times"):
        spans_of(TEXTS, read_source("a.txt", SAID.encode()))
    with pytest.raises(Refused, match="more than 15,000"):
        spans_of(("undo the screws " * 6000,), captions(5))


def test_without_steps_there_are_no_times() -> None:
    assert spans_of((), captions(5)) == ()
