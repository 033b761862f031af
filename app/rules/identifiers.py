"""Identifiers with check digits: what was typed or scanned is cleaned, checked and told in plain words.

Every ``clean_…`` function returns the bare identifier or raises Refused with a reason that a
person at the counter can act on. Cleaning takes away spaces, dashes and the like; it never guesses
a character.
"""

import re
import unicodedata

from stdnum import ean, luhn
from stdnum.iso7064 import mod_37_36

from app.rules.verdict import Refused

SERIAL_MAX = 40
"""Longest serial number that is kept, in characters."""

_DASHES = "‐‑‒–—―−﹣－"
_SEPARATORS = re.compile(r"[\s\-./]+")
_DIGITS = re.compile(r"[0-9]+")
_LABEL = re.compile(r"[0-9A-Z]+")
_SERIAL = re.compile(r"[0-9A-Z]+(?:[ \-./_:+#][0-9A-Z]+)*")


def imei_check_digit(first_14: str) -> str:
    """Return the check digit of the first 14 digits of an IMEI.

    Source: Luhn formula, 3GPP TS 23.003 Annex B. Raises ValueError unless given 14 digits.
    """
    if len(first_14) != 14 or not _DIGITS.fullmatch(first_14):
        raise ValueError("an IMEI without its check digit has 14 digits")
    return luhn.calc_check_digit(first_14)


def clean_imei(text: str, field: str | None = None) -> str:
    """Return the 15 digits of an IMEI whose check digit is right (3GPP TS 23.003 Annex B).

    Spaces, dashes, dots and slashes are taken away first. Raises Refused otherwise; 14 digits are
    refused with the digit that would make them whole, so that it can be compared with the label.
    """
    digits = _bare(text)
    if not digits:
        raise Refused("Type or scan the IMEI: 15 digits, on the label or after dialling *#06#.", field)
    if not _DIGITS.fullmatch(digits):
        raise Refused("An IMEI has digits only. A letter O may be a zero, a letter I a one.", field)
    if len(digits) == 14:
        last = imei_check_digit(digits)
        raise Refused(
            f"These are 14 digits; an IMEI has 15. Add the check digit: it should be {last}. "
            "Compare it with the label.",
            field,
        )
    if len(digits) == 16:
        raise Refused(
            "These are 16 digits, which is an IMEI with the software version (IMEISV). "
            "Type the 15-digit IMEI from the label.",
            field,
        )
    if len(digits) != 15:
        raise Refused(f"These are {_count(len(digits))}; an IMEI has 15.", field)
    if luhn.calc_check_digit(digits[:14]) != digits[14]:
        raise Refused("The check digit does not fit: one digit is wrong or two are swapped.", field)
    return digits


def clean_gtin(text: str, field: str | None = None) -> str:
    """Return a GTIN of 8, 12, 13 or 14 digits whose check digit is right.

    Source: GS1 General Specifications, check digit calculation. Raises Refused otherwise.
    """
    digits = _bare(text)
    if not digits:
        raise Refused("Type or scan the number under the bar code.", field)
    if not _DIGITS.fullmatch(digits):
        raise Refused("A GTIN, the number under a bar code, has digits only.", field)
    if len(digits) not in (8, 12, 13, 14):
        raise Refused(f"These are {_count(len(digits))}; a GTIN has 8, 12, 13 or 14.", field)
    if gtin_check_digit(digits[:-1]) != digits[-1]:
        raise Refused("The check digit does not fit: one digit is wrong or two are swapped.", field)
    return digits


def gtin_check_digit(digits: str) -> str:
    """Return the GS1 check digit for 7, 11, 12 or 13 digits; raises ValueError for anything else."""
    if len(digits) not in (7, 11, 12, 13) or not _DIGITS.fullmatch(digits):
        raise ValueError("a GTIN without its check digit has 7, 11, 12 or 13 digits")
    return ean.calc_check_digit(digits)


def label_with_check(payload: str) -> str:
    """Return one of our own numbers with its check character (ISO 7064 MOD 37,36) at the end.

    ``payload`` is upper-case letters and digits; raises ValueError for anything else.
    """
    if not _LABEL.fullmatch(payload):
        raise ValueError("a label number has letters A-Z and digits only")
    return payload + mod_37_36.calc_check_digit(payload)


def clean_label(text: str, field: str | None = None) -> str:
    """Return one of our own label numbers, check character included (ISO 7064 MOD 37,36).

    Small letters and separators are forgiven. Raises Refused when it cannot be one of ours.
    """
    number = _bare(text).upper()
    if len(number) < 2:
        raise Refused("Type or scan the number on the label.", field)
    if not _LABEL.fullmatch(number):
        raise Refused("A label number has letters and digits only.", field)
    if not mod_37_36.is_valid(number):
        raise Refused(
            "This is not a number from one of our labels: a character is wrong or two are swapped. "
            "Zero and O, one and I look alike.",
            field,
        )
    return number


def clean_serial(text: str, field: str | None = None) -> str:
    """Return a serial number in the one spelling it is kept and looked up in.

    Upper case, one kind of dash, single spaces; full-width characters become plain ones. No letter
    is taken for a digit. Raises Refused when it is empty, too long or has signs no serial carries.
    """
    plain = unicodedata.normalize("NFKC", text.translate({ord(dash): "-" for dash in _DASHES}))
    serial = " ".join(plain.upper().split())
    serial = re.sub(r"\s*-\s*", "-", serial)
    if not serial:
        raise Refused("Type or scan the serial number, or say that it cannot be read.", field)
    if len(serial) > SERIAL_MAX:
        raise Refused(f"A serial number has at most {SERIAL_MAX} characters; this has {len(serial)}.", field)
    if not _SERIAL.fullmatch(serial):
        raise Refused("A serial number has letters, digits and single dashes, dots or slashes.", field)
    return serial


def _bare(text: str) -> str:
    """Plain characters without separators; a scanner's full-width digits become plain ones."""
    plain = unicodedata.normalize("NFKC", text.translate({ord(dash): "-" for dash in _DASHES}))
    return _SEPARATORS.sub("", plain)


def _count(digits: int) -> str:
    return "1 digit" if digits == 1 else f"{digits} digits"
