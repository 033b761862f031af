"""What a clause tells in passing: fixings that hold something, and words that belong to the refit."""

from typing import Final

from app.rules.narration.clauses import Clause
from app.rules.narration.mention_kinds import Sort
from app.rules.narration.mentions import Mention
from app.rules.narration.refits import VERBS
from app.rules.narration.tokens import Gap, Tokens
from app.rules.sheet import FixingKind as K

_LOOSE: Final = frozenset({K.CLIP, K.ADHESIVE})
_INWARD: Final = frozenset(
    {"in", "into", "home", "back", "down", "place", "on", "onto", "together", "new", "fresh", "liner", "backing"}
)


def goes_back(tokens: Tokens, clause: Clause) -> bool:
    """“Slide the cell in”, “peel the liner off the new seal”: told of the refit, no step of the teardown."""
    return bool(_INWARD & {token.low for token in tokens[clause.start : clause.end]})


def fits_new(tokens: Tokens, clause: Clause) -> bool:
    """“Fit a new seal”, told of the refit."""
    said = {token.low for token in tokens[clause.cue or clause.start : clause.cue_end]}
    return bool(said & {"fit", "use", "put", "stick", "new", "fresh"})


def tells_refit(tokens: Tokens, clause: Clause) -> bool:
    """“Then tighten the four screws”, told of the refit: nothing is shown that is undone."""
    return any(token.low in VERBS for token in tokens[clause.start : clause.end])


def partly(tokens: Tokens, mention: Mention) -> bool:
    """“Raise the glass slightly” does not free it."""
    near = [token.low for token in tokens[mention.last : mention.last + 3]]
    little = near[:2] in (["a", "little"], ["a", "bit"])
    return little or bool({"slightly", "partly", "partway", "halfway"} & set(near))


def shown_after(tokens: Tokens, rest: list[Mention]) -> list[Mention]:
    """Return fixings that an act's clause shows as holding: “lever off the cover, held by four clips”."""
    found = []
    for mention in rest:
        if mention.sort is not Sort.FIXING or mention.kind not in _LOOSE | {K.SCREW} or not mention.said:
            continue
        lead = mention.lead
        near = {token.low for token in tokens[max(0, (lead or 0) - 4) : (lead or 0)]}
        from_clips = lead is not None and mention.kind is K.CLIP and tokens[lead].low == "from"
        if (
            from_clips
            or (lead is None and mention.kind is K.CLIP)
            or tokens[mention.first].gap is Gap.BRACKET
            or (
                lead is not None
                and tokens[lead].low in {"by", "with"}
                and near & {"held", "fixed", "secured", "fastened"}
            )
        ):
            found.append(mention)
    return found
