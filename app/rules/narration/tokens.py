"""Words with their places and the pauses before them, and tables of phrases looked up word by word."""

import re
from collections.abc import Iterable, Sequence
from enum import IntEnum
from typing import Final, Generic, NamedTuple, TypeVar

from app.rules.narration.shapes import Source, SourceKind

_WORD: Final = re.compile(r"[^\W_]+(?:['’][^\W_]+|(?<=\d)[.,](?=\d)[^\W_]+)*")
_LIST_MARK: Final = re.compile(
    r"[ \t]*(?:step[ \t]+)?(?:\d{1,3}[.):]|[-*•·–][ \t]|\(?[a-z]\)[ \t])[ \t]*", re.IGNORECASE
)
_HARD: Final = re.compile(r"[.!?;…](?:[\s\"'”’)\]]|$)|\n[ \t]*\n")


class Gap(IntEnum):
    """What stands before a word, weakest first."""

    NONE = 0
    HYPHEN = 1
    COMMA = 2
    BRACKET = 3
    HARD = 4


class Token(NamedTuple):
    """One word: ``low`` is what is looked up, ``start`` and ``end`` are offsets into the source's text."""

    text: str
    low: str
    start: int
    end: int
    gap: Gap


Tokens = Sequence[Token]
_SLURRED: Final = {"em": "them", "cuz": "because", "cos": "because", "til": "until"}
"""Words of speech, and what they are looked up as."""
Value = TypeVar("Value")


def tokens_of(source: Source) -> list[Token]:
    """Return the words of a source in order. A line break is a boundary in text only, and only before a new start."""
    text = source.text
    lines_count = source.kind is SourceKind.TEXT
    marks = _list_marks(text) if lines_count else {}
    ends = set(marks.values())
    found: list[Token] = []
    at = 0
    for match in _WORD.finditer(text):
        start = match.start()
        if start in marks:
            at = marks[start]
            continue
        gap = Gap.HARD if not found else _gap(text[at:start], lines_count, match[0])
        if at in ends:
            gap = Gap.HARD
        low = match[0].replace("’", "'").casefold()
        found.append(Token(match[0], _SLURRED.get(low, low), start, match.end(), gap))
        at = match.end()
    return _without_fillers(found)


def _without_fillers(tokens: list[Token]) -> list[Token]:
    """Leave out what only fills a pause; the pause itself stays before the next word."""
    kept: list[Token] = []
    pause, k = Gap.NONE, 0
    while k < len(tokens):
        filler = _FILLERS.at(tokens, k)
        if filler and not (filler[1] and k and tokens[k - 1].low in _MEANT):
            pause = max(pause, *(token.gap for token in tokens[k : k + filler[0]]))
            k += filler[0]
            continue
        kept.append(tokens[k]._replace(gap=max(pause, tokens[k].gap)))
        pause, k = Gap.NONE, k + 1
    return kept


def _list_marks(text: str) -> dict[int, int]:
    """Return where the number of a numbered line stands, and where its words begin."""
    marks: dict[int, int] = {}
    at = 0
    for line in text.split("\n"):
        mark = _LIST_MARK.match(line)
        word = _WORD.search(line) if mark else None
        while mark and word and word.start() < mark.end():
            marks[at + word.start()] = at + mark.end()
            word = _WORD.search(line, word.end())
        at += len(line) + 1
    return marks


def _gap(between: str, lines_count: bool, word: str) -> Gap:
    if between in {" ", ""}:
        return Gap.NONE
    if not lines_count:
        between = between.replace("\n", " ")
    if _HARD.search(between):
        return Gap.HARD
    if "\n" in between and (word[0].isupper() or "-" in between or "•" in between or "*" in between):
        return Gap.HARD
    if between in {"-", "‐", "‑"}:
        return Gap.HYPHEN
    if any(mark in between for mark in "():[]–—…") or " - " in between:
        return Gap.BRACKET
    return Gap.COMMA if "," in between else Gap.NONE


class Phrases(Generic[Value]):
    """Phrases of words, each with a value; the longest that begins at a place is found."""

    def __init__(self, entries: Iterable[tuple[str, Value]]) -> None:
        self._by_first: dict[str, list[tuple[tuple[str, ...], Value]]] = {}
        for phrase, value in entries:
            words = tuple(phrase.split())
            self._by_first.setdefault(words[0], []).append((words, value))
        for candidates in self._by_first.values():
            candidates.sort(key=lambda entry: -len(entry[0]))

    @property
    def first_words(self) -> frozenset[str]:
        """The words that a phrase of this table begins with."""
        return frozenset(self._by_first)

    def at(self, tokens: Tokens, index: int, pause: Gap = Gap.HYPHEN) -> tuple[int, Value] | None:
        """Return (number of words, value) of the longest phrase here, with no more than ``pause`` inside; or None."""
        for words, value in self._by_first.get(tokens[index].low, ()):
            size = len(words)
            if index + size <= len(tokens) and all(
                tokens[index + k].low == words[k] and tokens[index + k].gap <= pause for k in range(1, size)
            ):
                return size, value
        return None

    def ends_at(self, tokens: Tokens, index: int, longest: int = 4) -> int | None:
        """Return where a phrase begins whose last word is the one before ``index``; or None."""
        for size in range(min(longest, index), 0, -1):
            found = self.at(tokens, index - size)
            if found and found[0] == size:
                return index - size
        return None


_FILLERS: Final = Phrases(
    [
        (phrase, phrase in {"sort of", "kind of", "you know", "i mean"})
        for phrase in (
            "um", "umm", "uh", "er", "err", "erm", "ah", "eh", "hmm", "you know", "i mean", "sort of", "kind of",
            "kinda", "sorta", "basically", "literally", "actually",
        )
    ]
)  # fmt: skip
_MEANT: Final = frozenset({"this", "that", "some", "what", "which", "any", "the", "a", "do", "did", "if"})
"""Behind these “kind of” and “you know” are no fillers."""
