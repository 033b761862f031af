"""A caution told in words as a hazard: signal word, hazard, consequence and avoidance, as far as words give them."""

import re
from dataclasses import dataclass
from typing import Final

from app.rules.narration.shapes import DraftNote, Words
from app.rules.narration.wordlist import words
from app.rules.sheet import Signal, Symbol


@dataclass(frozen=True, slots=True)
class DraftHazard:
    """What a caution says, each part in the narrator's own words; empty where they say nothing.

    ``said`` tells that the signal word was spoken. Without it ``signal`` is a proposal that is asked about.
    """

    signal: Signal
    said: bool
    symbol: Symbol
    hazard: str
    consequence: str
    avoidance: str
    words: Words

    @property
    def questions(self) -> tuple[tuple[str, str], ...]:
        """What is asked, each with the key of the hazard it belongs to."""
        asked = []
        if not self.said:
            whom = "a person could be hurt" if self.signal is Signal.CAUTION else "only things could be damaged"
            other = "NOTICE, for things only" if self.signal is Signal.CAUTION else "CAUTION, if a person could be hurt"
            asked.append(
                ("signal", f"No signal word was said. {self.signal.value} is proposed, as {whom}. Or is it {other}?")
            )
        for key, told, question in (
            ("hazard", self.hazard, "What is the hazard?"),
            ("consequence", self.consequence, "What could happen?"),
            ("avoidance", self.avoidance, "How is it avoided?"),
        ):
            if not told:
                asked.append((key, f"{question} The words do not say it."))
        return tuple(asked)


_SIGNAL: Final = re.compile(r"^(danger|warning|caution|notice)\b[\s:,.!–—-]*", re.IGNORECASE)
_CALL: Final = re.compile(
    r"^(?:attention|important|nb|please|but|and|also|just|so|always)\b[\s:,.!–—-]*", re.IGNORECASE
)
_PEOPLE: Final = words(
    "burn burns hurt injure injury finger fingers fingertips hand hands skin eye eyes face sharp hot shock mains "
    "voltage inhale breathe fumes splinter splinters shards laser poison toxic explode explodes explosion fire flames "
    "vent vents yourself scald acid goggles gloves glasses"
)
_CELL: Final = words("battery batteries cell cells pouch accumulator")
_CELL_HARM: Final = words(
    "puncture pierce bend squeeze crush lever pry prise prize short heat stab nick cut dent poke metal swollen puffed "
    "hit press"
)
_SYMBOLS: Final = (
    (Symbol.CELL, _CELL),
    (Symbol.EYE, words("eye eyes goggles laser")),
    (Symbol.GLASS, words("glass shards splinter splinters")),
    (Symbol.HEAT, words("hot burn burns scald")),
    (Symbol.SOLVENT, words("solvent alcohol acetone fumes inhale")),
    (Symbol.SHARP, words("sharp knife scalpel blade razor")),
)
_HARM: Final = (
    "tear|rip|break|crack|snap|bend|burn|cut|short|explode|catch|vent|scratch|chip|strip|slip|damage|lose|shatter|kink|"
    "leak|split|pinch|come off|fall|hurt|ruin|destroy|puncture|pierce|crush"
)
_WHO: Final = (
    r"(?:it|they|you|we|these|those|this|that|(?:the|these|those|this) (?!they\b|it\b|you\b|we\b)\w+)"
    r"(?:['’]ll|['’]s gonna| will| can| could| may| might| would| just| is gonna| are gonna)*"
    r"(?: (?:really|easily|also|soon|often|quickly|just))?"
)
_CONSEQUENCE: Final = re.compile(
    r"(?:^|[\s,;.–—-])(?:(?:or|or else|otherwise|because|since|as|else)\s+)?"
    rf"(?<!let )(?<!make )(?<!before )(?<!if )({_WHO} (?:{_HARM})(?:s|es)?(?:\s.*)?)$",
    re.IGNORECASE | re.DOTALL,
)
_AVOIDS: Final = re.compile(
    r"^(?:(?:please|but|and|just|so|always|do|very|really)\s+)*(?:be (?:\w+ )?(?:careful|gentle|mindful|aware)|careful|"
    r"take (?:great )?care|don['’]?t|do not|never|not|mind|watch|beware|keep|avoid|make sure|hold|wear|go|use only|"
    r"stay|look out|pay attention|touch|ensure|you (?:don['’]t|do not) want|only)\b",
    re.IGNORECASE,
)
_THING: Final = re.compile(
    r"^(?:(?:please|but|and|just|so|do)\s+)*(?:mind|watch out for|watch for|look out for|beware of|beware|"
    r"(?:be (?:\w+ )?)?careful (?:with|of|about)|take care (?:with|of)|pay attention to|watch)\s+"
    r"((?:the|that|this|those|these|your|its|any|a|an|two|sharp|hot)\s+[^,;.]+|sharp [^,;.]+|hot [^,;.]+)$",
    re.IGNORECASE,
)
_REASON: Final = re.compile(r"(?:^|[\s,;–—-]+)(?:because|since|(?<=, )as)\s+(.+)$", re.IGNORECASE | re.DOTALL)
_PARTS: Final = re.compile(r"\s*[,;–—]\s+|\s+-\s+|\s+(?=(?:it|they)['’](?:s|re)\s)", re.IGNORECASE)
_SENTENCES: Final = re.compile(r"[.!?]+\s+")


def hazard_of(note: DraftNote, around: str = "") -> DraftHazard:
    """Return what a caution says as a hazard; ``around`` is the step it belongs to, which tells what “it” is.

    The signal word is the one that was said: danger, warning, caution or notice. Where none was said, CAUTION is
    proposed for what could hurt a person and NOTICE for what could only damage things: that is the distinction of
    ANSI Z535.6 (from memory), which keeps NOTICE, without the alert symbol, for practices not related to injury.
    What harms a lithium cell counts as harm to people, for a damaged cell may vent and burn. Hazard, consequence
    and avoidance are stretches of the words themselves; nothing is added to them.
    """
    text = " ".join(note.words.text.split()).rstrip(" .,;:!")
    found = _SIGNAL.match(text)
    said = found is not None
    rest = text[found.end() :] if found else text
    while call := _CALL.match(rest):
        rest = rest[call.end() :]
    low = _plain(text)
    if low & {"it", "them"}:
        low |= _plain(around) & _CELL
    signal = Signal(found[1].upper()) if found else (Signal.CAUTION if _hurts(low) else Signal.NOTICE)
    hazard, consequence, avoidance = _told(rest)
    symbol = next((symbol for symbol, signs in _SYMBOLS if signs & low), Symbol.GENERAL)
    return DraftHazard(
        signal,
        said,
        Symbol.GENERAL if signal is Signal.NOTICE else symbol,
        _sentence(hazard),
        _sentence(consequence),
        _sentence(avoidance),
        note.words,
    )


def _plain(text: str) -> set[str]:
    return {word.strip(".,;:!?()'’\"").casefold() for word in text.split()}


def _hurts(low: set[str]) -> bool:
    return bool(low & _PEOPLE) or bool(low & _CELL and low & _CELL_HARM)


def _told(text: str) -> tuple[str, str, str]:
    """Return hazard, consequence and avoidance as they stand in the words, sentence by sentence."""
    read = [_told_in(sentence) for sentence in _SENTENCES.split(text)]
    hazard, consequence, avoidance = (". ".join(part for part in told if part) for told in zip(*read, strict=True))
    return hazard, consequence, avoidance


def _told_in(text: str) -> tuple[str, str, str]:
    consequence = ""
    found = _CONSEQUENCE.search(text)
    if found and not _AVOIDS.match(found[1]):
        consequence = found[1]
        text = text[: found.start()].rstrip(" ,;–—-")
    hazards: list[str] = []
    reason = _REASON.search(text)
    if reason:
        hazards.append(reason[1])
        text = text[: reason.start()]
    avoidances: list[str] = []
    for part in filter(None, (part.strip() for part in _PARTS.split(text))):
        (avoidances if _AVOIDS.match(part) else hazards).append(part)
        thing = _THING.match(part)
        if thing:
            hazards.insert(0, thing[1])
    hazard = hazards[0] if hazards else ""
    # What is avoided is the whole of what was told to do; a lone “careful” tells nothing.
    avoidance = ", ".join(part for part in avoidances if len(part.split()) > 1 and part.casefold() != "be careful")
    return hazard, consequence, avoidance


def _sentence(text: str) -> str:
    plain = text.strip(" ,;:–—-")
    return plain[:1].upper() + plain[1:2000] + "." if plain else ""
