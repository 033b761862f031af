"""How many a mention names: before its noun, behind it, or by its labels."""

import re
from typing import Final

from app.rules.narration.numbers import VAGUE, Number, number_at
from app.rules.narration.tokens import Gap, Tokens
from app.rules.narration.vocabulary import (
    DETERMINERS,
    PREPOSITIONS,
)
from app.rules.narration.wordlist import words

_MASS: Final = words("adhesive tape glue foam paste foil felt mesh packing shielding")


_SETS: Final = words(
    "set row group series bunch total number lot handful piece pieces strip strips bit bits layer layers length ring"
)


_PIECES: Final = words("piece pieces strip strips bit bits layer layers length lengths")


def told_twice(tokens: Tokens, at: int) -> bool:
    """“six (6) screws”."""
    return (
        0 < at < len(tokens)
        and tokens[at].gap is Gap.BRACKET
        and tokens[at - 1].gap is Gap.BRACKET
        and tokens[at - 1].low.isdecimal()
    )


def number_ending(tokens: Tokens, at: int, floor: int) -> Number | None:
    """Return the longest number whose last word is the one before ``at``."""
    best = None
    for start in range(max(floor, at - 4), at):
        number = number_at(tokens, start)
        if (
            number
            and start + number.size == at
            and all(tokens[k].gap <= Gap.HYPHEN or told_twice(tokens, k + 1) for k in range(start + 1, at))
        ):
            best = best or number
    return best


_SIZED: Final = words(
    "x number size step torx phillips philips star tee t tx ph h hexalobular crosshead head pentalobe"
)


def is_measure(tokens: Tokens, start: int, end: int) -> bool:
    """Say whether a number is a measure or a name: “10 mm screws”, “M2 x 5 screws”, “camera two screws”."""
    if end < len(tokens) and tokens[end].low in {
        "mm",
        "millimetre",
        "millimeter",
        "inch",
        "cm",
        "volt",
        "v",
        "pin",
        "way",
    }:
        return True
    return start > 0 and tokens[start - 1].low in _SIZED


def part_of(
    tokens: Tokens, first: int, lead: int, number: Number | None, floor: int
) -> tuple[int, int | None, Number | None]:
    """“Two of the screws” are two; “a set of four screws” are four."""
    part = number_ending(tokens, lead, floor)
    if part:
        first = lead - part.size
        number = Number(part.value, part.size, part.exact)
    elif tokens[lead - 1].low in _SETS | {"all"}:
        first = lead - 1
        # “Six pieces of screw” are six; two rows of screws are not two.
        pieces = number_ending(tokens, first, floor) if tokens[first].low in _PIECES and number is None else None
        if pieces:
            return first - pieces.size, _lead_of(tokens, first - pieces.size), pieces
        if first > floor and tokens[first - 1].low in DETERMINERS:
            first -= 1
    else:
        return first, lead, number
    if first > floor and tokens[first - 1].low == "all":
        first -= 1
    return first, _lead_of(tokens, first), number


def _lead_of(tokens: Tokens, first: int) -> int | None:
    """Return the index of the preposition before a phrase, if one stands there."""
    led = first and tokens[first].gap <= Gap.HYPHEN and tokens[first - 1].low in PREPOSITIONS
    return first - 1 if led else None


def count_after(tokens: Tokens, last: int) -> tuple[Number, int] | None:
    """Read “screws (6)”, “screws x4”, “screws x 4”."""
    if last >= len(tokens):
        return None
    low = tokens[last].low
    if low.startswith("x") and low[1:].isdecimal() and low.isascii() and 0 < int(low[1:][:5]) <= 200:
        return Number(int(low[1:]), 1), last + 1
    if low == "x" and last + 1 < len(tokens) and tokens[last + 1].low.isdecimal():
        number = number_at(tokens, last + 1)
        return (number, last + 2) if number and number.value else None
    if (
        tokens[last].gap is Gap.BRACKET
        and low.isdecimal()
        and (last + 1 == len(tokens) or tokens[last + 1].gap >= Gap.COMMA)
    ):
        number = number_at(tokens, last)
        return (number, last + 1) if number and number.value else None
    return None


_LABEL: Final = re.compile(r"[a-z]{1,4}\d{1,3}")


def _labels(tokens: Tokens, last: int) -> int:
    """Count labels behind a noun: “connectors P1, P2 and P3”."""
    count, k = 0, last
    while k < len(tokens) and k - last < 24 and tokens[k].gap <= Gap.COMMA:
        if _LABEL.fullmatch(tokens[k].low):
            count += 1
        elif tokens[k].low != "and" or not count:
            break
        k += 1
    return count


def count_of(
    tokens: Tokens, first: int, number: Number | None, plural: bool, noun: str, name_from: int, last: int
) -> tuple[int | None, bool]:
    """Return the count and whether it is certain; None when it was not said."""
    each = any(token.low in {"each", "every"} and token.gap <= Gap.HYPHEN for token in tokens[last : last + 2])
    either = any(token.low == "either" and token.gap <= Gap.HYPHEN for token in tokens[last : last + 2])
    if number is not None:
        if number.value == 1 and not plural and each:
            return None, False
        return number.value, number.exact
    words = {tokens[k].low for k in range(first, name_from)}
    if words & {"each", "every", "any"} or words & VAGUE:
        return None, False
    if noun in _MASS and not plural:
        return 1, True
    if plural:
        labels = _labels(tokens, last)
        return (labels, True) if labels > 1 else (None, False)
    if either:
        return 2, True
    return (None, False) if each and words & {"a", "an"} else (1, True)
