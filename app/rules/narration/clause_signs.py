"""Small signs by which a clause is known for what it is, or is not."""

from typing import Final

from app.rules.narration import cues
from app.rules.narration.company import Mentioned
from app.rules.narration.numbers import NUMBER_WORDS
from app.rules.narration.tokens import Gap, Token, Tokens
from app.rules.narration.verbs import FORMS
from app.rules.narration.vocabulary import DETERMINERS, NOUN
from app.rules.narration.wordlist import words


def next_low(tokens: Tokens, index: int) -> str:
    """Return the word behind a word as it is looked up; empty at the end."""
    return tokens[index + 1].low if index + 1 < len(tokens) else ""


def cued(tokens: Tokens, index: int, size: int) -> bool:
    """“Take care” and “take a look” are no taking, but a caution and an inspection."""
    return any((table.at(tokens, index) or (0, ""))[0] >= size for table in (cues.CAUTION, cues.INSPECT))


_DONE: Final = words("folded removed off out open opened away lifted undone gone loose free clear aside")


def with_done(tokens: Tokens, index: int) -> int:
    """Return the length of “with the back folded over”, which leads in what is done next; 0 when it is not there."""
    if tokens[index].low != "with" or next_low(tokens, index) not in {"the", "that", "both", "all", "those"}:
        return 0
    for k in range(index + 2, min(index + 6, len(tokens))):
        if tokens[k].gap > Gap.HYPHEN:
            return 0
        if tokens[k].low in _DONE and tokens[k - 1].low in NOUN:
            over = k + 1 < len(tokens) and tokens[k + 1].low in {"over", "up", "out", "back", "away", "off"}
            return k + 1 + over - index
    return 0


_HELD: Final = words(
    "held fixed secured fastened attached mounted retained screwed clipped glued stuck taped sealed "
    "soldered bolted plugged hidden bonded wedged"
)
_SITS: Final = words("sits sit lies lie lives stands hangs")
_PLACING: Final = words("on in under behind inside above below beneath underneath beside")
_SOME: Final = DETERMINERS | NUMBER_WORDS


def told_of(tokens: Tokens, index: int, mentioned: Mentioned) -> bool:
    """“… the board is held by two screws”, “the lower board has another three”: something is told of a thing."""
    following = next_low(tokens, index)
    if tokens[index].low.endswith("'s") and following == "got":
        return mentioned.at.get(index) is not None or tokens[index - 1].low in {"the", "this", "that"}
    subject = mentioned.at.get(index - 1)
    if subject is None or tokens[index].gap > Gap.HYPHEN:
        return False
    if subject.lead is not None:
        # “On the loudspeaker are two wires”.
        placed = tokens[subject.lead].low in _PLACING and tokens[index].low in {"is", "are"}
        return placed and following in _SOME | {"hiding", "hidden"} and following not in {"this", "that", "it"}
    if tokens[index].low in _SITS:
        return True
    if tokens[index].low in {"is", "are"} and following in _PLACING:
        return True
    if tokens[index].low in {"is", "are"}:
        after = tokens[index + 2].low if index + 2 < len(tokens) else ""
        return following in _HELD or (following in {"also", "just", "only"} and after in _HELD)
    return tokens[index].low in {"has", "have"} and (following in _SOME or following == "another")


def denied(tokens: Tokens, index: int) -> bool:
    """“Do not throw it away” scraps nothing."""
    return index > 0 and tokens[index].gap <= Gap.HYPHEN and tokens[index - 1].low in cues.NOT_SCRAP


_TRAYS: Final = words("tray cup dish pot lid bag tub mat pile magnet pocket drawer jar bowl")


def kept(tokens: Tokens, after: int) -> bool:
    """“Toss them in my little tray” keeps them."""
    near = tokens[after : after + 5]
    return bool(near) and near[0].low in {"in", "into", "on", "onto"} and any(t.low in _TRAYS for t in near)


def scraps(tokens: Tokens, index: int, fresh: bool) -> bool:
    """A single word such as “bin” or “scrap” is a verb at the start, after “and”, or before the thing."""
    low = tokens[index].low
    if low in {"discard", "renew"}:
        return True
    before = tokens[index - 1].low if index else ""
    return fresh or tokens[index].gap >= Gap.COMMA or before in {"and", "then", "please", "always", "or", "so"}


def only_a_word(tokens: Tokens, index: int, size: int) -> bool:
    """“Mind”, “watch”, “caution” and the like are cautions only at a start."""
    low = tokens[index].low
    before = tokens[index - 1].low if index and tokens[index].gap < Gap.COMMA else ""
    if size == 1 and low in {"watch", "mind", "attention", "caution", "warning", "danger", "important", "avoid", "nb"}:
        if before in DETERMINERS or before in {"you", "i", "don't", "this", "in", "for", "your", "thanks"}:
            return True
        if low == "watch":
            return next_low(tokens, index) not in {"the", "your", "that", "those"}
    return False


def forbidden(tokens: Tokens, index: int) -> int:
    """Return the length of “don't”, “do not”, “never” or “please not” before a verb that it forbids; 0 when none."""
    low = tokens[index].low
    if low == "not":
        asked = index > 0 and tokens[index - 1].low in {"please", "but"}
        return 1 if asked and next_low(tokens, index) in cues.PROHIBITED else 0
    size = 2 if low == "do" and next_low(tokens, index) == "not" else 1 if low in {"don't", "never"} else 0
    verb = index + size
    if size and verb < len(tokens) and (tokens[verb].low in cues.PROHIBITED or FORMS.get(tokens[verb].low)):
        return size
    return 0


def caution_at(tokens: Tokens, index: int, fresh: bool) -> int:
    """Return the length of the words that begin a caution here; 0 when none do."""
    if tokens[index].low == "notice" and fresh and index + 1 < len(tokens):
        return 1 if tokens[index + 1].gap is Gap.BRACKET else 0
    found = cues.CAUTION.at(tokens, index)
    return found[0] if found else 0


def goes_on(after: Token | None) -> bool:
    """“It then comes away” tells no order, “bin it then undo …” does."""
    low = after.low if after else ""
    return FORMS.get(low, ("", ""))[1] == "third" or low in {"is", "are", "can", "will"}


def after_subject(tokens: Tokens, index: int, after: Token | None) -> bool:
    """“The loudspeaker now comes away”: no order is told."""
    if after is None or tokens[index].gap >= Gap.COMMA or tokens[index - 1].low not in NOUN:
        return False
    return FORMS.get(after.low, ("", ""))[1] == "third" or after.low in {"is", "are", "can", "comes"}
