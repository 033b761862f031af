"""The narration cut into clauses: each an act, a caution, an inspection, a word on scrapping, or a statement."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from app.rules.narration import cues
from app.rules.narration.acts import act_at
from app.rules.narration.clause_signs import (
    after_subject,
    caution_at,
    cued,
    denied,
    forbidden,
    goes_on,
    kept,
    next_low,
    only_a_word,
    scraps,
    told_of,
    with_done,
)
from app.rules.narration.company import Act, Mentioned, is_direct
from app.rules.narration.mentions import mentions_of
from app.rules.narration.numbers import NUMBER_WORDS, number_at
from app.rules.narration.tokens import Gap, Tokens
from app.rules.narration.verbs import FORMS, SPECIFIC
from app.rules.narration.vocabulary import DETERMINERS, NOUN, PREPOSITIONS
from app.rules.narration.wordlist import words


class Sense(StrEnum):
    """What a clause is for."""

    ACT = "act"
    CAUTION = "caution"
    INSPECT = "inspect"
    SCRAP = "scrap"
    LEAVE = "leave"
    CONDITION = "condition"
    REFIT = "refit"
    STATEMENT = "statement"


@dataclass(slots=True)
class Clause:
    """The words ``tokens[start:end]``. ``order`` is 2 after a word of order such as “then”, 1 after a weak one."""

    start: int
    end: int
    sense: Sense
    hard: bool
    order: int
    act: Act | None = None
    cue: int | None = None
    cue_end: int | None = None
    side: str = ""


@dataclass(frozen=True, slots=True)
class Cut:
    """Tokens with all that was seen in them."""

    tokens: Tokens
    mentioned: Mentioned
    clauses: list[Clause]


_LEAD_IN: Final = words(
    "and so you we i can need to have want wanna gonna going go ahead just also carefully please must "
    "should will would now then they he you'll we'll i'll let's we're you're i'm be got gotta like could "
    "might slowly gently first one simply next is are again either"
)


_STARTERS: Final = frozenset().union(
    *(table.first_words for table in cues.TABLES),
    FORMS,
    NUMBER_WORDS,
    words(
        "is are has have sits sit lies lie lives stands hangs with don't never not do off out away half a both notice"
    ),
)
"""Every word that can begin a clause or be its verb; all others are passed over."""


def cut(tokens: Tokens) -> Cut:
    """Return the clauses in order; every word is in exactly one."""
    mentioned = Mentioned(mentions_of(tokens))
    clauses: list[Clause] = []
    index = 0
    while index < len(tokens):
        current = clauses[-1] if clauses else None
        begun = _begins(tokens, index, current, mentioned)
        if begun is None:
            index += 1
            continue
        clause, after = begun
        if current:
            if clause.start <= current.start:
                _become(current, clause)
                index = max(after, index + 1)
                continue
            current.end = clause.start
        clauses.append(clause)
        index = max(after, index + 1)
    if clauses:
        clauses[-1].end = len(tokens)
    return Cut(tokens, mentioned, clauses)


def _become(current: Clause, clause: Clause) -> None:
    """A clause that had only its lead-in so far takes on the sense found behind it."""
    current.sense, current.act, current.side = clause.sense, clause.act, clause.side
    current.cue, current.cue_end = clause.cue, clause.cue_end
    current.order = max(current.order, clause.order)


def _begins(tokens: Tokens, index: int, current: Clause | None, mentioned: Mentioned) -> tuple[Clause, int] | None:
    """Return the clause that begins at or just before a word, and where to read on; None when none does."""
    hard = tokens[index].gap is Gap.HARD
    low = tokens[index].low
    if not hard and low not in _STARTERS and not low[0].isdecimal() and not low.endswith("'s"):
        return None
    idiom = cues.IDIOM.at(tokens, index)
    if idiom and not hard and not cued(tokens, index, idiom[0]):
        return None
    done = 0 if hard else with_done(tokens, index)
    if done:
        return Clause(index, index, Sense.STATEMENT, hard, 2), index + done
    order = None if idiom else _order(tokens, index, hard)
    if order:
        return Clause(index, index, Sense.STATEMENT, hard, order[1]), index + order[0]
    start = _lead(tokens, index, current)
    lead = start == current.start if current else False
    fresh = hard or lead
    said = _set_phrase(tokens, index, current, mentioned, fresh)
    if said:
        sense, size, side = said
        clause = Clause(start, index, sense, hard, 0, None, index, index + size, side)
        return clause, index + size
    act = None if idiom else _act(tokens, index, current, mentioned, hard)
    if act:
        if current and current.sense is Sense.STATEMENT and not hard and _put_first(tokens, act, current, mentioned):
            start = current.start
        elif current and not hard and (act.coming or act.passive):
            start = _subject_start(tokens, start, current, mentioned)
        return Clause(start, index, Sense.ACT, hard, 0, act), act.last
    if hard or _statement(tokens, index, current):
        sees = next_low(tokens, index) == "see"
        return Clause(index, index, Sense.STATEMENT, hard, 0), index + 1 + sees
    if current and told_of(tokens, index, mentioned):
        start = _told_from(tokens, index, current, mentioned)
        if start > current.start:
            return Clause(start, index, Sense.STATEMENT, hard, 0), index + 1
    return None


def _put_first(tokens: Tokens, act: Act, current: Clause, mentioned: Mentioned) -> bool:
    """Say whether what stands before the verb is its subject: “the plug is to disconnect”."""
    colon = (
        tokens[act.first].gap is Gap.BRACKET and act.verb in SPECIFIC and mentioned.at.get(current.start) is not None
    )
    if any(
        (token.gap >= Gap.BRACKET and not (colon and token is tokens[act.first])) or token.low in {"and", "so"}
        for token in tokens[current.start + 1 : act.first + 1]
    ):
        return False
    if act.first - current.start > 14 or not any(mentioned.at.get(k) for k in range(current.start, act.first)):
        return False
    if act.coming or act.passive:
        return True
    behind = mentioned.next_after(act.last, 6)
    return act.pronoun is None and not (behind and is_direct(tokens, act, behind))


def _subject_start(tokens: Tokens, start: int, current: Clause, mentioned: Mentioned) -> int:
    """“… and the housing pops off”: the clause begins with its subject."""
    subject = mentioned.at.get(start - 1)
    if not subject or subject.first <= current.start or (current.act and subject.first < current.act.last):
        return start
    first = subject.first
    return first - 1 if tokens[first - 1].low == "and" and first - 1 > current.start else first


def _told_from(tokens: Tokens, index: int, current: Clause, mentioned: Mentioned) -> int:
    """Return where “the board is held”, “the cell's got two tabs” or “on the board are two wires” begins."""
    own = mentioned.at.get(index) or mentioned.at.get(index - 1)
    if own and own.lead is not None:
        return max(own.lead, current.start)
    return own.first if own and mentioned.at.get(index) else _subject_start(tokens, index, current, mentioned)


def _lead(tokens: Tokens, index: int, current: Clause | None) -> int:
    """Return where the clause begins that has its verb here: “and then you can” belongs to it."""
    floor = current.start if current else 0
    at = index
    while (
        at > floor
        and tokens[at].gap < Gap.HARD
        and (tokens[at - 1].low in _LEAD_IN or _in_order(tokens, at - 1, current))
    ):
        at -= 1
    return at


def _in_order(tokens: Tokens, index: int, current: Clause | None) -> bool:
    if current is None or current.sense is not Sense.STATEMENT or not current.order:
        return False
    size = cues.ORDER.at(tokens, current.start)
    return size is not None and current.start <= index < current.start + size[0]


def _order(tokens: Tokens, index: int, hard: bool) -> tuple[int, int] | None:
    found = cues.ORDER.at(tokens, index)
    if not found:
        return None
    size, strength = found
    low = tokens[index].low
    after = tokens[index + size] if index + size < len(tokens) else None
    before = tokens[index - 1].low if index and not hard else ""
    if size == 1 and low in {"right", "well", "anyway", "second", "third", "after"} and not hard:
        return None
    if low in {"second", "third"} and (after is None or after.gap < Gap.COMMA):
        return None
    if (
        size == 1
        and low in {"first", "last", "next", "second", "once", "now", "then"}
        and (before in DETERMINERS or before in {"very", "just", "until"})
    ):
        return None
    told = (
        FORMS.get(before) is not None
        and after is not None
        and (after.low in DETERMINERS or number_at(tokens, index + 1) is not None)
    )
    if size == 1 and low in {"now", "then", "first", "next"} and not hard and told and tokens[index].gap < Gap.COMMA:
        return None
    if (
        size == 1
        and low in {"now", "then"}
        and not hard
        and (
            before in _AUXILIARY
            or (before in {"it", "that", "which"} and goes_on(after))
            or after_subject(tokens, index, after)
        )
    ):
        return None
    if low in {"first", "next", "lastly"} and size == 1 and after and after.low in NOUN and not hard:
        return None
    return size, 2 if strength == "strong" else 1


_AUXILIARY: Final = words("can will should must is are you we i could may might has have to be not")


def _set_phrase(
    tokens: Tokens, index: int, current: Clause | None, mentioned: Mentioned, fresh: bool
) -> tuple[Sense, int, str] | None:
    """Return sense, length and side of a set phrase that begins here."""
    refit = cues.REFIT.at(tokens, index)
    if refit:
        return Sense.REFIT, refit[0], ""
    if current and current.sense is Sense.REFIT and tokens[index].gap is not Gap.HARD:
        return None
    scrap = cues.SCRAP.at(tokens, index)
    meant = scrap and not denied(tokens, index) and not kept(tokens, index + scrap[0])
    if scrap and meant and (scrap[0] > 1 or scraps(tokens, index, fresh)):
        return Sense.SCRAP, scrap[0], scrap[1]
    stays = cues.STAYS.at(tokens, index)
    if stays:
        return Sense.LEAVE, stays[0], "before"
    caution = caution_at(tokens, index, fresh)
    if caution and current and current.sense is Sense.CAUTION and tokens[index].gap < Gap.HARD:
        return None
    if caution and not denied(tokens, index) and not only_a_word(tokens, index, caution):
        return Sense.CAUTION, caution, ""
    leave = cues.LEAVE.at(tokens, index)
    if leave:
        held = mentioned.next_after(index + leave[0], 8)
        after = tokens[index + leave[0]].low if index + leave[0] < len(tokens) else ""
        if held or tokens[index].low == "leave" or after in {"it", "them", "these", "those", "that"}:
            return Sense.LEAVE, leave[0], "after"
    if current and current.sense is Sense.CAUTION and tokens[index].gap < Gap.HARD:
        return None if tokens[index].low in {"don't", "never", "do"} else _rest(tokens, index, current, fresh)
    bars = forbidden(tokens, index)
    return (Sense.CAUTION, bars, "") if bars else _rest(tokens, index, current, fresh)


def _rest(tokens: Tokens, index: int, current: Clause | None, fresh: bool) -> tuple[Sense, int, str] | None:
    """Return an inspection or a condition that begins here."""
    inspect = cues.INSPECT.at(tokens, index)
    if inspect and not (
        index
        and tokens[index - 1].low in DETERMINERS | {"you", "can"}
        and inspect[0] == 1
        and tokens[index].gap < Gap.COMMA
    ):
        return Sense.INSPECT, inspect[0], ""
    condition = cues.CONDITION.at(tokens, index)
    noted = current is not None and current.sense in {Sense.INSPECT, Sense.CAUTION} and tokens[index].gap < Gap.COMMA
    near = current is not None and (current.cue_end is None or index <= current.cue_end + 3)
    if condition and not (noted and near):
        if (
            tokens[index].low in {"where", "when", "until", "till", "because", "since"}
            and not fresh
            and tokens[index].gap < Gap.COMMA
        ):
            return (Sense.CONDITION, condition[0], "") if current and current.sense is not Sense.CAUTION else None
        return Sense.CONDITION, condition[0], ""
    return None


def _act(tokens: Tokens, index: int, current: Clause | None, mentioned: Mentioned, hard: bool) -> Act | None:
    if current and not hard and current.sense is Sense.CAUTION and current.hard and _colon(tokens, current):
        return None
    if current and not hard and current.sense in {Sense.CONDITION, Sense.REFIT, Sense.LEAVE}:
        inside = tokens[index].gap < Gap.COMMA or current.sense is Sense.REFIT
        told = current.sense is Sense.LEAVE and (
            tokens[index - 1].low in {"and", "so", "then"} or _behind_thing(tokens, index, current, mentioned)
        )
        told = told or _behind_reason(tokens, index, current)
        if inside and not told:
            return None
        # “If it is stiff, warm the edge”: what is done on a condition is not a step of every job.
        if current.sense is Sense.CONDITION and tokens[current.cue or current.start].low in {
            "if",
            "unless",
            "otherwise",
        }:
            return None
    start = index if hard else (current.start if current else 0)
    if not hard and tokens[index].gap >= Gap.COMMA:
        start = index
    return act_at(tokens, index, start, mentioned)


def _colon(tokens: Tokens, current: Clause) -> bool:
    """“Caution: disconnect the charger first”: behind the colon stands the caution."""
    end = current.cue_end
    return end is not None and end < len(tokens) and tokens[end].gap is Gap.BRACKET


def _behind_reason(tokens: Tokens, index: int, current: Clause) -> bool:
    """“… because it is glued lift the lid”: a reason is short, what is told behind it is new."""
    reason = current.sense is Sense.CONDITION and tokens[current.cue or current.start].low in {
        "because",
        "since",
        "when",
    }
    far = index > (current.cue_end or current.start) + 3
    return reason and far and tokens[index - 1].low not in _MIDST


_MIDST: Final = words("you we they it i to and can will may might could would is are be not that which or")


def _behind_thing(tokens: Tokens, index: int, current: Clause, mentioned: Mentioned) -> bool:
    """“Leave the two screws alone lift the lid”: what stays was named, so this is new."""
    held = mentioned.next_after(current.cue_end or current.start, 8)
    return held is not None and held.last <= index and tokens[index - 1].low not in DETERMINERS | {"to", "that"}


def _statement(tokens: Tokens, index: int, current: Clause | None) -> bool:
    """Say whether a new statement begins, as it does in captions without punctuation: “they're all the same”."""
    if current is None or index <= current.start:
        return False
    if current.sense in {Sense.CAUTION, Sense.INSPECT, Sense.CONDITION, Sense.REFIT} and tokens[index].gap < Gap.COMMA:
        # “Because there are two screws underneath” shows them; “if there are …” does not.
        reason = tokens[current.cue or current.start].low in {"because", "since"}
        shows = tokens[index].low in {"there's", "there", "you'll", "you've"}
        return (
            shows and cues.STATEMENT.at(tokens, index) is not None and (reason or current.sense is not Sense.CONDITION)
        )
    # “You hear that: that's the clips”, “behind that you'll see a grille”.
    twice = tokens[index - 1].low == "that" and (
        tokens[index].low == "that's" or (index > 1 and tokens[index - 2].low in PREPOSITIONS)
    )
    if not twice and tokens[index - 1].low in {"if", "that", "when", "because", "whether", "until", "before", "once"}:
        return False
    number = number_at(tokens, index)
    if number and index + number.size < len(tokens) and tokens[index + number.size].low == "more":
        return (
            tokens[index - 1].low not in DETERMINERS
            and tokens[index - 1].low not in FORMS
            and tokens[index - 1].low != "the"
        )
    found = cues.STATEMENT.at(tokens, index)
    after = tokens[index + found[0]].low if found and index + found[0] < len(tokens) else ""
    counts = tokens[index].low in {"one", "two", "same"}
    return found is not None and not (counts and (tokens[index - 1].low in DETERMINERS or after in NOUN))
