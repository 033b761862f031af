"""Counts as people write and say them: 4, 4x, half a dozen, a pair of, both, the remaining two, all six."""

from dataclasses import dataclass
from functools import cache
from typing import Final

from text_to_num import text2num

from app.rules.narration.tokens import Gap, Phrases, Tokens
from app.rules.narration.wordlist import words

LARGEST: Final = 200
"""The largest count a fixing can have (``sheet.Count``)."""

_UNITS: Final = words("one two three four five six seven eight nine")
_TEENS: Final = words("ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
_ALOUD: Final = (
    "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
)  # fmt: skip
_TENS: Final = words("twenty thirty forty fifty sixty seventy eighty ninety")
NUMBER_WORDS: Final = frozenset([*_UNITS, *_TEENS, *_TENS, "hundred"])
_FIXED: Final = Phrases(
    [
        ("half a dozen", 6), ("half dozen", 6), ("a half dozen", 6), ("a dozen", 12), ("one dozen", 12), ("dozen", 12),
        ("two dozen", 24), ("a pair of", 2), ("one pair of", 2), ("pair of", 2), ("a couple of", 2), ("a couple", 2),
        ("couple of", 2), ("couple", 2), ("both", 2), ("both of", 2), ("both the", 2), ("both of the", 2),
        ("a single", 1), ("single", 1), ("two pairs of", 4), ("three pairs of", 6), ("a trio of", 3),
    ]
)  # fmt: skip
_FIRST: Final = NUMBER_WORDS | words("half a dozen one two pair couple both single three")
VAGUE: Final = words("several few some many various numerous multiple couple")
_ABOUT: Final = words("about around roughly approximately like maybe perhaps circa ca probably nearly almost")


@dataclass(frozen=True, slots=True)
class Number:
    """A count over ``size`` words. ``exact`` is False after “about”, or where two numbers are said for one."""

    value: int | None
    size: int
    exact: bool = True
    both: bool = False


def number_at(tokens: Tokens, index: int) -> Number | None:
    """Return the count that begins at a word; None when there is none. ``two or three`` has the value None."""
    low = tokens[index].low
    if low not in _FIRST and not low[0].isdecimal():
        return None
    fixed = _FIXED.at(tokens, index)
    if fixed:
        size, value = fixed
        said = tokens[index].low
        return Number(value, size, _exact(tokens, index) and "couple" not in said, both=said == "both")
    first = _plain(tokens, index)
    if first is None:
        return None
    after = index + first.size
    if after + 1 < len(tokens) and tokens[after].low in {"or", "to"} and tokens[after].gap <= Gap.HYPHEN:
        second = _plain(tokens, after + 1)
        if second and tokens[after + 1].gap is Gap.NONE:
            return Number(None, first.size + 1 + second.size, exact=False)
    if after < len(tokens) and tokens[after].gap is Gap.HYPHEN and tokens[after].low.isdecimal():
        return Number(None, first.size + 1, exact=False)
    again = after < len(tokens) and tokens[after].gap is Gap.BRACKET and tokens[after].low == str(first.value)
    return Number(first.value, first.size + again, _exact(tokens, index))


def _exact(tokens: Tokens, index: int) -> bool:
    return not (index and tokens[index - 1].low in _ABOUT and tokens[index].gap is Gap.NONE)


def _plain(tokens: Tokens, index: int) -> Number | None:
    low = tokens[index].low
    if low.isdecimal() and low.isascii():
        return _digits(tokens, index, low)
    for cross in ("x", "×"):
        bare = low.removesuffix(cross)
        if bare != low and bare.isdecimal() and bare.isascii():
            return Number(_within(bare), 1)
    if low not in NUMBER_WORDS:
        return None
    counted = _counted_off(tokens, index)
    if counted:
        return Number(counted, counted)
    size = 1
    while (
        size < 4
        and index + size < len(tokens)
        and tokens[index + size].low in NUMBER_WORDS
        and tokens[index + size].gap <= Gap.HYPHEN
    ):
        size += 1
    for length in range(size, 0, -1):
        value = _spelt(" ".join(token.low for token in tokens[index : index + length]))
        if value is not None:
            return Number(value if 1 <= value <= LARGEST else None, length)
    return None


def _counted_off(tokens: Tokens, index: int) -> int:
    """“One two three four screws”, counted aloud: return four; 0 when fewer than three are counted."""
    size = 0
    while (
        size < len(_ALOUD) and index + size < len(tokens) and tokens[index + size].low == _ALOUD[size]
        and (size == 0 or tokens[index + size].gap <= Gap.COMMA)
    ):  # fmt: skip
        size += 1
    return size if size > 2 else 0


def _digits(tokens: Tokens, index: int, low: str) -> Number:
    """Read “4”, “4 x”, “4 off” or “4 pieces”."""
    size = 1
    if index + 1 < len(tokens) and tokens[index + 1].gap <= Gap.HYPHEN:
        following = tokens[index + 1].low
        if following in {"x", "×", "pcs", "pc", "pieces", "no", "nos"} or (
            following == "off" and index + 2 < len(tokens) and tokens[index + 2].low not in {"the", "a"}
        ):
            size = 2
    return Number(_within(low), size)


def _within(digits: str) -> int | None:
    value = int(digits) if len(digits) < 6 else 0
    return value if 1 <= value <= LARGEST else None


@cache
def _spelt(words: str) -> int | None:
    try:
        return int(text2num(words, "en"))
    except ValueError:
        return None
