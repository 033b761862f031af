"""What the describing words make of a noun."""

from enum import StrEnum
from typing import Final

from app.rules.narration.vocabulary import (
    LATCHES,
)
from app.rules.narration.wordlist import words
from app.rules.sheet import FixingKind

_SOFT: Final = words("felt foam rubber sealing sponge silicone o")


_STICKY: Final = words("adhesive sticky glue gluey tape sided bonding")


_FLAT: Final = words("flat ribbon flex flexible fpc ffc zif")


_LOCKS: Final = LATCHES | {"lock", "lever", "bar"}


class Sort(StrEnum):
    """What a mention names."""

    FIXING = "fixing"
    UNIT = "unit"
    TOOL = "tool"


def refined(
    sort: Sort, kind: FixingKind | None, noun: str, modifiers: set[str]
) -> tuple[Sort, FixingKind | None, bool]:
    """Return what the describing words make of a noun: a pull tab is adhesive, a rubber plug a seal."""
    latch = noun in LATCHES
    if noun in _LOCKS and modifiers & (_FLAT | {"connector", "plug", "socket"}):
        flat = bool(modifiers & _FLAT)
        return Sort.FIXING, FixingKind.FLEX if flat else FixingKind.CONNECTOR, False
    if noun == "tab" and modifiers & {"pull", "stretch", "adhesive", "release"}:
        return Sort.FIXING, FixingKind.ADHESIVE, False
    if noun == "clip" and modifiers & {"belt", "pocket"}:
        return Sort.FIXING, FixingKind.COVER, False
    if modifiers & {"shield", "shielding", "emi"} and kind in {FixingKind.COVER, None}:
        return Sort.FIXING, FixingKind.SHIELD, False
    if kind in {FixingKind.ADHESIVE, FixingKind.CONNECTOR} and noun in {"strip", "plug"} and modifiers & _SOFT:
        return Sort.FIXING, FixingKind.SEAL, False
    if noun in {"ring", "strip", "frame", "gasket", "sheet"} and modifiers & _STICKY:
        return Sort.FIXING, FixingKind.ADHESIVE, False
    if noun == "cable" and modifiers & _FLAT:
        return Sort.FIXING, FixingKind.FLEX, False
    return sort, kind, latch
