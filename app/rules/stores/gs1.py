"""Bar codes with lot and expiry: GS1 element strings as a scanner sends them or a person copies them.

Read: GTIN (01), lot (10), expiry (17) and serial (21); other application identifiers are stepped over and kept. Forms:
GS1-128, GS1 DataMatrix, GS1 QR code with or without the symbology identifier, variable fields ended by FNC1 (sent
as the group separator, character 29); the human-readable form with parentheses; and a plain GTIN. Source: GS1 General
Specifications, sections 3 (application identifiers), 7.8 (element strings) and 7.12 (century of dates), from memory.
"""

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import date
from typing import Final

from app.rules.identifiers import clean_gtin
from app.rules.verdict import Refused

SEPARATOR: Final = "\x1d"
# What scanners and terminals make of the separator when they cannot send it.
_SEPARATOR_SIGNS: Final = ("\u241d", "<GS>", "{GS}", "[GS]", "<FNC1>", "{FNC1}", "[FNC1]")
_SYMBOLOGY: Final = re.compile(r"\][A-Za-z][0-9A-Za-z]")
_GS1_SYMBOLS: Final = frozenset({"]C1", "]d2", "]Q3", "]e0", "]J1"})
_PLAIN_SYMBOLS: Final = frozenset({"]E0", "]E4", "]I1"})
# Total length, identifier included, of the fields that need no separator (figure "predefined length").
_FIXED: Final = {
    "00": 20, "01": 16, "02": 16, "03": 16, "04": 18, **{f"{n}": 8 for n in range(11, 20)}, "20": 4,
    **{f"{n}": 10 for n in range(31, 37)}, "41": 16,
}  # fmt: skip
_THREE_DIGITS: Final = ("23", "24", "25", "40", "41", "42", "71")
_FOUR_DIGITS: Final = ("31", "32", "33", "34", "35", "36", "39", "43", "70", "72", "80", "81", "82")
_TEXT: Final = re.compile(r"[!\"%&'()*+,\-./0-9:;<=>?A-Z_a-z]{1,20}")
_NAMES: Final = {"01": "GTIN", "10": "lot", "17": "expiry date", "21": "serial number"}


@dataclass(frozen=True, slots=True)
class Scanned:
    """What a label says; None where it does not say. ``others`` are further fields as (identifier, text)."""

    gtin: str
    lot: str | None = None
    expires: date | None = None
    serial: str | None = None
    others: tuple[tuple[str, str], ...] = ()


def read_label(text: str, today: date, field: str | None = None) -> Scanned:
    """Return what a scanned or copied label says; ``today`` settles the century of the expiry date.

    Raises Refused in words when it is no such label or a field is at fault: then nothing of it is used.
    """
    code = _plain(text, field)
    if not code:
        raise Refused("Scan the bar code, or type the digits under it.", field)
    if code.startswith("("):
        pairs = _readable(code, field)
    elif code.isdigit() and len(code) in (8, 12, 13, 14):
        return Scanned(clean_gtin(code, field))
    else:
        pairs = _element_string(code, field)
    return _scanned(pairs, today, field)


def _plain(text: str, field: str | None) -> str:
    code = text.strip(" \t\r\n")
    for sign in _SEPARATOR_SIGNS:
        code = code.replace(sign, SEPARATOR)
    found = _SYMBOLOGY.match(code)
    if found:
        if found.group() not in _GS1_SYMBOLS | _PLAIN_SYMBOLS:
            raise Refused(
                "This bar code is not a GS1 one, so it does not say what is a lot and what a date. "
                "Scan the other code on the label, or type lot and expiry.",
                field,
            )
        code = code[3:]
    return code.strip(SEPARATOR)


def _readable(code: str, field: str | None) -> list[tuple[str, str]]:
    """Split the form with parentheses. A lot may contain them too: only digits in them begin a field."""
    parts = re.split(r"\((\d{2,4})\)", code.replace(SEPARATOR, ""))
    if parts[0]:
        raise Refused("The text begins before the first field in parentheses. Copy the whole line.", field)
    return [(ai, value.strip()) for ai, value in zip(parts[1::2], parts[2::2], strict=True)]


def _element_string(code: str, field: str | None) -> list[tuple[str, str]]:
    pairs: list[tuple[str, str]] = []
    left = code
    while left:
        head = left[:2]
        if not re.fullmatch(r"[0-9]{2}", head):
            raise Refused(f"The bar code cannot be read from '{left[:6]}' on. Scan it again.", field)
        digits = 4 if head in _FOUR_DIGITS else 3 if head in _THREE_DIGITS else 2
        length = _FIXED.get(head)
        if length is None:
            value, _sep, rest = left[digits:].partition(SEPARATOR)
        else:
            value, rest = left[digits:length], left[length:]
            if len(left) < length or SEPARATOR in value:
                raise Refused(f"The bar code breaks off in field {left[:digits]}. Scan it again.", field)
            rest = rest.removeprefix(SEPARATOR)
        pairs.append((left[:digits], value))
        left = rest
    return pairs


def _scanned(pairs: list[tuple[str, str]], today: date, field: str | None) -> Scanned:
    known: dict[str, str] = {}
    others: list[tuple[str, str]] = []
    for ai, value in pairs:
        if ai not in _NAMES:
            others.append((ai, value))
        elif known.setdefault(ai, value) != value:
            raise Refused(f"The label gives two different values for the {_NAMES[ai]}. Scan one label only.", field)
    if "01" not in known:
        raise Refused("The label has no GTIN (01), so the part cannot be found by it. Scan the other code.", field)
    if len(known["01"]) != 14:
        raise Refused(f"The GTIN in field 01 has 14 digits; here are {len(known['01'])}. Scan it again.", field)
    return Scanned(
        gtin=clean_gtin(known["01"], field),
        lot=_text("10", known, field),
        expires=_expiry(known["17"], today, field) if "17" in known else None,
        serial=_text("21", known, field),
        others=tuple(others),
    )


def _text(ai: str, known: dict[str, str], field: str | None) -> str | None:
    value = known.get(ai)
    if value is None:
        return None
    name = _NAMES[ai]
    if not value:
        raise Refused(f"The {name} on the label is empty. Type it from the label.", field)
    if len(value) > 20:
        raise Refused(
            f"The {name} has {len(value)} characters and may have 20: the scanner seems to leave out the sign between "
            "the fields (FNC1). Type the fields, and have the scanner set to send it.",
            field,
        )
    if not _TEXT.fullmatch(value):
        raise Refused(f"The {name} has a character that no GS1 label may carry. Scan it again.", field)
    return value


def _expiry(digits: str, today: date, field: str | None) -> date:
    if not re.fullmatch(r"[0-9]{6}", digits):
        raise Refused("The expiry date in field 17 has six digits: year, month, day. Scan it again.", field)
    year, month, day = century_year(int(digits[:2]), today), int(digits[2:4]), int(digits[4:])
    if not 1 <= month <= 12:
        raise Refused(f"The expiry date {digits} has no month {digits[2:4]}. Type the date from the label.", field)
    last = monthrange(year, month)[1]
    if day > last:
        raise Refused(f"The expiry date {digits} has no day {digits[4:]}. Type the date from the label.", field)
    # Day 00 means the month alone was given: usable to its end.
    return date(year, month, day or last)


def century_year(two_digits: int, today: date) -> int:
    """Return the year of two digits (GS1 General Specifications, 7.12): 49 years back to 50 years ahead.

    Two digits less this year's last two: from 51 on the century before, from −50 down the century after.
    """
    difference = two_digits - today.year % 100
    shift = -100 if difference >= 51 else 100 if difference <= -50 else 0
    return today.year - today.year % 100 + two_digits + shift
