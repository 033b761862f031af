"""What stands with a verb: its particle, its pronoun, its object."""

from dataclasses import dataclass
from typing import Final

from app.rules.narration.drivers import driver_at
from app.rules.narration.mention_kinds import Sort
from app.rules.narration.mentions import Mention
from app.rules.narration.tokens import Gap, Tokens
from app.rules.narration.verbs import FORMS, MOVING, PARTICLES, TAKING
from app.rules.narration.vocabulary import DETERMINERS, ENDS_PHRASE
from app.rules.narration.wordlist import words
from app.rules.sheet import FixingKind

_BETWEEN: Final = words(
    "it them that those these this both all of also now carefully slowly straight gently right just the "
    "one by two three four five six seven eight nine ten twelve everything each first same entire whole "
    "very its your two's away"
)


_IT: Final = words(
    "each it them those these that both this all one everything two three four five six seven eight nine "
    "ten eleven twelve"
)


@dataclass(frozen=True, slots=True)
class Act:
    """A verb in use: ``tokens[first:last]`` is verb and particle together where they stand together.

    ``particle`` is the index of a particle that belongs to it, ``pronoun`` that of a pronoun as its object.
    ``coming`` marks something that comes away by itself, ``passive`` something to be done to what stands before.
    """

    verb: str
    first: int
    last: int
    particle: int | None
    pronoun: int | None
    coming: bool
    passive: bool


class Mentioned:
    """Mentions by the word they begin at and by their head."""

    def __init__(self, mentions: list[Mention]) -> None:
        self.all = mentions
        self.at = {k: m for m in mentions for k in range(m.first, m.last)}

    def next_after(self, index: int, within: int) -> Mention | None:
        """Return the first mention that begins at or after a word, no farther than ``within`` words."""
        for k in range(index, index + within):
            found = self.at.get(k)
            if found and found.first >= index:
                return found
        return None


def company_of(tokens: Tokens, index: int, mentioned: Mentioned) -> tuple[int | None, int | None]:
    """Return the verb's particle and its object pronoun: “take those two out”, “pull the bracket off”."""
    particle = pronoun = None
    k = index + 1
    unknown, object_named = 0, False
    while k < len(tokens) and k - index < 9 and tokens[k].gap <= Gap.HYPHEN:
        low = tokens[k].low
        mention = mentioned.at.get(k)
        if mention and mention.first == k and pronoun is None and particle is None:
            k, object_named = mention.last, True
            continue
        if low in PARTICLES and particle is None:
            particle = k
            if object_named:
                # “Pull the hood off it just slides up”: what follows is new.
                break
        elif low in _IT and pronoun is None and not (low == "each" and _thing_behind(tokens, k)):
            pronoun = k
        elif low in DETERMINERS:
            unknown = 3
        elif unknown and low not in ENDS_PHRASE and low not in FORMS:
            unknown, object_named = unknown - 1, True
        elif low not in _BETWEEN:
            break
        k += 1
    return particle, pronoun


def _thing_behind(tokens: Tokens, index: int) -> bool:
    """“Each post”: it is no pronoun before a thing."""
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    return after is not None and after.gap is Gap.NONE and after.low not in ENDS_PHRASE and after.low not in FORMS


_NEEDS_PARTICLE: Final = words(
    "get back work run use come cut drive let knock click grab "
    "reach fetch screw turn insert stick walk roll hinge rock rotate"
)
"""Verbs that mean something only with “out”, “off” and the like."""


def means_something(tokens: Tokens, act: Act, mentioned: Mentioned) -> bool:
    """A general verb is an act with a fixing or unit, or with a tool that it moves or takes."""
    if act.verb == "let":
        return act.coming
    if act.verb in TAKING and any(driver_at(tokens, k) for k in range(act.last, min(act.last + 3, len(tokens)))):
        return True
    near = mentioned.next_after(act.last, 7)
    direct = near is not None and is_direct(tokens, act, near)
    if near and direct and near.sort is Sort.TOOL:
        return act.verb in MOVING | TAKING | {"pull", "push", "bring"}
    following = tokens[act.first + 1].low if act.first + 1 < len(tokens) else ""
    inward = {token.low for token in tokens[act.last : act.last + 2] if token.gap <= Gap.HYPHEN} & {
        "in",
        "on",
        "into",
        "onto",
        "in.",
        "together",
    }
    if act.verb in {"set", "put", "lay", "bring"}:
        words = [token.low for token in tokens[act.first : act.first + 9]]
        return direct and ("aside" in words or ("one" in words and "side" in words))
    if act.verb in _NEEDS_PARTICLE:
        if act.verb == "cut" and direct and near is not None and near.kind in {FixingKind.ADHESIVE, FixingKind.SEAL}:
            return True
        if act.particle is None:
            return act.verb == "roll" and direct
        return tokens[act.particle].low in {"out", "off", "away", "loose", "free", "up", "apart", "over", "back"} and (
            direct or act.pronoun is not None or act.verb in {"turn", "screw", "knock"}
        )
    if act.verb in {"take"}:
        return (
            (act.particle is not None or (direct and near is not None and near.sort is not Sort.TOOL))
            and following not in {"care", "a"}
        ) or (act.particle is not None and direct)
    if inward and not direct:
        many = act.pronoun is not None and tokens[act.pronoun].low in {"them", "those", "these", "both", "all", "each"}
        return many and act.verb in {"push", "press"}
    return direct or act.pronoun is not None or act.particle is not None


def is_direct(tokens: Tokens, act: Act, mention: Mention) -> bool:
    """Say whether a mention is the object: nothing but particles and adverbs stands between, and no preposition."""
    if mention.first < act.last or tokens[mention.first].gap > Gap.HYPHEN:
        return False
    for k in range(act.last, mention.first):
        low = tokens[k].low
        if tokens[k].gap > Gap.HYPHEN or (low not in _BETWEEN and low not in PARTICLES and low not in DETERMINERS):
            return False
        if low in {"it", "them"}:
            return False
    return (
        mention.lead is None
        or mention.lead < act.last
        or (tokens[mention.lead].low in PARTICLES and mention.lead - act.first <= 2)
    )
