"""Which item is scrapped: the one named beside the words, or the one spoken of just before."""

from typing import Final

from app.rules.narration.binding import mentions_between
from app.rules.narration.building import Building, Released
from app.rules.narration.clauses import Clause, Cut
from app.rules.narration.mention_kinds import Sort
from app.rules.narration.mentions import Mention
from app.rules.narration.tokens import Gap
from app.rules.sheet import FixingKind as K
from app.rules.sheet import ReuseClass

_ONCE: Final = frozenset({K.SEAL, K.ADHESIVE})
_MANY: Final = frozenset({"them", "those", "these", "they", "both", "all", "ones", "screws", "are"})
_ONE: Final = frozenset({"it", "that", "this", "one"})
_FITTING: Final = frozenset({"fit", "use", "put", "stick", "need", "order", "get"})
_REACH: Final = 3
"""Steps back in which the item of “they must not be used again” is looked for."""


def bind_scrap(cut: Cut, clause: Clause, steps: list[Building], conditional: bool) -> None:
    """Mark the item that the clause scraps; one that only is scrapped when damaged becomes one to inspect."""
    if not steps or clause.cue is None or clause.cue_end is None:
        return
    span = (clause.start, clause.end)
    named = _named(cut, clause, steps)
    if named is not None:
        target: Released | None = _same(cut, steps, named) or _new(steps[-1], named)
    else:
        low = {token.low for token in cut.tokens[clause.start : clause.cue_end + 1]}
        target = _last(steps, True if low & _MANY else False if low & _ONE else None)
    if target is None:
        last = clause.cue_end
        last += last < clause.end and cut.tokens[last].low in _ONE | _MANY
        said = cut.tokens[clause.cue : last]
        steps[-1].asked = f"“{' '.join(token.text for token in said)}” was said. Which item is scrapped?"
        return
    if conditional:
        target.reuse = target.reuse or ReuseClass.INSPECT
        return
    target.reuse = ReuseClass.SINGLE_USE
    target.scrap = target.scrap or span


def _named(cut: Cut, clause: Clause, steps: list[Building]) -> Mention | None:
    """Return the fixing named in the sentence: behind “discard”, or before “must be renewed”."""
    assert clause.cue is not None
    assert clause.cue_end is not None
    alone = cut.tokens[clause.cue_end - 1].low in _ONE | _MANY and not cut.mentioned.at.get(clause.cue_end - 1)
    if clause.side == "after" and not alone:
        for mention in mentions_between(cut, clause.cue, min(clause.end, clause.cue_end + 6)):
            if mention.sort is Sort.FIXING and (mention.lead is None or mention.lead < clause.cue_end):
                return mention
    start = clause.cue
    while start > 0 and cut.tokens[start].gap < Gap.HARD and clause.cue - start < 14:
        start -= 1
    if cut.tokens[clause.cue].low in _FITTING:
        behind = cut.mentioned.at.get(clause.cue_end) or cut.mentioned.next_after(clause.cue_end, 3)
        same = behind and all(token.gap < Gap.HARD for token in cut.tokens[clause.cue_end : behind.head + 1])
        if behind and same and behind.sort is Sort.FIXING and behind.lead is None:
            return behind
    before = [
        m for m in mentions_between(cut, start, clause.cue)
        if m.sort is Sort.FIXING
        and (m.lead is None or m.lead < start or (m.kind in _ONCE and cut.tokens[m.last].low in {"which", "that"}))
    ]  # fmt: skip
    words = {token.low for token in cut.tokens[clause.start : clause.cue_end]}
    if words & {"it", "that", "them", "those", "they", "these"} and clause.start > start:
        # “The foam ring tears when you do this, so throw it out”.
        once = [m for m in before if m.kind in _ONCE and not m.plural and m.lead is None]
        return once[-1] if once and not any(f.mention in once for step in steps[-2:] for f in step.fixings) else None
    if before and clause.side == "before":
        return before[-1]
    colon = before[-1:] and cut.tokens[clause.cue].gap is Gap.BRACKET
    return before[-1] if colon else None


def _same(cut: Cut, steps: list[Building], named: Mention) -> Released | None:
    for step in reversed(steps[-_REACH:]):
        fitting = [
            f for f in step.fixings if f.kind is named.kind and (f.mention is named or f.mention.noun == named.noun)
        ]
        fitting = fitting or [
            f for f in step.fixings if f.kind is named.kind and named.kind in _ONCE and named.definite
        ]
        if fitting:
            words = described(cut, named)
            return next((f for f in reversed(fitting) if words & described(cut, f.mention)), fitting[-1])
    return None


def described(cut: Cut, mention: Mention) -> set[str]:
    """Return the words that describe the noun: “short” of “the short screw”."""
    return {token.low for token in cut.tokens[mention.name_from : mention.head]}


def _new(step: Building, named: Mention) -> Released:
    assert named.kind is not None
    released = Released(named, named.kind, named.count, named.exact, named.first, named.last)
    step.fixings.append(released)
    return released


def _last(steps: list[Building], many: bool | None) -> Released | None:
    """Return the item spoken of last that fits “it” or “them”; seals and adhesives before lasting things."""
    for step in reversed(steps[-2:]):
        if step.units and not step.fixings:
            # “Take the gel bag out and chuck that”: the unit is meant, nothing of the step before.
            return None
        if step.fixings:
            fitting = [f for f in step.fixings if many is None or (f.count != 1) == many]
            once = [f for f in fitting if f.kind in _ONCE]
            return (once or fitting)[-1] if fitting else None
    return None
