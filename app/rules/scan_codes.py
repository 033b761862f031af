"""Our own label codes: what a label's QR holds, and what it means when it is scanned.

A code is ``CB``, a letter for its kind, its fields, and one check character (ISO 7064 MOD 37,36) over all of
it. It has capital letters and digits only: QR stores them at 5.5 bits a character, and a scanner that works as
a keyboard types them alike whatever the keyboard's layout does with dashes and dots. Every other character of
a field is written as ``X`` and more: ``XD`` a dash, ``XP`` a dot, ``XX`` the letter itself, ``XL`` before a
small letter, ``XH`` and two hexadecimal digits a byte of UTF-8; ``XF`` stands between two fields.

==== ============== =========================
kind what it is on  fields
==== ============== =========================
J    a job          number
T    a tray pocket  job number, pocket
S    a shelf place  location code
L    a lot          part number, lot code
==== ============== =========================
"""

import re
from dataclasses import dataclass
from enum import StrEnum

from stdnum.iso7064 import mod_37_36

from app.rules.identifiers import label_with_check
from app.rules.verdict import Refused

PREFIX = "CB"
POCKET_MAX = 999
FIELD_MAX = 64
"""Longest field, in characters as they are read; the longest there is, a lot code, has 48."""

NOT_OURS = "Not one of our labels. Scan the square code of a job, a tray pocket, a place or a lot."
MISREAD = "Misread: scan again."

_PLAIN = re.compile(r"[0-9A-WYZ]")
_SIGNS = {"-": "D", ".": "P", "/": "S", " ": "B", "_": "U", "X": "X"}
_MEANS = {mark: sign for sign, mark in _SIGNS.items()}
_PIECE = re.compile(r"[0-9A-WYZ]|X[DPSBUX]|XL[A-Z]|(?:XH[0-9A-F]{2})+")
_CODE = re.compile(rf"{PREFIX}([JTSL])([0-9A-Z]+)")


class ScanKind(StrEnum):
    """What a label is on; the value is the letter in its code."""

    JOB = "J"
    TRAY = "T"
    SHELF = "S"
    LOT = "L"


_FIELDS = {ScanKind.JOB: 1, ScanKind.TRAY: 2, ScanKind.SHELF: 1, ScanKind.LOT: 2}


@dataclass(frozen=True, slots=True)
class ScanCode:
    """What a label says. Of ``job``, ``pocket``, ``location``, ``part`` and ``lot`` those of its kind are set."""

    kind: ScanKind
    job: str = ""
    pocket: int = 0
    location: str = ""
    part: str = ""
    lot: str = ""


def job_code(number: str) -> str:
    """Return the code of a job's label."""
    return _format(ScanKind.JOB, number)


def tray_code(number: str, pocket: int) -> str:
    """Return the code of one tray pocket of a job. Raises ValueError unless the pocket is 1 to 999."""
    if not 1 <= pocket <= POCKET_MAX:
        raise ValueError(f"a tray pocket is numbered from 1 to {POCKET_MAX}")
    return _format(ScanKind.TRAY, number, str(pocket))


def shelf_code(location: str) -> str:
    """Return the code of a place on a shelf."""
    return _format(ScanKind.SHELF, location)


def lot_code(part: str, lot: str) -> str:
    """Return the code of a lot of a part."""
    return _format(ScanKind.LOT, part, lot)


def _format(kind: ScanKind, *fields: str) -> str:
    for text in fields:
        if not text or len(text) > FIELD_MAX:
            raise ValueError(f"a label's field has 1 to {FIELD_MAX} characters")
    return label_with_check(PREFIX + kind + "XF".join(_written(text) for text in fields))


def parse(text: str, field: str | None = None) -> ScanCode:
    """Return what a scanned or typed label code says.

    Spaces around it and small letters are forgiven, as a keyboard with its capitals lock on the wrong way types
    them. Raises Refused: NOT_OURS for what no label of ours carries, MISREAD when it is one that was read wrongly.
    """
    code = "".join(text.split()).upper()
    if not code.isascii():  # Some letters become several in capitals, so this comes after.
        raise Refused(NOT_OURS, field)
    found = _CODE.fullmatch(code)
    if not found:
        raise Refused(NOT_OURS, field)
    if not mod_37_36.is_valid(code):
        raise Refused(MISREAD, field)
    kind = ScanKind(found[1])
    fields = _read(found[2][:-1])
    if fields is None or len(fields) != _FIELDS[kind] or _format(kind, *fields) != code:
        raise Refused(MISREAD, field)
    if kind is ScanKind.JOB:
        return ScanCode(kind, job=fields[0])
    if kind is ScanKind.SHELF:
        return ScanCode(kind, location=fields[0])
    if kind is ScanKind.LOT:
        return ScanCode(kind, part=fields[0], lot=fields[1])
    if not re.fullmatch(r"[1-9][0-9]{0,2}", fields[1]):
        raise Refused(MISREAD, field)
    return ScanCode(kind, job=fields[0], pocket=int(fields[1]))


def _written(text: str) -> str:
    found = []
    for sign in text:
        if _PLAIN.fullmatch(sign):
            found.append(sign)
        elif sign in _SIGNS:
            found.append("X" + _SIGNS[sign])
        elif "a" <= sign <= "z":
            found.append("XL" + sign.upper())
        else:
            found += [f"XH{byte:02X}" for byte in sign.encode()]
    return "".join(found)


def _read(written: str) -> list[str] | None:
    """Return the fields of a payload, or None when it is not one that ``_format`` writes."""
    fields = [""]
    at = 0
    while at < len(written):
        if written.startswith("XF", at):
            fields.append("")
            at += 2
            continue
        piece = _PIECE.match(written, at)
        if piece is None:
            return None
        text = _meaning(piece[0])
        if text is None:
            return None
        fields[-1] += text
        at = piece.end()
    return fields if all(0 < len(text) <= FIELD_MAX for text in fields) else None


def _meaning(piece: str) -> str | None:
    if len(piece) == 1:
        return piece
    if piece.startswith("XH"):
        try:
            return bytes.fromhex(piece.replace("XH", "")).decode()
        except UnicodeDecodeError:
            return None
    return piece[2].lower() if piece[1] == "L" else _MEANS[piece[1]]
