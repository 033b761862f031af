"""What a narration is read into: the source, its words with their places, and the draft to correct."""

from bisect import bisect_right
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cached_property

from app.rules.sheet import FixingKind, ReuseClass


class Verb(StrEnum):
    """What a step does, as one of a few classes."""

    UNFASTEN = "unfasten"
    RELEASE = "release"
    OPEN = "open"
    PEEL = "peel"
    LIFT_OUT = "lift out"
    LEVER = "lever"
    INSPECT = "inspect"
    APPLY = "apply"
    SCRAP = "scrap"


class SourceKind(StrEnum):
    """How the words came: as plain text, or as captions with times."""

    TEXT = "text"
    WEBVTT = "webvtt"
    SUBRIP = "subrip"


@dataclass(frozen=True, slots=True)
class CueSpan:
    """The part ``text[start:end]`` of a source, shown from ``from_s`` until ``until_s`` of the recording."""

    start: int
    end: int
    from_s: float
    until_s: float


@dataclass(frozen=True, slots=True)
class Words:
    """An exact span of the source: ``source.text[start:end] == text``. Times in seconds, for captions only."""

    text: str
    start: int
    end: int
    from_s: float | None = None
    until_s: float | None = None


@dataclass(frozen=True)
class Source:
    """A narration as it is read. All offsets of a draft point into ``text``.

    Plain text is kept as it came, with control characters as spaces. Of captions it holds the cues' words, one
    stretch a line, without what a rolling caption shows again. ``warnings`` says in words what was mended.
    """

    name: str
    kind: SourceKind
    text: str
    cues: tuple[CueSpan, ...] = ()
    warnings: tuple[str, ...] = ()

    @cached_property
    def _starts(self) -> list[int]:
        return [cue.start for cue in self.cues]

    def time_at(self, offset: int) -> float | None:
        """Return the time in seconds at an offset, linear inside a cue; None for plain text."""
        if not self.cues:
            return None
        cue = self.cues[max(0, bisect_right(self._starts, offset) - 1)]
        share = (offset - cue.start) / max(1, cue.end - cue.start)
        return cue.from_s + (cue.until_s - cue.from_s) * min(1.0, max(0.0, share))

    def words(self, start: int, end: int) -> Words:
        """Return the span as Words, with its times."""
        until = self.time_at(end - 1 if end > start else end)
        if until is not None:
            cue = self.cues[max(0, bisect_right(self._starts, max(start, end - 1)) - 1)]
            until = cue.until_s if end >= cue.end else self.time_at(end)
        return Words(self.text[start:end], start, end, self.time_at(start), until)


@dataclass(frozen=True, slots=True)
class DraftFixing:
    """What a step releases. ``count`` and ``kind`` are as said; None or ``sure=False`` where that is open.

    ``reuse`` is set only when something was said of it; ``scrap_words`` are the words that say so.
    """

    kind: FixingKind
    name: str
    count: int | None
    place: str | None
    words: Words
    reuse: ReuseClass | None = None
    scrap_words: Words | None = None
    sure: bool = True
    question: str | None = None


@dataclass(frozen=True, slots=True)
class DraftTool:
    """A tool by its plain name, or a driver with its ``size`` such as T5 (ISO 10664) or PH0 (ISO 8764)."""

    name: str
    size: str | None
    words: Words
    sure: bool = True
    question: str | None = None


@dataclass(frozen=True, slots=True)
class DraftNote:
    """A caution or an inspection, in the narrator's words."""

    text: str
    words: Words
    sure: bool = True
    question: str | None = None


@dataclass(frozen=True, slots=True)
class DraftUnit:
    """The unit a step frees."""

    name: str
    words: Words
    sure: bool = True
    question: str | None = None


@dataclass(frozen=True, slots=True)
class DraftRefit:
    """What was told of a step's way back, in the narrator's words.

    ``torques`` are (place of the fixing, newton centimetres, words); ``loose`` are words with a torque that no single
    fixing could be found for. ``fits`` are things taken new beside the fixings. ``answered`` are the places of the
    fixings that were told of, ``unit_told`` whether the unit was. ``cure_guessed`` tells that what cures was only “it”.
    """

    told: tuple[Words, ...]
    answered: frozenset[int] = frozenset()
    unit_told: bool = False
    torques: tuple[tuple[int, Decimal, Words], ...] = ()
    loose: tuple[Words, ...] = ()
    press_s: int | None = None
    cure_s: int | None = None
    cure_guessed: bool = False
    fits: tuple[tuple[str, Words], ...] = ()


@dataclass(frozen=True, slots=True)
class DraftStep:
    """One step. ``after`` are indices of earlier steps: the narrated order.

    ``loosen`` is a reason why the step may not need the one before it; only a suggestion. ``clip`` is the fragment
    of W3C Media Fragments URI 1.0 that shows the step in the recording, such as ``#t=12.5,31``.
    """

    title: str
    text: str
    verb: Verb
    words: Words
    after: tuple[int, ...]
    fixings: tuple[DraftFixing, ...] = ()
    drivers: tuple[DraftTool, ...] = ()
    tools: tuple[DraftTool, ...] = ()
    cautions: tuple[DraftNote, ...] = ()
    inspections: tuple[DraftNote, ...] = ()
    frees: tuple[DraftUnit, ...] = ()
    kept: tuple[Words, ...] = ()
    clip: str | None = None
    loosen: str | None = None
    sure: bool = True
    question: str | None = None
    refit: DraftRefit | None = None


@dataclass(frozen=True, slots=True)
class Draft:
    """All steps in narrated order, and what stands before the first one and after the last.

    ``refit_left`` was told of the refit, but of which step could not be found.
    """

    source: Source
    preamble: Words | None
    steps: tuple[DraftStep, ...]
    closing: Words | None = None
    refit_left: tuple[Words, ...] = ()
    warnings: tuple[str, ...] = ()
