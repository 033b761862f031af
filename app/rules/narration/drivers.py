"""Driver sizes, however spelt or spoken: T5 (ISO 10664), PH0 (ISO 8764), and a few more."""

import re
from dataclasses import dataclass
from typing import Final

from app.rules.narration.numbers import NUMBER_WORDS, number_at
from app.rules.narration.tokens import Gap, Tokens
from app.rules.narration.wordlist import words

HEXALOBULAR: Final = frozenset([*range(1, 11), 15, 20, 25, 27, 30, 40, 45, 50, 55, 60, 70, 80, 90, 100])
"""Sizes of hexalobular drivers (ISO 10664 for T6 and up; the smaller ones are the trade's; from memory)."""
CROSS: Final = frozenset({"0000", "000", "00", "0", "1", "2", "3", "4"})
"""Sizes of cross-head drivers (ISO 8764-1 names PH0 to PH4; the smaller ones are the trade's; from memory)."""

_T_NAMES: Final = frozenset({"torx", "hexalobular", "hexalobe", "star", "tx", "sixlobe", "torks"})
_PH_NAMES: Final = frozenset({"phillips", "philips", "phillip", "philip", "crosshead", "crosspoint"})
_PZ_NAMES: Final = frozenset({"pozi", "pozidriv", "pozidrive", "posidrive"})
_P_NAMES: Final = frozenset({"pentalobe", "pentalobular"})
_ZERO: Final = frozenset({"zero", "oh", "o", "nought", "naught", "nil", "0"})
_REPEAT: Final = {"double": 2, "triple": 3}
_LINK: Final = frozenset({"number", "size", "no", "nr", "a", "head", "driver", "bit", "sized"})
_FIRST: Final = (
    _T_NAMES
    | _PH_NAMES
    | _PZ_NAMES
    | _P_NAMES
    | _ZERO
    | NUMBER_WORDS
    | words("t tee tx p ph number size no cross six double triple")
)
_COMPACT: Final = re.compile(r"(tx|t|ph|pz|p)(0{1,4}|[1-9]\d{0,2})")
_DEVICE: Final = words(
    "terminal handset radio pager tablet scanner device unit phone camera logger recorder model series alarm beacon"
)


@dataclass(frozen=True, slots=True)
class Driver:
    """A size as standard code over ``size`` words; ``known`` is False when no driver of that size is made."""

    code: str
    size: int
    known: bool


def driver_at(tokens: Tokens, index: int) -> Driver | None:
    """Return the driver size that begins at a word, or None."""
    low = tokens[index].low
    if low not in _FIRST and not low[-1].isdecimal():
        return None
    return _compact(tokens, index) or _named(tokens, index) or _spelt(tokens, index) or _numbered(tokens, index)


def _made(family: str, size: str, words: int) -> Driver | None:
    if not size or (family != "PH" and size.startswith("0")):
        return None
    if family == "T":
        return Driver(f"T{size}", words, int(size) in HEXALOBULAR)
    if family == "PH":
        return Driver(f"PH{size}", words, size in CROSS)
    return Driver(f"{family}{size}", words, int(size) <= 8)


def _compact(tokens: Tokens, index: int) -> Driver | None:
    """Read “T5”, “TX10”, “PH00” written in one."""
    match = _COMPACT.fullmatch(tokens[index].low)
    if not match:
        return None
    family = {"tx": "T", "t": "T", "ph": "PH", "pz": "PZ", "p": "P"}[match[1]]
    if family == "P" and not _near(tokens, index, _P_NAMES | {"driver", "screwdriver", "bit"}):
        return None
    if family == "T" and _is_device(tokens, index):
        return None
    return _made(family, match[2], 1)


def _is_device(tokens: Tokens, index: int) -> bool:
    """“Smew T1 terminal” names a device, not a driver."""
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    if after and after.low in _DEVICE and after.gap is Gap.NONE:
        return True
    before = tokens[index - 1] if index else None
    return bool(
        before
        and tokens[index].gap is Gap.NONE
        and before.gap < Gap.HARD
        and before.text[0].isupper()
        and before.low not in _T_NAMES | _LINK | {"use", "driver", "bits", "drivers"}
        and not before.text.isupper()
    )


def _near(tokens: Tokens, index: int, names: frozenset[str]) -> bool:
    return any(token.low in names for token in tokens[max(0, index - 2) : index + 3])


def _family(tokens: Tokens, index: int) -> tuple[str, int] | None:
    """Return the family named at a word and how many words name it."""
    low = tokens[index].low
    for names, family in ((_T_NAMES, "T"), (_PH_NAMES, "PH"), (_PZ_NAMES, "PZ"), (_P_NAMES, "P")):
        if low in names:
            return family, 1
    if low == "cross" and index + 1 < len(tokens) and tokens[index + 1].low in {"head", "point", "recess"}:
        return "PH", 2
    if low == "six" and index + 1 < len(tokens) and tokens[index + 1].low in {"lobe", "lobed"}:
        return "T", 2
    return None


def _named(tokens: Tokens, index: int) -> Driver | None:
    """Read “torx 9”, “star six”, “phillips number zero”, “cross-head double-oh”, “torx T5”."""
    family = _family(tokens, index)
    if not family:
        return None
    name, at = family[0], index + family[1]
    while at < len(tokens) and at - index < 4 and tokens[at].low in _LINK and tokens[at].gap <= Gap.HYPHEN:
        at += 1
    if at >= len(tokens) or tokens[at].gap > Gap.HYPHEN:
        return None
    match = _COMPACT.fullmatch(tokens[at].low)
    if match:
        return _made(name, match[2], at + 1 - index)
    spelt = _spelt(tokens, at)
    if spelt and spelt.code.startswith(name):
        return Driver(spelt.code, at - index + spelt.size, spelt.known)
    size = _size(tokens, at)
    return _made(name, size[0], at + size[1] - index) if size else None


def _spelt(tokens: Tokens, index: int) -> Driver | None:
    """Read “tee five”, “T 5”, “T-5”, “p h two”, “P-H zero”."""
    low = tokens[index].low
    family, at = ("T", index + 1) if low in {"t", "tee", "tx"} else ("PH", index + 1)
    if family == "PH" and low == "p" and index + 1 < len(tokens) and tokens[index + 1].low in {"h", "aitch"}:
        at = index + 2
    elif family == "PH" and low not in {"ph", "pee-aitch"}:
        return None
    if at >= len(tokens) or tokens[at].gap > Gap.HYPHEN:
        return None
    size = _size(tokens, at)
    return _made(family, size[0], at + size[1] - index) if size else None


def _numbered(tokens: Tokens, index: int) -> Driver | None:
    """Read “number five hexalobular”, “size 6 torx”, “number two phillips”, “5 torx”."""
    at = index
    if tokens[at].low in {"number", "size", "no"}:
        at += 1
    if at >= len(tokens) or (at > index and tokens[at].gap > Gap.BRACKET):
        return None
    size = _size(tokens, at)
    if not size or at + size[1] >= len(tokens) or tokens[at + size[1]].gap > Gap.HYPHEN:
        return None
    named = _family(tokens, at + size[1])
    if not named or (at == index and _is_count(tokens, at + size[1] + named[1])):
        return None
    return _made(named[0], size[0], at + size[1] + named[1] - index)


def _is_count(tokens: Tokens, after: int) -> bool:
    """“five torx screws” and “five torx T6 screws” tell a count of screws, not a size."""
    if after >= len(tokens):
        return False
    size_follows = tokens[after].gap <= Gap.HYPHEN and (_COMPACT.fullmatch(tokens[after].low) or _spelt(tokens, after))
    return bool(size_follows) or tokens[after].low in {"screws", "bolts", "screw", "head", "ones"}


def _size(tokens: Tokens, index: int) -> tuple[str, int] | None:
    """Return a size as digits and how many words it takes: “zero zero” is 00, “twenty” is 20."""
    low = tokens[index].low
    if low in _REPEAT and index + 1 < len(tokens) and tokens[index + 1].low in _ZERO:
        return "0" * _REPEAT[low], 2
    zeros = 0
    while index + zeros < len(tokens) and zeros < 4 and tokens[index + zeros].low in _ZERO:
        if zeros and tokens[index + zeros].gap > Gap.HYPHEN:
            break
        zeros += 1
    if zeros:
        return "0" * zeros, zeros
    if re.fullmatch(r"0{1,4}", low):
        return low, 1
    number = number_at(tokens, index)
    return (str(number.value), number.size) if number and number.value and number.size <= 2 else None
