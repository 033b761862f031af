"""What holds for any text: nothing raised, nothing invented, order kept, cuts without effect."""

import string
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.narration import Draft, Source, draft_from, read_source, to_sheet_draft
from app.rules.narration.captions import Cue, joined
from app.rules.narration.shapes import SourceKind, Words
from app.rules.narration.wordlist import words
from app.rules.verdict import Refused
from tests.rules.narration.benchmark import SPOKEN

_BENCH_WORDS = [
    *sorted(
        words(
            "undo the four screws then lift off lid and now peel seal throw it away careful do not remove "
            "two lower clips T5 PH0 tee five check that pull out cell board is held by half a dozen both "
            "remaining unplug connector flex of with in , . ; : ( ) there are them those all once when if x "
            "4x 12 bin discard fit new slide pick under - um so okay first next"
        )
    ),
    "\n",
]
_TALK = st.lists(st.sampled_from(_BENCH_WORDS), max_size=60).map(" ".join)
_SENTENCES = (
    "undo the four screws with a tee five",
    "then lift off the lid",
    "now peel off the seal and bin it",
    "unplug the two connectors",
    "next undo half a dozen screws round the edge",
    "and then take out the board",
    "release the three clips along the left edge",
    "be careful not to bend the flex",
    "check that the pins are straight",
)
_SPEECH = st.lists(st.sampled_from(_SENTENCES), min_size=1, max_size=8, unique=True).map(" ".join)


def all_words(draft: Draft) -> list[Words]:
    found = [said for said in (draft.preamble, draft.closing) if said]
    for step in draft.steps:
        found.append(step.words)
        found += [fixing.words for fixing in step.fixings]
        found += [tool.words for tool in (*step.drivers, *step.tools)]
        found += [note.words for note in (*step.cautions, *step.inspections)]
        found += [unit.words for unit in step.frees]
        found += [f.scrap_words for f in step.fixings if f.scrap_words]
        found += step.kept
    return found


def spoken_in(cues: list[tuple[float, float, str]]) -> Source:
    return joined("a.vtt", SourceKind.WEBVTT, [Cue(*cue) for cue in cues], ())


def essence(draft: Draft) -> list[object]:
    return [
        (
            step.verb,
            [(f.kind, f.name, f.count, f.reuse) for f in step.fixings],
            [d.size for d in step.drivers],
            [u.name for u in step.frees],
        )
        for step in draft.steps
    ]


def check(draft: Draft) -> None:
    text = draft.source.text
    for said in all_words(draft):
        assert text[said.start : said.end] == said.text
        assert said.text
    starts = [step.words.start for step in draft.steps]
    assert starts == sorted(starts)
    for before, after in zip(draft.steps, draft.steps[1:], strict=False):
        assert before.words.end <= after.words.start
    for index, step in enumerate(draft.steps):
        assert step.after == ((index - 1,) if index else ())
        for fixing in step.fixings:
            assert fixing.sure == (fixing.question is None)
            assert fixing.count is not None or not fixing.sure
            assert fixing.count is None or 1 <= fixing.count <= 200


@settings(max_examples=300, deadline=None)
@given(st.one_of(st.text(max_size=300), _TALK))
def test_any_text_is_drafted_and_every_span_is_in_the_source(text: str) -> None:
    try:
        source = read_source("any.txt", text.encode("utf-8", "surrogatepass"))
    except Refused:
        return
    draft = draft_from(source)
    check(draft)
    if draft.steps:
        to_sheet_draft(draft, code="any", title="Any")


@settings(max_examples=200, deadline=None)
@given(
    st.one_of(
        st.binary(max_size=400),
        st.text(alphabet=string.printable, max_size=200).map(lambda t: ("WEBVTT\n\n" + t).encode()),
    )
)
def test_any_bytes_are_read_or_refused(body: bytes) -> None:
    try:
        source = read_source("any.vtt", body)
    except Refused:
        return
    check(draft_from(source))


@settings(max_examples=150, deadline=None)
@given(_TALK.filter(str.strip), st.lists(st.integers(1, 6), min_size=1, max_size=40))
def test_times_run_forward_with_the_words(text: str, sizes: list[int]) -> None:
    words, cues, at = text.split(), [], 0.0
    for size in sizes:
        if words:
            cues.append((at, at + size, " ".join(words[:size])))
            words, at = words[size:], at + size
    try:
        source = spoken_in(cues)
    except Refused:
        return
    for words_said in all_words(draft_from(source)):
        assert words_said.from_s is not None
        assert words_said.until_s is not None
        assert 0 <= words_said.from_s <= words_said.until_s <= at


@settings(max_examples=150, deadline=None)
@given(_SPEECH, st.data())
def test_a_cue_cut_at_any_place_changes_nothing(text: str, data: st.DataObject) -> None:
    words = text.split()
    cuts = sorted(data.draw(st.sets(st.integers(1, len(words)), max_size=6)) | {len(words)})
    cues, first = [], 0
    for cut in cuts:
        cues.append((float(first), float(cut), " ".join(words[first:cut])))
        first = cut
    assert essence(draft_from(spoken_in(cues))) == essence(draft_from(spoken_in([(0.0, float(len(words)), text)])))


@settings(max_examples=150, deadline=None)
@given(_SPEECH, st.data())
def test_a_doubled_cue_changes_nothing(text: str, data: st.DataObject) -> None:
    words = text.split()
    size = data.draw(st.integers(2, 9))
    cues = [(float(k), float(k + size), " ".join(words[k : k + size])) for k in range(0, len(words), size)]
    again = data.draw(st.integers(0, len(cues) - 1))
    doubled = [*cues[: again + 1], cues[again], *cues[again + 1 :]]
    assert essence(draft_from(spoken_in(doubled))) == essence(draft_from(spoken_in(cues)))
    assert spoken_in(doubled).text == spoken_in(cues).text


@pytest.mark.parametrize(
    "path", sorted(p for p in SPOKEN.iterdir() if p.suffix in {".vtt", ".srt", ".txt"}), ids=lambda p: p.name
)
def test_every_narration_keeps_the_rules(path: Path) -> None:
    check(draft_from(read_source(path.name, path.read_bytes())))


def test_a_long_narration_is_read_whole() -> None:
    sentence = "Undo the four screws with a T5 driver, then lift off the lid. Peel off the seal and bin it. "
    source = read_source("long.txt", (sentence * (5 * 1024 * 1024 // len(sentence) // 20)).encode())
    assert len(draft_from(source).steps) == 3 * source.text.count("bin it")
