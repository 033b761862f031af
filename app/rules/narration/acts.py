"""Which words are an act of the narrator: told to do, being done, or coming away by itself."""

from typing import Final

from app.rules.narration.company import Act, Mentioned, company_of, means_something
from app.rules.narration.mention_kinds import Sort
from app.rules.narration.tokens import Gap, Tokens
from app.rules.narration.verbs import COMING, FORMS, GENERIC, PARTICLES, SPECIFIC
from app.rules.narration.vocabulary import DETERMINERS, PREPOSITIONS
from app.rules.narration.wordlist import words
from app.rules.sheet import FixingKind

_NEGATIONS: Final = words("not don't never cannot can't without won't shouldn't mustn't doesn't needn't avoid")
_TO_DO: Final = words(
    "need needs have has had want wants wanna going gotta is are be try got ready time able sure start "
    "begin started needed necessary required gonna ought continue proceed like love remember"
)
_ARTICLES: Final = DETERMINERS - {"that", "this", "these", "those"}
_SUBORDINATE: Final = words("before while until unless if when whenever because after by-the-time as although though")
_ABOUT_TO: Final = words("by start begin am i'm we're you're are keep try and then or be is now starting started")
_AUXILIARY: Final = words("be been being is are was were get gets got getting has have having")


def act_at(tokens: Tokens, index: int, start: int, mentioned: Mentioned) -> Act | None:
    """Return the act whose verb is this word; ``start`` is where its sentence or clause begins."""
    freed = _is_free(tokens, index, mentioned) or _is_off(tokens, index, start, mentioned)
    if freed:
        return freed
    known = FORMS.get(tokens[index].low)
    if not known:
        return None
    verb = known[0]
    if verb in _MOVED and pronoun_after(tokens, index):
        return Act(verb, index, index + 1, None, index + 1, False, False) if _told(tokens, index, start) else None
    inside = mentioned.at.get(index)
    if inside and not (index == inside.first and index == start):
        return None
    if _nounlike(tokens, index) or (index + 1 < len(tokens) and tokens[index + 1].low == "nothing"):
        return None
    use = _use(tokens, index, start, mentioned)
    return None if use is None else _with_object(tokens, index, verb, use == "coming", use == "passive", mentioned)


def _use(tokens: Tokens, index: int, start: int, mentioned: Mentioned) -> str | None:
    """Return how the verb is used: “told”, “coming” by itself or “passive”; None when it is no act at all."""
    verb, tense = FORMS[tokens[index].low]
    comes = "coming" if _comes(tokens, index, verb) else None
    if tense == "base" or verb == tokens[index].low:
        if not _told(tokens, index, start):
            return comes
        pronoun = index + 1 < len(tokens) and tokens[index + 1].low in {"it", "them", "that", "those", "these"}
        return (verb in COMING and not pronoun and _subject_before(tokens, index, start, mentioned) and comes) or "told"
    if tense == "ing":
        done = index > start and tokens[index - 1].low in _ABOUT_TO and not _held_back(tokens, index, start)
        return "told" if done else None
    if tense == "done":
        return "passive" if _passive(tokens, index, start) else None
    return comes if tense == "third" else None


_MOVED: Final = words("run slide work push stick insert go walk move get")
_ALONG: Final = words("along around round under in into between through underneath behind all")


def pronoun_after(tokens: Tokens, index: int) -> bool:
    """“Run it around the seam”: something taken up before is moved along."""
    near = tokens[index + 1 : index + 3]
    return (
        len(near) == 2 and near[0].low in {"it", "that", "this"} and near[1].low in _ALONG and near[1].gap is Gap.NONE
    )


def _nounlike(tokens: Tokens, index: int) -> bool:
    """“The lift”, “a slide”, “on release” are nouns; “straight back”, “come free” are no verbs."""
    if index == 0 or tokens[index].gap > Gap.HYPHEN:
        return False
    before = tokens[index - 1].low
    low = tokens[index].low
    if before in _ARTICLES:
        return True
    if low == "free" and before.endswith("'s"):
        return True
    after = tokens[index + 1].low if index + 1 < len(tokens) else ""
    if before in {"of", "on", "at", "with", "from", "in", "very", "too"}:
        return before not in {"on", "in"} or after not in {"it", "them", "those", "the", "both", "all"}
    if (
        before in {"is", "was", "are", "were", "it's", "they're", "look", "looks", "isn't", "aren't", "seem", "seems"}
        and FORMS[low][1] == "base"
    ):
        # “First thing i do is pull the plug”.
        return not (before == "is" and after in {"the", "your", "this", "these", "those", "all"})
    if low in PARTICLES and (
        before in FORMS
        or before
        in {
            "straight",
            "right",
            "it",
            "them",
            "comes",
            "is",
            "all",
            "just",
            "back",
            "goes",
            "lifts",
            "are",
            "those",
            "that",
            "folded",
        }
    ):
        return not (
            low == "back" and index + 1 < len(tokens) and tokens[index + 1].low in {"them", "it", "those", "out", "all"}
        )
    return False


def _is_free(tokens: Tokens, index: int, mentioned: Mentioned) -> Act | None:
    """“The motor is free now”."""
    if (
        tokens[index].low.endswith("'s")
        and index + 1 < len(tokens)
        and tokens[index + 1].low in {"free", "loose", "out", "off"}
        and not _partly(tokens, index + 2)
    ):
        named = mentioned.at.get(index)
        if named and named.sort is Sort.UNIT and named.lead is None:
            return Act("come", index + 1, index + 2, None, None, True, False)
    if tokens[index].low not in {"is", "are"} or not index or tokens[index].gap > Gap.HYPHEN:
        return None
    subject = mentioned.at.get(index - 1)
    whole = subject is not None and (subject.sort is Sort.UNIT or subject.kind in {FixingKind.COVER, FixingKind.SHIELD})
    if not subject or not whole or subject.lead is not None:
        return None
    near = [token.low for token in tokens[index + 1 : index + 3]]
    return Act("come", index, index + 1, None, None, True, False) if {"free", "loose", "out"} & set(near) else None


def _is_off(tokens: Tokens, index: int, start: int, mentioned: Mentioned) -> Act | None:
    """“Ring off”, “reflector out”: notes without a verb."""
    if tokens[index].low not in {"off", "out", "away"} or tokens[index].gap > Gap.HYPHEN or not index:
        return None
    subject = mentioned.at.get(index - 1)
    ends = index + 1 == len(tokens) or tokens[index + 1].gap >= Gap.COMMA
    if not ends or not subject or subject.sort is Sort.TOOL or subject.lead is not None:
        return None
    begins = subject.first == start or tokens[subject.first].gap >= Gap.COMMA
    return Act("come", index, index + 1, None, None, True, False) if begins else None


def _partly(tokens: Tokens, index: int) -> bool:
    """“Free on one side” is not free."""
    return index < len(tokens) and tokens[index].low in {"on", "of", "at", "from"} and tokens[index].gap is Gap.NONE


def _held_back(tokens: Tokens, index: int, start: int) -> bool:
    """Say whether the verb is denied or only a matter of time or condition."""
    near = [token.low for token in tokens[max(start, index - 4) : index]]
    near = [
        low
        for k, low in enumerate(near)
        if low != "after" or near[k + 1 : k + 2] not in (["that"], ["this"], ["which"])
    ]
    if "already" in near[-2:]:
        return True
    if near and near[0] == "after" and max(start, index - 4) == start and not _comma_follows(tokens, index):
        near = near[1:]
    return _denied(near) or bool(_SUBORDINATE & set(near[-3:]))


def _denied(near: list[str]) -> bool:
    """“Don't try to lift” denies the lifting; “it is not swollen, unclip the flex” told without the comma does not."""
    for back, low in enumerate(reversed(near)):
        if low in _NEGATIONS:
            return True
        # “Not to slip or bend” denies both; “not to slip, insert the wedge” only the first.
        if back == 0 and low in FORMS and low not in _TO_DO:
            return False
        if low not in _TO_DO and low not in FORMS and low not in _DENYING:
            return False
    return False


_DENYING: Final = words(
    "to you we i they or and ever just accidentally be it them even also really yet also simply immediately bend push "
    "force twist pinch lose damage"
)


def _comma_follows(tokens: Tokens, index: int) -> bool:
    """Say whether the sentence has a second half: “after you open it, …”."""
    for token in tokens[index + 1 : index + 25]:
        if token.gap is Gap.HARD:
            return False
        if token.gap is Gap.COMMA:
            return True
    return False


def _told(tokens: Tokens, index: int, start: int) -> bool:
    if index == start:
        return True
    if _held_back(tokens, index, start):
        return False
    before = tokens[index - 1].low
    if tokens[index].gap is Gap.HYPHEN:
        return False
    if before == "to" and any(token.low in {"use", "using"} for token in tokens[max(start, index - 6) : index]):
        return True
    if before in {"to"}:
        return index - 2 >= start and (
            tokens[index - 2].low in _TO_DO
            or (
                index - 3 >= start
                and tokens[index - 3].low in _TO_DO
                and tokens[index - 2].low in {"now", "first", "also", "next", "just"}
            )
        )
    if before in {"that", "this"} and index > 1 and tokens[index - 2].low in {"after", "following", "once", "with"}:
        return True
    if before == "it" and index - 2 >= start and _new_behind_it(tokens, index):
        return True
    if before in {"it", "that"} and index - 2 >= start and tokens[index - 2].low in PREPOSITIONS:
        return True
    if before in {"that", "which", "who", "it", "for", "they", "he", "she"}:
        return before in {"that"} and tokens[index].gap >= Gap.COMMA
    return True


def _new_behind_it(tokens: Tokens, index: int) -> bool:
    """“You'll see it pop the lid off”: “it pop” is no sentence, so something new is told."""
    after = tokens[index + 1].low if index + 1 < len(tokens) else ""
    base = FORMS[tokens[index].low][1] == "base"
    return base and after in DETERMINERS and tokens[index - 2].low not in {"let", "make", "makes", "help", "helps"}


def _passive(tokens: Tokens, index: int, start: int) -> bool:
    near = [token.low for token in tokens[max(start, index - 3) : index]]
    if not near or _held_back(tokens, index, start):
        return False
    wanted = {"can", "must", "should", "to", "may", "could", "needs", "has", "have", "now", "is", "are"}
    before = [token.low for token in tokens[max(start, index - 4) : index]]
    return bool(_AUXILIARY & set(near[-2:])) and bool(wanted & set(before)) and ("be" in near or "been" in near)


def _subject_before(tokens: Tokens, index: int, start: int, mentioned: Mentioned) -> bool:
    """“The rear housing is gonna pop off”: only auxiliaries stand between a thing and the verb."""
    k = index - 1
    while k > start and tokens[k].low in _WILL:
        k -= 1
    subject = mentioned.at.get(k)
    return k < index - 1 and subject is not None and subject.sort is not Sort.TOOL and tokens[index].gap < Gap.COMMA


_WILL: Final = words("is are gonna going to will should can just now then have has all")


def _comes(tokens: Tokens, index: int, verb: str) -> bool:
    """“Comes away”, “lifts out”, “is gonna pop off”, “has to come out”."""
    if verb not in COMING:
        return False
    for k in range(index + 1, min(index + 4, len(tokens))):
        if tokens[k].gap > Gap.HYPHEN:
            return False
        if tokens[k].low in PARTICLES or (verb == "let" and tokens[k].low == "go"):
            return True
        if tokens[k].low not in {"right", "just", "straight", "it", "all"}:
            return False
    return False


def _with_object(
    tokens: Tokens, index: int, verb: str, coming: bool, passive: bool, mentioned: Mentioned
) -> Act | None:
    particle, pronoun = company_of(tokens, index, mentioned)
    last = index + 1
    if particle == index + 1:
        last = index + 2
        if last < len(tokens) and tokens[last].low in {"of", "up"} and tokens[last].gap is Gap.NONE:
            last += 1
    if verb == "come" and not coming and particle is None:
        return None
    if verb == "let" and not coming:
        return None
    act = Act(verb, index, last, particle, pronoun, coming or verb == "come", passive)
    if act.coming or passive or verb in SPECIFIC:
        return act
    if verb in GENERIC or verb in COMING:
        return act if means_something(tokens, act, mentioned) else None
    return act
