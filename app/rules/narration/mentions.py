"""Noun phrases: which fixing, unit or tool is named, how many, and the word that leads in."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from rapidfuzz import process
from rapidfuzz.distance import OSA

from app.rules.narration.mention_counts import count_after, count_of, is_measure, number_ending, part_of, told_twice
from app.rules.narration.mention_kinds import Sort, refined
from app.rules.narration.numbers import VAGUE, Number, number_at
from app.rules.narration.tokens import Gap, Phrases, Tokens
from app.rules.narration.verbs import is_verb
from app.rules.narration.vocabulary import (
    DETERMINERS,
    ENDS_PHRASE,
    KIND,
    LATCHES,
    NOUN,
    OFTEN_VERBS,
    PLACES,
    PREPOSITIONS,
    TOOL,
    TOOL_PHRASES,
)
from app.rules.narration.wordlist import words
from app.rules.sheet import FixingKind

_TOOLS: Final = Phrases([(phrase, phrase) for phrase in TOOL_PHRASES])
_ADVERBS: Final = words("back front side top bottom middle end out turn free loose open right left")
_STRICT: Final = words("back front lead light turn order half pack")
_STUFF: Final = words("tape adhesive glue foil felt foam rubber")
_CAPTIVE: Final = words("device phone handset radio tablet machine")
_KNOWN_LONG: Final = sorted(noun for noun in {**NOUN, **dict.fromkeys(TOOL, ("", False))} if len(noun) >= 6)
_MISHEARD_AT_MOST: Final = 1
"""Edits (optimal string alignment) by which a longer word may differ from a known one."""


@dataclass(frozen=True, slots=True)
class Mention:
    """The words ``tokens[first:last]``; ``head`` is its noun. ``lead`` is the index of the preposition before it.

    ``count`` is None when it was not said; ``said`` tells that a number stands there, ``exact`` that it is certain.
    """

    sort: Sort
    noun: str
    kind: FixingKind | None
    plural: bool
    count: int | None
    said: bool
    exact: bool
    definite: bool
    first: int
    head: int
    last: int
    name_from: int
    lead: int | None
    latch: bool = False
    heard: bool = True


def mentions_of(tokens: Tokens) -> list[Mention]:
    """Return all mentions in order; none overlaps another."""
    found: list[Mention] = []
    index, floor = 0, 0
    while index < len(tokens):
        mention = _mention_at(tokens, index, floor)
        if mention:
            found.append(mention)
            floor = index = mention.last
        else:
            index += 1
    return found


def _mention_at(tokens: Tokens, index: int, floor: int) -> Mention | None:
    phrase = _TOOLS.at(tokens, index)
    if phrase and not _goes_on(tokens, index + phrase[0] - 1):
        return _built(
            tokens, index + phrase[0] - 1, floor, Sort.TOOL, phrase[1], tokens[index].low.endswith("s"), index
        )
    low = tokens[index].low.removesuffix("'s")
    heard = True
    noun, plural = NOUN.get(low, ("", False))
    if low in {"lever", "bar"} and index and tokens[index - 1].low in _LOCKING and tokens[index].gap <= Gap.HYPHEN:
        return _built(tokens, index, floor, Sort.FIXING, "latch", False, index)
    if (
        low == "lock"
        and index > 1
        and (_named(tokens, index) or _named(tokens, index - 1))
        and not _goes_on(tokens, index)
    ):
        return _built(tokens, index, floor, Sort.FIXING, "latch", False, index)
    if low in {"top", "bottom"} and _is_half(tokens, index):
        return _built(tokens, index, floor, Sort.FIXING, "cover", False, index)
    if low in TOOL and is_verb(low) and index + 1 < len(tokens) and tokens[index + 1].low in _OBJECTS:
        return None
    if low in TOOL:
        return None if _goes_on(tokens, index) or (is_verb(low) and not _led(tokens, index)) else _built(
            tokens, index, floor, Sort.TOOL, low, low.endswith("s"), index
        )  # fmt: skip
    if not noun and len(low) >= 7 and not is_verb(low) and not low.endswith(("ed", "ing", "ly")):
        close = misheard(low)
        if close:
            noun, plural = NOUN.get(close, ("", False))
            heard = False
    if not noun or noun in PLACES:
        return None
    if (
        noun in {"strip", "ring", "frame"}
        and [t.low for t in tokens[index + 1 : index + 3]][:1] == ["of"]
        and _stuff(tokens, index)
    ):
        return None
    if (not plural or noun == "half") and _goes_on(tokens, index):
        return None
    if not _is_noun(tokens, index, noun, plural):
        return None
    sort = Sort.FIXING if noun in KIND else Sort.UNIT
    return _built(tokens, index, floor, sort, noun, plural, index, heard)


@lru_cache(maxsize=20_000)
def misheard(low: str) -> str | None:
    """Return the one known noun that a word is a slip of, such as “conector”; None when there is none."""
    found = process.extractOne(low, _KNOWN_LONG, scorer=OSA.distance, score_cutoff=_MISHEARD_AT_MOST)
    return found[0] if found and found[0][0] == low[0] else None


def _goes_on(tokens: Tokens, index: int) -> bool:
    """Say whether the noun here only describes the next one, as in “screw hole” or “battery connector”."""
    if index + 1 >= len(tokens) or tokens[index + 1].gap > Gap.HYPHEN:
        return False
    low = tokens[index + 1].low
    if low in _ADVERBS:
        return (
            index + 2 < len(tokens)
            and tokens[index + 2].gap <= Gap.HYPHEN
            and tokens[index + 2].low in NOUN
            and low in _STRICT
        )
    return (low in NOUN or low in TOOL or low == "lock") and not (
        low in OFTEN_VERBS and low.endswith("s") and low[:-1] not in KIND
    )


def _led(tokens: Tokens, index: int) -> bool:
    """Say whether an article or the like stands up to three describing words before: “a flat nylon wedge”."""
    for k in range(index, max(0, index - 4), -1):
        if tokens[k].gap > Gap.HYPHEN or tokens[k - 1].low in PREPOSITIONS - {"with"}:
            return False
        if _named(tokens, k):
            return True
        if is_verb(tokens[k - 1].low):
            return _named(tokens, k - 1)
    return False


_OBJECTS: Final = words("it that them those these the up off out")


_LOCKING: Final = words("locking lock latching retaining")


def _is_half(tokens: Tokens, index: int) -> bool:
    """“The bottom must be lifted”: half of the case, not a place."""
    if index == 0 or tokens[index - 1].low != "the" or index + 1 >= len(tokens):
        return False
    led = index > 1 and tokens[index - 1].gap <= Gap.HYPHEN and tokens[index - 2].low in PREPOSITIONS
    after = tokens[index + 1]
    return not led and after.gap <= Gap.HYPHEN and after.low in _COMING_AUX


_COMING_AUX: Final = words("must can has comes lifts will should pulls slides is off away out")


def _stuff(tokens: Tokens, index: int) -> bool:
    """“A strip of tape”: the tape is the thing."""
    return any(token.low in _STUFF for token in tokens[index + 2 : index + 5])


def _named(tokens: Tokens, index: int) -> bool:
    """Say whether a determiner, a count or another noun stands before the word."""
    if index == 0 or tokens[index].gap > Gap.HYPHEN:
        return False
    low = tokens[index - 1].low
    return (
        low in DETERMINERS
        or low in NOUN
        or number_at(tokens, index - 1) is not None
        or low in {"first", "last", "other", "rear", "with"}
    )


def _is_noun(tokens: Tokens, index: int, noun: str, plural: bool) -> bool:
    if noun == "back" and index > 1 and tokens[index - 1].low in {"that", "this"} and is_verb(tokens[index - 2].low):
        return False
    if (
        noun == "back"
        and index + 1 < len(tokens)
        and tokens[index + 1].low in {"those", "them", "these", "all", "both"}
    ):
        return False
    if noun in _STRICT or tokens[index].low in _STRICT:
        return _named(tokens, index) and not (
            noun == "half" and tokens[index].low == "half" and number_at(tokens, index)
        )
    if noun not in OFTEN_VERBS:
        return True
    if index == 0 or tokens[index].gap > Gap.HYPHEN:
        after = tokens[index + 1] if index + 1 < len(tokens) else None
        return plural or after is None or after.gap >= Gap.COMMA or after.low in PREPOSITIONS
    before = tokens[index - 1].low
    if plural:
        return before not in {"it", "he", "she", "that", "which", "just", "to", "really"}
    return (
        before not in {"to", "you", "we", "they", "i", "and", "then", "don't", "not", "can", "will", "now", "so"}
        or before in DETERMINERS
    )


def _built(
    tokens: Tokens, head: int, floor: int, sort: Sort, noun: str, plural: bool, noun_from: int, heard: bool = True
) -> Mention:
    first, number, definite, name_from = _left(tokens, noun_from, floor)
    modifiers = {tokens[k].low for k in range(name_from, head)}
    kind = KIND.get(noun) if sort is Sort.FIXING else None
    latch = noun in LATCHES
    if sort is not Sort.TOOL:
        sort, kind, latch = refined(sort, kind, noun, modifiers)
    lead = first - 1 if first and tokens[first].gap <= Gap.HYPHEN and tokens[first - 1].low in PREPOSITIONS else None
    if (
        lead
        and tokens[lead].low in {"out", "off", "up", "away"}
        and (tokens[lead - 1].low in NOUN or tokens[lead - 1].low in _OBJECTS)
    ):
        lead = None
    if lead and tokens[lead].low == "with" and tokens[lead - 1].low in {"start", "begin", "starting", "beginning"}:
        lead = None
    if lead and tokens[lead].low in {"at", "to"} and tokens[lead - 1].low in {"get", "access"}:
        lead = None
    if lead is not None and number is not None and tokens[lead].low in {"like", "about", "around"}:
        lead = None
    last = head + 1
    if (
        last < len(tokens)
        and tokens[last].low in {"can", "cans"}
        and kind is FixingKind.SHIELD
        and tokens[last].gap <= Gap.HYPHEN
    ):
        last += 1
    if number is None and sort is Sort.FIXING:
        after = count_after(tokens, last)
        if after:
            number, last = after
    if lead is not None and tokens[lead].low == "of":
        first, lead, number = part_of(tokens, first, lead, number, floor)
    if sort is Sort.UNIT and _named_on(tokens, last):
        last, heard = last + 1, False
    count, exact = count_of(tokens, first, number, plural, noun, name_from, last)
    definite = definite or tokens[first].low in {"all", "both"}
    return Mention(
        sort, noun, kind, plural, count, number is not None, exact and heard, definite,
        first, head, last, name_from, lead, latch, heard,
    )  # fmt: skip


def _named_on(tokens: Tokens, last: int) -> bool:
    """“The microphone sponge.”: the last word of the sentence is the thing, though it is not known."""
    if last >= len(tokens) or tokens[last].gap is not Gap.NONE:
        return False
    ends = last + 1 == len(tokens) or tokens[last + 1].gap >= Gap.BRACKET
    low = tokens[last].low
    known = low in ENDS_PHRASE or low in NOUN or low in _ADVERBS or low in TOOL or is_verb(low)
    return ends and not known and low.isalpha() and len(low) > 3 and not low.endswith(("ly", "wards", "ed", "ing"))


_ONLY_VERBS: Final = words(
    "undo undoing unscrew unscrewing unfasten unbolt loosen loosening disconnect disconnecting unplug unplugging "
    "unclip unclipping unhook unlatch unlock unsnap detach detaching uncouple unsolder desolder remove "
    "removing take taking withdraw extract prise lift lifting"
)


def _left(tokens: Tokens, head: int, floor: int) -> tuple[int, Number | None, bool, int]:
    """Return where the phrase begins, its number, whether it is definite, and where its name begins."""
    number: Number | None = None
    at = name_from = head
    definite = False
    while at > floor and head - at < 7 and (tokens[at].gap <= Gap.HYPHEN or told_twice(tokens, at)):
        low = tokens[at - 1].low
        ending = number_ending(tokens, at, floor)
        if ending and not is_measure(tokens, at - ending.size, at):
            if number is not None:
                break
            number = ending
            at -= ending.size
            continue
        if low in DETERMINERS:
            definite = low not in {"a", "an", "any", "some"}
            at -= 1
            if at > floor and tokens[at - 1].low in {"all", "both"} and tokens[at].gap <= Gap.HYPHEN:
                number = number or number_at(tokens, at - 1)
                at -= 1
            break
        if low == "all" and number is not None:
            at -= 1
            definite = True
            break
        if low in VAGUE or low in {"all", "more", "another"}:
            at -= 1
            continue
        if low in ENDS_PHRASE or low in _ONLY_VERBS or (is_verb(low) and not _named(tokens, at - 1)):
            break
        at -= 1
        if number is None:
            name_from = at
    return at, number, definite, name_from
