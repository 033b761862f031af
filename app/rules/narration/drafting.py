"""Steps to a draft: titles, names, places, questions, times, and suggestions on the order."""

import math
from dataclasses import replace
from typing import Final

from app.rules.narration.building import Building, Released
from app.rules.narration.clauses import Cut, cut
from app.rules.narration.loosening import loosened
from app.rules.narration.mention_kinds import Sort
from app.rules.narration.mentions import Mention
from app.rules.narration.reading import Reader
from app.rules.narration.refits import ToldRefit, mark_new, refits_of, tenth
from app.rules.narration.shapes import (
    Draft,
    DraftFixing,
    DraftNote,
    DraftRefit,
    DraftStep,
    DraftTool,
    DraftUnit,
    Source,
    Verb,
    Words,
)
from app.rules.narration.tokens import Gap, tokens_of
from app.rules.narration.verbs import is_verb
from app.rules.narration.vocabulary import DETERMINERS, ENDS_PHRASE, FILLERS, KIND, UNITS
from app.rules.narration.wordlist import words
from app.rules.sheet import FixingKind

_PLACE: Final = words(
    "on in at along near by round around behind between beside beneath below above across inside "
    "underneath under over next to"
)
_WHOSE: Final = frozenset({"of", "holding", "securing", "that", "which"})
_TAIL: Final = ENDS_PHRASE | DETERMINERS
_WORDS_A_SENTENCE: Final = 40
_TITLE_WORDS: Final = 12
_PLACE_WORDS: Final = 8
_PLURAL_NAMES: Final = {
    FixingKind.SCREW: "screws", FixingKind.CLIP: "clips", FixingKind.CONNECTOR: "connectors", FixingKind.FLEX: "flexes",
    FixingKind.ADHESIVE: "pieces of adhesive", FixingKind.SEAL: "seals", FixingKind.COVER: "covers",
    FixingKind.SHIELD: "shields", FixingKind.CABLE: "cables",
}  # fmt: skip


def draft_from(source: Source) -> Draft:
    """Return the draft of a source: its steps in narrated order. Never raises; what is uncertain is asked."""
    tokens = tokens_of(source)
    if not tokens:
        return Draft(source, None, (), warnings=source.warnings)
    parts = cut(tokens)
    # Speech that was written down without full stops is cut at words of order instead.
    stops = sum(1 for token in tokens[1:] if token.gap is Gap.HARD)
    pauses = sum(1 for token in tokens[1:] if token.gap >= Gap.COMMA)
    unmarked = (stops + 1) * _WORDS_A_SENTENCE < len(tokens) or (bool(source.cues) and not pauses)
    reader = Reader(parts, unmarked)
    built = reader.read()
    refits = refits_of(parts, built)
    mark_new(refits)
    maker = _Maker(source, parts)
    steps: list[DraftStep] = []
    end_of_all = len(tokens)
    closing = reader.closing if reader.closing is not None and built and reader.closing > built[-1].start else None
    for index, step in enumerate(built):
        end = built[index + 1].start if index + 1 < len(built) else (closing or end_of_all)
        made = maker.step(step, end, (index - 1,) if index else ())
        told = refits.by_step.get(index)
        steps.append(replace(made, refit=maker.refit(step, told)) if told else made)
    warnings = source.warnings
    if not steps:
        warnings += ("No step was found. Write what is undone, lifted or unplugged, one act a sentence.",)
    first = built[0].start if built else end_of_all
    preamble = maker.words(0, first) if first else None
    ending = maker.words(closing, end_of_all) if closing is not None else None
    left = tuple(maker.words(*span) for span in refits.left)
    return Draft(source, preamble, loosened(tuple(steps)), ending, left, warnings)


class _Maker:
    """Makes what the draft shows of one source."""

    def __init__(self, source: Source, parts: Cut) -> None:
        self.source = source
        self.tokens = parts.tokens
        self.parts = parts

    def words(self, first: int, last: int) -> Words:
        """Return the source's words from one token up to another."""
        last = max(last, first + 1)
        return self.source.words(self.tokens[first].start, self.tokens[last - 1].end)

    def plain(self, first: int, last: int) -> str:
        """Return the words in one line, without what only filled a pause between them."""
        said = self.tokens[first].text
        for before, token in zip(self.tokens[first:last], self.tokens[first + 1 : last], strict=False):
            between = self.source.text[before.end : token.start]
            said += (" " if any(sign.isalnum() for sign in between) else between) + token.text
        return " ".join(said.split())

    def step(self, step: Building, end: int, after: tuple[int, ...]) -> DraftStep:
        """Return one step that reaches up to token ``end``."""
        words = self._whole(step.start, end)
        verb = step.verb or Verb.RELEASE
        return DraftStep(
            title=self._title(step, end),
            text=" ".join(words.text.split()),
            verb=verb,
            words=words,
            after=after,
            fixings=tuple(self._fixing(found, end) for found in sorted(step.fixings, key=lambda f: f.first)),
            drivers=tuple(self._driver(step, number) for number in range(len(step.drivers))),
            tools=tuple(
                DraftTool(self._name(tool), None, self.words(tool.name_from, tool.last)) for tool in step.tools
            ),
            cautions=tuple(self._note(span) for span in step.cautions),
            inspections=tuple(self._note(span) for span in step.inspections),
            frees=tuple(self._unit(unit) for unit in step.units),
            kept=tuple(self.words(*span) for span in step.kept),
            clip=_clip(words),
            sure=step.verb is not None and step.asked is None,
            question=step.asked if step.verb else "What is done in this step?",
        )

    def refit(self, step: Building, told: ToldRefit) -> DraftRefit:
        """Return what was told of a step's refit."""
        ordered = sorted(step.fixings, key=lambda f: f.first)
        return DraftRefit(
            told=tuple(self.words(*span) for span in told.spans),
            answered=frozenset(place for place, fixing in enumerate(ordered) if fixing.first in told.answered),
            unit_told=any(unit.first in told.answered for unit in step.units),
            torques=tuple(
                (ordered.index(fixing), tenth(value), self.words(*span)) for fixing, value, span in told.torques
            ),
            loose=tuple(self.words(*span) for span in told.loose),
            press_s=told.press[0] if told.press else None,
            cure_s=told.cure[0] if told.cure else None,
            cure_guessed=told.cure_guessed,
            fits=tuple((self._name(thing), self.words(*span)) for thing, span in told.fits),
        )

    def _whole(self, first: int, last: int) -> Words:
        """Return the words of a step with the full stop behind them."""
        end = self.tokens[last - 1].end
        limit = self.tokens[last].start if last < len(self.tokens) else len(self.source.text)
        while end < limit and self.source.text[end] in ".,;:!?)\"'”’…":
            end += 1
        return self.source.words(self.tokens[first].start, end)

    def _title(self, step: Building, end: int) -> str:
        first, last = step.title or (step.start, end)
        while first < min(last, end) - 1 and self.tokens[first].low in FILLERS:
            first += 1
        stop = first + 1
        while stop < min(last, end, first + _TITLE_WORDS) and self.tokens[stop].gap < Gap.COMMA:
            stop += 1
        while stop > first + 2 and self.tokens[stop - 1].low in _TAIL and not _particle(self.tokens[stop - 1].low):
            stop -= 1
        said = self.plain(first, stop)[:118]
        act = step.act
        if act and (act.coming or act.passive or self.tokens[first].low != act.verb):
            thing = next((self._name(m) for m in step.units), None) or next(
                (self._name(f.mention) for f in step.fixings), None
            )
            if thing and (act.coming or act.passive):
                return f"{(step.verb or Verb.RELEASE).value.capitalize()}: {thing}"[:118]
        return said[:1].upper() + said[1:]

    def _name(self, mention: Mention) -> str:
        """Return the noun with the words that describe it, without count and article."""
        first = mention.name_from
        while first < mention.head and (self.tokens[first].low in DETERMINERS or self.tokens[first].low in _IDLE):
            first += 1
        return self.plain(first, mention.head + 1)[:118].removesuffix("'s").removesuffix("’s")

    def _fixing(self, found: Released, end: int) -> DraftFixing:
        mention = found.mention
        question = None
        name = self._name(mention)
        noun = self.tokens[mention.head].text.lower()
        if not mention.heard:
            question = f"Is “{self.tokens[mention.head].text}” meant as a {found.kind.value}?"
        elif found.doubt == "shown":
            question = f"“{self.plain(found.first, found.last)}” is spoken of. Is it undone in this step?"
        elif found.doubt == "differs":
            question = f"Two counts are told for the {noun}. How many are there?"
        elif found.count is None:
            question = f"How many {noun if mention.plural else _PLURAL_NAMES[found.kind]}?"
        elif not found.exact:
            question = f"“{self._around(found)}” is not exact. How many {noun} are there?"
        return DraftFixing(
            kind=found.kind,
            name=name,
            count=found.count,
            place=self._place(mention.last, end),
            words=self.words(found.first, found.last),
            reuse=found.reuse,
            scrap_words=self.words(*found.scrap) if found.scrap else None,
            sure=question is None,
            question=question,
        )

    def _around(self, found: Released) -> str:
        first = found.first
        if first and self.tokens[first].gap is Gap.NONE:
            first -= 1
        return self.plain(first, found.last)

    def _place(self, at: int, end: int) -> str | None:
        """Return where the fixing is: “along the left edge”, “one on each side”."""
        if at >= end or self.tokens[at].gap >= Gap.HARD:
            return None
        first = at
        if (
            self.tokens[at].low in {"one", "two", "three", "four"}
            and at + 1 < end
            and self.tokens[at + 1].low in _PLACE
        ):
            first = at + 1
        elif self.tokens[at].gap > Gap.HYPHEN and self.tokens[at].low not in _PLACE:
            return None
        if self.tokens[first].low not in _PLACE:
            return None
        stop = first + 1
        while stop < min(end, first + _PLACE_WORDS) and self.tokens[stop].gap <= Gap.HYPHEN:
            low = self.tokens[stop].low
            if (
                low in _STOPS
                or low in _WHOSE - {"of"}
                or (is_verb(low) and self.tokens[stop - 1].low not in DETERMINERS | _PLACE)
            ):
                break
            stop += 1
        while stop > first and self.tokens[stop - 1].low in _TAIL:
            stop -= 1
        return self.plain(at, stop) if stop > first + 1 else None

    def _driver(self, step: Building, number: int) -> DraftTool:
        at, driver = step.drivers[number]
        words = self.words(at, at + driver.size)
        question = (
            None
            if driver.known
            else f"No driver of size {driver.code} is known. Which size is meant by “{words.text}”?"
        )
        return DraftTool("Driver", driver.code, words, question is None, question)

    def _note(self, span: tuple[int, int]) -> DraftNote:
        words = self._whole(*span)
        text = " ".join(words.text.split())
        return DraftNote(text[:1].upper() + text[1:], words)

    def _unit(self, unit: Mention) -> DraftUnit:
        words = self.words(unit.first, unit.last)
        known = unit.sort is Sort.UNIT and unit.noun in UNITS and unit.noun not in KIND and unit.heard
        question = None if known else f"Is “{words.text}” a unit that is exchanged?"
        return DraftUnit(self._name(unit), words, question is None, question)


_IDLE: Final = words("little small tiny other same remaining last next more another new old following long short") - {
    "long",
    "short",
}
_STOPS: Final = words(
    "and or but then so now um uh it they them these those we you i is are with using until before after "
    "that's they're it's one there there's because while if when next finally okay okay"
)


def _particle(low: str) -> bool:
    return low in {"out", "off", "away", "up", "apart", "back", "down", "aside"}


def _clip(words: Words) -> str | None:
    """Return the temporal fragment of W3C Media Fragments URI 1.0 (4.2.1, normal play time), tenths of a second."""
    if words.from_s is None or words.until_s is None:
        return None
    start = math.floor(words.from_s * 10) / 10
    end = max(math.ceil(words.until_s * 10) / 10, start + 0.1)
    return f"#t={start:g},{end:g}" if end < 100_000 else f"#t={start:.1f},{end:.1f}"
