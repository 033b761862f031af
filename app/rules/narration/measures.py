"""Torques and durations as people write and say them."""

import re
from decimal import Decimal
from typing import Final

from app.rules.narration.numbers import number_at
from app.rules.narration.tokens import Gap, Phrases, Tokens

_TORQUES: Final = Phrases(
    [
        *((unit, Decimal(1)) for unit in (
            "newton centimetres", "newton centimeters", "newton centimetre", "newton centimeter", "ncm", "n cm", "cnm",
            "centinewton metres", "centinewton meters",
        )),
        *((unit, Decimal(100)) for unit in (
            "newton metres", "newton meters", "newton metre", "newton meter", "nm", "n m",
        )),
        *((unit, Decimal("11.29848290276167")) for unit in (
            "inch pounds", "inch pound", "pound inches", "in lb", "in lbs", "lbf in", "lb in",
        )),
        *((unit, Decimal("9.80665")) for unit in ("kgf cm", "kilogram centimetres", "kilogram centimeters", "kg cm")),
    ]
)  # fmt: skip
"""Newton centimetres in one of each: 1 lbf·in = 0.1129848… N·m and 1 kgf = 9.80665 N, both exact by definition."""
_DURATIONS: Final = Phrases(
    [
        *((unit, 1) for unit in ("second", "seconds", "sec", "secs", "s")),
        *((unit, 60) for unit in ("minute", "minutes", "min", "mins")),
        *((unit, 3600) for unit in ("hour", "hours", "hr", "hrs", "h")),
    ]
)
_SET: Final = Phrases([("half an hour", 1800), ("half a minute", 30), ("a minute", 60), ("an hour", 3600)])
_SPOKEN: Final = {
    "zero": "0", "oh": "0", "nought": "0", "one": "1", "two": "2", "three": "3", "four": "4", "five": "5", "six": "6",
    "seven": "7", "eight": "8", "nine": "9",
}  # fmt: skip
_JOINED: Final = re.compile(r"(\d{1,5}(?:[.,]\d{1,3})?)([a-z]+)")
_PLAIN: Final = re.compile(r"\d{1,5}(?:[.,]\d{1,3})?")


def _amount(tokens: Tokens, index: int) -> tuple[Decimal, int] | None:
    """Return an exact amount and its number of words: “12”, “1.2”, “twelve”, “one point two”, “point one two”."""
    low = tokens[index].low
    if index and tokens[index - 1].low == "point":
        return None
    if _PLAIN.fullmatch(low):
        return Decimal(low.replace(",", ".")), 1
    whole = number_at(tokens, index) if low != "point" else None
    if low != "point" and (whole is None or not whole.value):
        zero = low in {"zero", "nought"} and index + 1 < len(tokens) and tokens[index + 1].low == "point"
        if not zero:
            return None
    size = whole.size if whole else (0 if low == "point" else 1)
    digits = _digits(tokens, index + size)
    if digits:
        return Decimal(f"{whole.value if whole else 0}.{digits}"), size + 1 + len(digits)
    return (Decimal(whole.value), size) if whole and whole.value else None


def _digits(tokens: Tokens, index: int) -> str:
    """Return the digits spoken behind “point”."""
    found = ""
    if index < len(tokens) and tokens[index].low == "point":
        for token in tokens[index + 1 : index + 4]:
            digit = _SPOKEN.get(token.low, token.low if token.low.isdecimal() and len(token.low) == 1 else "")
            if not digit:
                break
            found += digit
    return found


def torque_at(tokens: Tokens, index: int) -> tuple[Decimal, int] | None:
    """Return the torque that begins at a word in newton centimetres, and its number of words; None when none does."""
    joined = _JOINED.fullmatch(tokens[index].low)
    if joined and joined[2] in {"ncm", "nm", "cnm"}:
        return Decimal(joined[1].replace(",", ".")) * (100 if joined[2] == "nm" else 1), 1
    amount = _amount(tokens, index)
    if amount is None or index + amount[1] >= len(tokens):
        return None
    unit = _TORQUES.at(tokens, index + amount[1], Gap.BRACKET)
    return (amount[0] * unit[1], amount[1] + unit[0]) if unit and amount[0] > 0 else None


def duration_at(tokens: Tokens, index: int) -> tuple[int, int] | None:
    """Return the time that begins at a word in whole seconds, and its number of words; None when none does."""
    fixed = _SET.at(tokens, index)
    if fixed:
        return fixed[1], fixed[0]
    joined = _JOINED.fullmatch(tokens[index].low)
    if joined and joined[2] in {"s", "sec", "min", "h"}:
        return int(Decimal(joined[1].replace(",", ".")) * {"s": 1, "sec": 1, "min": 60, "h": 3600}[joined[2]]), 1
    amount = _amount(tokens, index)
    if amount is None or index + amount[1] >= len(tokens):
        return None
    unit = _DURATIONS.at(tokens, index + amount[1])
    return (int(amount[0] * unit[1]), amount[1] + unit[0]) if unit else None
