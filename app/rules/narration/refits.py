"""What a narration tells of the way back: which step it answers, what is fitted new, torque, press and cure times."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from app.rules.narration.binding import mentions_between
from app.rules.narration.building import Building, Released
from app.rules.narration.clauses import Cut, Sense
from app.rules.narration.measures import duration_at, torque_at
from app.rules.narration.mention_kinds import Sort
from app.rules.narration.mentions import Mention
from app.rules.narration.tokens import Gap, Tokens
from app.rules.narration.wordlist import words
from app.rules.sheet import FixingKind as K
from app.rules.sheet import ReuseClass

Span = tuple[int, int]
"""First and last word, the last not included, as places among the tokens."""

VERBS: Final = words(
    "fit refit install reinstall replace put place set lay seat press push stick glue apply connect reconnect plug "
    "clip snap screw tighten torque fasten do drive insert slide close hook route clean let leave cure dry wait clamp "
    "hold snug use add renew peel secure engage take"
)
_CURE: Final = words("cure cures curing dry dries set sets harden leave let wait rest cool")
_HARDENS: Final = words("cure cures curing dry dries harden hardens set sets")
_PRESS: Final = words("press hold clamp push squeeze")
_NEW: Final = words("new fresh another")
_FILLED: Final = words("paste grease adhesive glue tape foam pad primer sealant compound gel")
_LED: Final = words(
    "it this that everything all the thing whole device again back together in reverse order of you please "
    "do other way round around steps"
)
_STOPS: Final = words("then next finally now afterwards")
_MOST_SECONDS: Final = 48 * 60 * 60


@dataclass(slots=True)
class ToldRefit:
    """What was told for the refit of one step. ``torques`` are (fixing, newton centimetres, words)."""

    spans: list[Span] = field(default_factory=list)
    new: list[tuple[Released, Span]] = field(default_factory=list)
    torques: list[tuple[Released, Decimal, Span]] = field(default_factory=list)
    press: tuple[int, Span] | None = None
    cure: tuple[int, Span] | None = None
    cure_guessed: bool = False
    fits: list[tuple[Mention, Span]] = field(default_factory=list)
    loose: list[Span] = field(default_factory=list)
    answered: set[int] = field(default_factory=set)
    """Heads of the things that were told of, as places among the tokens of their own mention."""


@dataclass(frozen=True, slots=True)
class Refits:
    """By the place of their step, and the spans whose step could not be told."""

    by_step: dict[int, ToldRefit]
    left: tuple[Span, ...]


def refits_of(cut: Cut, steps: Sequence[Building]) -> Refits:
    """Return what is told of the refit, bound to the steps that it answers.

    A piece of the narration belongs to the step whose fixing or unit it names; one that names nothing goes on with
    the piece before it, or with the step in whose midst it is told. Where several steps would fit and nothing tells
    them apart, none is chosen: the words are left to be asked about.
    """
    found: dict[int, ToldRefit] = {}
    left: list[Span] = []
    for first, last, standing in _regions(cut, steps):
        before, done = standing, list[int]()
        for span in _pieces(cut.tokens, first, last):
            if not _tells(cut.tokens, span):
                continue
            named = [m for m in mentions_between(cut, *span) if m.sort is not Sort.TOOL]
            place = _step_of(cut, steps, named, before) if named else before
            guessed = None if named or not _cures(cut.tokens, span) else _cured(steps, done, before)
            place = place if guessed is None else guessed
            if place is None and before is not None and not _known(steps, named):
                place = before
            if place is None:
                left.append(span)
                continue
            told = found.setdefault(place, ToldRefit())
            _take(cut, steps[place], told, named, span)
            told.cure_guessed = told.cure_guessed or guessed is not None
            done.append(place)
            before = place if guessed is None else before
    return Refits(found, tuple(left))


def _regions(cut: Cut, steps: Sequence[Building]) -> Iterator[tuple[int, int, int | None]]:
    """Yield (first, last, step it stands in) of the stretches that tell of the refit."""
    reached = 0
    for clause in cut.clauses:
        if clause.sense is not Sense.REFIT or clause.start < reached:
            continue
        last = next((step.start for step in steps if step.start > clause.start), len(cut.tokens))
        inside = [number for number, step in enumerate(steps) if step.start <= clause.start]
        if not inside:
            continue
        # Behind the last step it is about the whole device, so it names what it means.
        first = clause.cue_end or clause.start
        while first < last - 1 and cut.tokens[first].low in _LED and cut.tokens[first].gap < Gap.HARD:
            first += 1
        yield first, last, inside[-1] if last < len(cut.tokens) else None
        reached = last


def _pieces(tokens: Tokens, first: int, last: int) -> Iterator[Span]:
    """Yield the pieces of a stretch: cut at pauses, at “then”, and where a second verb begins."""
    start = first
    verb = False
    for k in range(first, last):
        low = tokens[k].low
        begins = low in VERBS and (k == first or tokens[k - 1].low not in _NO_START)
        cuts = tokens[k].gap >= Gap.COMMA or low in _STOPS or (begins and verb)
        if cuts and k > start:
            at = k - 1 if tokens[k - 1].low == "and" and k - 1 > start and tokens[k].gap < Gap.COMMA else k
            yield start, at
            start, verb = k, False
        verb = verb or low in VERBS
    if last > start:
        yield start, last


_NO_START: Final = words("to the a an don't not never you we i'd it it's new this that of")


def _tells(tokens: Tokens, span: Span) -> bool:
    """Say whether a piece tells something to do, not only “in reverse order”."""
    return any(token.low in VERBS for token in tokens[span[0] : span[1]])


def _cures(tokens: Tokens, span: Span) -> bool:
    return bool(_HARDENS & {token.low for token in tokens[span[0] : span[1]]})


def _cured(steps: Sequence[Building], done: Sequence[int], before: int | None) -> int | None:
    """Return the step told of last whose seal or adhesive cures; None when it is the one told of just before."""
    soft = [place for place in done if any(f.kind in {K.SEAL, K.ADHESIVE} for f in steps[place].fixings)]
    return soft[-1] if soft and soft[-1] != before else None


def _matches(step: Building, mention: Mention) -> Released | Mention | None:
    """Return the fixing or unit of a step that a mention names."""
    for released in step.fixings:
        if released.kind is mention.kind and released.mention.noun == mention.noun:
            return released
    for released in step.fixings:
        if released.kind is mention.kind and mention.kind in {K.SEAL, K.ADHESIVE, K.CONNECTOR}:
            return released
    return next((unit for unit in step.units if unit.noun == mention.noun), None)


def _known(steps: Sequence[Building], named: Sequence[Mention]) -> bool:
    return any(_matches(step, mention) for step in steps for mention in named)


def _step_of(cut: Cut, steps: Sequence[Building], named: Sequence[Mention], before: int | None) -> int | None:
    """Return the one step that fits best; None when none does or several do equally."""
    scores: dict[int, int] = {}
    for number, step in enumerate(steps):
        hits = [m for m in named if _matches(step, m)]
        if hits:
            own = _words_of(cut, steps, number)
            said = {cut.tokens[k].low for m in named for k in range(m.name_from, m.head)}
            counts = sum(1 for m in hits if m.said and getattr(_matches(step, m), "count", None) == m.count)
            scores[number] = len(hits) * 10 + len(said & own) * 3 + counts * 4
    if not scores:
        return None
    best = max(scores.values())
    fitting = [number for number, score in scores.items() if score == best]
    if len(fitting) == 1:
        return fitting[0]
    return before if before in fitting else None


def _words_of(cut: Cut, steps: Sequence[Building], number: int) -> set[str]:
    last = steps[number + 1].start if number + 1 < len(steps) else steps[number].start + 40
    return {token.low for token in cut.tokens[steps[number].start : last]}


def _take(cut: Cut, step: Building, told: ToldRefit, named: Sequence[Mention], span: Span) -> None:
    told.spans.append(span)
    low = {token.low for token in cut.tokens[span[0] : span[1]]}
    for mention in named:
        found = _matches(step, mention)
        new = bool(_NEW & {cut.tokens[k].low for k in range(max(span[0], mention.first - 1), mention.head)})
        if isinstance(found, Released):
            told.answered.add(found.first)
            if new:
                told.new.append((found, span))
        elif found is not None:
            told.answered.add(found.first)
        elif new and mention.sort is Sort.FIXING and mention.noun in _FILLED:
            told.fits.append((mention, span))
    if not named and low & _NEW and low & {"one", "ones"} and step.fixings:
        soft = [released for released in step.fixings if released.kind in {K.SEAL, K.ADHESIVE}]
        meant_one = (soft or step.fixings)[-1]
        told.answered.add(meant_one.first)
        told.new.append((meant_one, span))
    _measure(cut, step, told, named, span)


def _measure(cut: Cut, step: Building, told: ToldRefit, named: Sequence[Mention], span: Span) -> None:
    """Take the torque, or else the press or cure time, that a piece tells."""
    low = {token.low for token in cut.tokens[span[0] : span[1]]}
    screws = [released for released in step.fixings if released.kind is K.SCREW]
    for k in range(*span):
        torque = torque_at(cut.tokens, k)
        if torque:
            meant = [r for r in screws if any(_is(m, r) for m in named)] or screws
            if len(meant) == 1:
                told.torques.append((meant[0], torque[0], span))
            else:
                told.loose.append(span)
            return
        seconds = duration_at(cut.tokens, k)
        if seconds is not None and 0 < seconds[0] <= _MOST_SECONDS:
            pressed = bool(low & _PRESS) and low.isdisjoint({"cure", "dry", "set", "leave", "let"})
            if pressed:
                told.press = told.press or (seconds[0], span)
            elif low & _CURE:
                told.cure = told.cure or (seconds[0], span)
            return


def _is(mention: Mention, released: Released) -> bool:
    return mention.kind is released.kind and mention.noun == released.mention.noun


def mark_new(refits: Refits) -> None:
    """Let what is fitted new be used once only, as nothing else was said of it."""
    for told in refits.by_step.values():
        for released, span in told.new:
            if released.reuse in {None, ReuseClass.REUSABLE}:
                released.reuse = ReuseClass.SINGLE_USE
                released.scrap = released.scrap or span


def tenth(value: Decimal) -> Decimal:
    """Round half up to a tenth of a newton centimetre, without idle zeros."""
    rounded = value.quantize(Decimal("0.1"), rounding=ROUND_HALF_UP)
    return rounded.to_integral_value() if rounded == rounded.to_integral_value() else rounded
