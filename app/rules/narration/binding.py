"""What an act is done to: the thing named behind the verb, before it, or the one spoken of a moment ago."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from app.rules.narration.clauses import Clause, Cut
from app.rules.narration.company import Act, is_direct
from app.rules.narration.mention_kinds import Sort
from app.rules.narration.mentions import Mention
from app.rules.narration.numbers import Number, number_at
from app.rules.narration.shapes import Verb
from app.rules.narration.tokens import Gap
from app.rules.narration.verbs import SPECIFIC, is_verb
from app.rules.narration.vocabulary import ENDS_PHRASE, NOUN, PREPOSITIONS
from app.rules.narration.wordlist import words
from app.rules.sheet import FixingKind as K

_JOINS: Final = words("and also plus the a an then")
_HELD: Final = words(
    "held fixed secured fastened attached mounted retained kept hold connected joined glued stuck strapped holding"
)
_TURNING: Final = words("swing flip fold spread turn rotate tip lay hinge")
_HOLDING: Final = words(
    "hold holds holding secure secures securing retain retains retaining keep keeps keeping cover covers "
    "covering fix fixes fixing clamp clamps"
)
_WHOLE: Final = frozenset({K.COVER, K.SHIELD})
_ANAPHORS: Final = frozenset(
    {"those", "these", "them", "all", "both", "another", "the", "of", "more", "other", "remaining", "last", "each"}
)


@dataclass(frozen=True, slots=True)
class Objects:
    """What an act is done to. ``number`` is a count without a noun, ``plural`` and ``pronoun`` say how it was meant."""

    named: tuple[Mention, ...] = ()
    number: Number | None = None
    pronoun: bool = False
    plural: bool = False
    at: tuple[int, int] | None = None


def objects_of(cut: Cut, clause: Clause) -> Objects:
    """Return the objects of the clause's act."""
    act = clause.act
    assert act is not None
    if act.coming or act.passive:
        before = _before(cut, clause, act)
        if before.named or before.number or before.pronoun:
            return before
        if act.coming:
            return Objects()
    named = _behind(cut, clause, act)
    if named:
        return Objects(named)
    number = _bare_number(cut, act.first + 1, min(clause.end, act.first + 7))
    if number:
        return Objects((), number[0], True, True, (number[1], number[1] + number[0].size))
    if act.pronoun is not None:
        low = cut.tokens[act.pronoun].low
        return Objects(
            (), None, True, low in {"them", "those", "these", "both", "all", "each"}, (act.pronoun, act.pronoun + 1)
        )
    before = _before(cut, clause, act)
    return before if before.named else Objects()


def _behind(cut: Cut, clause: Clause, act: Act) -> tuple[Mention, ...]:
    found: list[Mention] = []
    tokens = cut.tokens
    k = act.last
    while k < clause.end:
        mention = cut.mentioned.at.get(k)
        if mention is None or mention.first != k:
            k += 1
            continue
        if not found:
            if not is_direct(tokens, act, mention) and not _in_object(cut, act, mention):
                break
        elif not _joined(cut, found[-1], mention):
            break
        found.append(mention)
        k = mention.last
    if not found:
        unknown = _unknown(cut, clause, act)
        return (unknown,) if unknown else ()
    return tuple(found)


def _unknown(cut: Cut, clause: Clause, act: Act) -> Mention | None:
    """Return a thing with a name that is not in the vocabulary: “lift out the gimbal”."""
    tokens, first = cut.tokens, act.last
    loosed = act.verb in {"disconnect", "unplug", "unclip", "unhook", "detach"}
    takes = (
        loosed
        or act.verb in {"lift", "remove", "withdraw", "extract"}
        or (
            act.particle is not None
            and tokens[act.particle].low in {"out", "off", "away"}
            and act.verb in {"take", "pull", "slide", "draw", "pop", "ease"}
        )
    )
    if (
        not takes
        or (tokens[act.first].low != act.verb and not act.verb.startswith(("dis", "un")))
        or act.coming
        or act.passive
        or act.pronoun is not None
        or first >= clause.end
        or tokens[first].low not in {"the", "a", "an", "this", "that", "its"}
    ):
        return None
    last = first + 1
    while (
        last < min(clause.end, first + 4)
        and tokens[last].gap <= Gap.HYPHEN
        and tokens[last].low not in ENDS_PHRASE
        and not is_verb(tokens[last].low)
    ):
        last += 1
    head = last - 1
    if head == first or tokens[head].low in NOUN or len(tokens[head].low) < 3 or tokens[head].low.isdecimal():
        return None
    return Mention(
        Sort.UNIT, tokens[head].low, None, False, 1, False, not loosed, True,
        first, head, last, first + 1, None, heard=not loosed,
    )  # fmt: skip


def _in_object(cut: Cut, act: Act, mention: Mention) -> bool:
    """Say whether only unknown words stand between verb and mention, as in “take your cordless T5 and the screws”."""
    between = cut.tokens[act.last : mention.first]
    return (
        len(between) <= 3
        and all(
            token.gap <= Gap.HYPHEN and token.low not in PREPOSITIONS | {"it", "them", "and", "those", "that"}
            for token in between
        )
        and (mention.lead is None or mention.lead < act.last)
        and cut.tokens[mention.first].gap <= Gap.HYPHEN
    )


def _joined(cut: Cut, before: Mention, after: Mention) -> bool:
    """Say whether two mentions stand side by side: “three screws and the bracket”."""
    tokens = cut.tokens
    between = tokens[before.last : after.first]
    if after.lead is not None and after.lead >= before.last:
        return False
    plain = [token.low for token in between if token.low not in _JOINS]
    gap = tokens[after.first].gap if not between else max(token.gap for token in (*between, tokens[after.first]))
    if gap is Gap.HARD:
        return False
    # “Remove 4 screws, base”: a bare noun behind a comma tells the place.
    told = after.first < after.name_from or after.plural
    linked = any(token.low in {"and", "plus"} for token in between) or (gap is Gap.COMMA and told)
    if linked and not plain:
        return True
    # “two screws (T5) and one screw (T6)”, “the data cable by the socket and also the fan plug”
    near_and = tokens[after.first - 1].low in {"and", "also", "plus"}
    return near_and and len(between) <= 8


def _before(cut: Cut, clause: Clause, act: Act) -> Objects:
    """Return what stands before the verb as its subject or a thing put first."""
    mentions = [
        mention
        for mention in _mentions_in(cut, clause.start, act.first)
        if mention.sort is not Sort.TOOL and (mention.lead is None or mention.lead < clause.start)
    ]
    if mentions:
        return Objects((mentions[0], *(m for a, m in pairwise(mentions) if _joined(cut, a, m))))
    number = _bare_number(cut, clause.start, act.first)
    if number:
        return Objects((), number[0], True, True, (number[1], number[1] + number[0].size))
    for k in range(act.first - 1, clause.start - 1, -1):
        low = cut.tokens[k].low
        if low in {"it", "that", "they", "these", "those"}:
            return Objects((), None, True, low in {"they", "these", "those"}, (k, k + 1))
    return Objects()


def _mentions_in(cut: Cut, start: int, end: int) -> list[Mention]:
    found = []
    k = start
    while k < end:
        mention = cut.mentioned.at.get(k)
        if mention and mention.first >= start:
            found.append(mention)
            k = mention.last
        else:
            k += 1
    return found


def mentions_between(cut: Cut, start: int, end: int) -> list[Mention]:
    """Return the mentions that begin in this stretch of words."""
    return _mentions_in(cut, start, end)


def _bare_number(cut: Cut, start: int, end: int) -> tuple[Number, int] | None:
    """Return a count without a noun: “all four”, “those two”, “another twelve”, “both”."""
    tokens = cut.tokens
    for k in range(start, end):
        if cut.mentioned.at.get(k) or (k > start and tokens[k].gap > Gap.HYPHEN):
            return None
        number = number_at(tokens, k)
        if not number:
            continue
        led = number.both or (k > 0 and tokens[k - 1].low in _ANAPHORS)
        if led and number.value != 1 and not cut.mentioned.at.get(k + number.size):
            return number, k
        return None
    return None


def bare_count(cut: Cut, clause: Clause) -> tuple[Number, int] | None:
    """Return a count without a noun anywhere in a statement: “there's another twelve around the outside”."""
    for k in range(clause.start, clause.end):
        if cut.mentioned.at.get(k):
            return None
        found = _bare_number(cut, k, k + 1)
        if found and (
            cut.tokens[k - 1].low in {"another", "all"} or (k + 1 < clause.end and cut.tokens[k + 1].low == "more")
        ):
            return found
    return None


def shown_in(cut: Cut, clause: Clause) -> list[Mention]:
    """Return the fixings that a statement shows: “there are two screws”, “it is held by eight clips”."""
    found = []
    for mention in _mentions_in(cut, clause.start, clause.end):
        if mention.sort is not Sort.FIXING:
            continue
        if (mention.lead is None and cut.tokens[mention.first - 1].low not in _HOLDING) or (
            mention.lead is not None and _holds(cut, mention.lead)
        ):
            found.append(mention)
    return found


def _holds(cut: Cut, lead: int) -> bool:
    low = cut.tokens[lead].low
    near = {token.low for token in cut.tokens[max(0, lead - 4) : lead]}
    return low in {"by", "with", "in", "on", "from"} and bool(near & _HELD)


def verb_of(act: Act, objects: tuple[Mention, ...], tool: bool, particle: str = "") -> Verb | None:
    """Return the class of step: what the verb says, or for a general verb what it is done to."""
    kinds = [mention.kind for mention in objects if mention.sort is Sort.FIXING]
    said = SPECIFIC.get(act.verb)
    if said is Verb.OPEN and kinds and kinds[0] in {K.FLEX, K.CONNECTOR, K.CLIP}:
        return Verb.RELEASE
    if said is Verb.LIFT_OUT and kinds and kinds[0] in {K.FLEX, K.CONNECTOR, K.CABLE}:
        return Verb.RELEASE
    if said is Verb.UNFASTEN and kinds and kinds[0] in {K.FLEX, K.CONNECTOR, K.CLIP, K.CABLE}:
        return Verb.RELEASE
    if said is not None:
        return said
    if act.verb in _TURNING and not act.coming and particle not in {"off", "away", "out"}:
        hinged = kinds[:1] == [K.COVER] or any(m.noun in {"display", "screen", "glass"} for m in objects)
        if hinged:
            return Verb.OPEN
        if particle in {"over", "round", "around", "down"} and not kinds:
            return None
    if kinds and kinds[0]:
        return _BY_KIND[kinds[0]]
    if any(mention.sort is Sort.UNIT for mention in objects) or act.coming:
        return Verb.LIFT_OUT
    return Verb.LEVER if tool else None


_BY_KIND: Final = {
    K.SCREW: Verb.UNFASTEN, K.CLIP: Verb.RELEASE, K.CONNECTOR: Verb.RELEASE, K.FLEX: Verb.RELEASE,
    K.CABLE: Verb.RELEASE, K.ADHESIVE: Verb.PEEL, K.SEAL: Verb.PEEL, K.COVER: Verb.LIFT_OUT, K.SHIELD: Verb.LIFT_OUT,
}  # fmt: skip


def is_whole(mention: Mention) -> bool:
    """Say whether a thing comes off as a whole: cover, shield or unit."""
    return mention.sort is Sort.UNIT or mention.kind in _WHOLE
