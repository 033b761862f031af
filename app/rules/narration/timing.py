"""When each step is told in a recording: the words of the steps laid along the words of its captions."""

from collections.abc import Sequence
from typing import Final

from rapidfuzz.distance import LCSseq

from app.rules.narration.shapes import Source
from app.rules.narration.tokens import tokens_of
from app.rules.verdict import Refused

MOST_WORDS: Final = 15_000
"""An hour and a half of speech. The comparison takes time and memory with the product of both lengths."""
_SHARE: Final = 0.5
"""The part of a step's words that must be found for its time to be told."""
_STRAY: Final = 12
"""Words of the captions between two found ones, beyond which the outer one is a stray."""


def spans_of(texts: Sequence[str], source: Source) -> tuple[tuple[float, float] | None, ...]:
    """Return from when until when each text is told in the captions, in seconds; None for what is not found.

    The longest common subsequence of words keeps the order of the steps, so a word that is said twice is found in
    its own place. Refused for words without times, and for more than ``MOST_WORDS`` of either.
    """
    if not source.cues:
        raise Refused("These words carry no times. Choose captions, WebVTT or SRT.")
    told = tokens_of(source)
    wanted: list[str] = []
    owner: list[int] = []
    for number, text in enumerate(texts):
        low = [token.low for token in tokens_of(Source("", source.kind, text))]
        wanted += low
        owner += [number] * len(low)
    if len(told) > MOST_WORDS or len(wanted) > MOST_WORDS:
        raise Refused(f"These are more than {MOST_WORDS:,} words. Cut the captions to the part that tells this device.")
    places: list[list[int]] = [[] for _ in texts]
    for block in LCSseq.opcodes(wanted, [token.low for token in told]):
        if block.tag == "equal":
            for k in range(block.src_end - block.src_start):
                places[owner[block.src_start + k]].append(block.dest_start + k)
    spans: list[tuple[float, float] | None] = []
    for number, found in enumerate(places):
        kept = _together(found)
        if not kept or len(kept) < owner.count(number) * _SHARE:
            spans.append(None)
            continue
        words = source.words(told[kept[0]].start, told[kept[-1]].end)
        assert words.from_s is not None
        assert words.until_s is not None
        spans.append((words.from_s, words.until_s))
    return tuple(spans)


def _together(places: list[int]) -> list[int]:
    """Return the largest run of places that stand near each other."""
    best: list[int] = []
    run: list[int] = []
    for place in places:
        if run and place - run[-1] > _STRAY:
            run = []
        run.append(place)
        if len(run) > len(best):
            best = list(run)
    return best
