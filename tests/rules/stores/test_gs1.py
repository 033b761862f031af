"""Labels with lot and expiry: every form a scanner sends, faults in words, and an independent reader as oracle."""

from contextlib import suppress
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum import gs1_128

from app.rules.identifiers import gtin_check_digit
from app.rules.stores.gs1 import SEPARATOR, Scanned, century_year, read_label
from app.rules.verdict import Refused

TODAY = date(2026, 3, 2)
# The check digit of 0629104150021 is 3 (GS1's example), so its 14 digits are these.
GTIN = "06291041500213"
WHOLE = Scanned(GTIN, "LOT-7", date(2027, 2, 28), "S1")


# GTIN-13 examples of GS1: 629104150021→3, 730001100001→7, 890400021003→7.
@pytest.mark.parametrize("digits", ["6291041500213", "7300011000017", "8904000210037"])
def test_the_published_numbers_are_read_as_plain_codes(digits: str) -> None:
    assert read_label(digits, TODAY) == Scanned(digits)
    assert gtin_check_digit(digits[:-1]) == digits[-1]
    assert read_label(f"]E0{digits}", TODAY).gtin == digits
    with pytest.raises(Refused, match="check digit"):
        read_label(digits[:-1] + str((int(digits[-1]) + 1) % 10), TODAY)


@pytest.mark.parametrize(
    "label",
    [
        f"]C101{GTIN}1727022810LOT-7{SEPARATOR}21S1",
        f"]d201{GTIN}172702{'00'}10LOT-7{SEPARATOR}21S1",
        f"]Q301{GTIN}10LOT-7{SEPARATOR}21S1{SEPARATOR}17270228",
        f"{SEPARATOR}01{GTIN}21S1{SEPARATOR}10LOT-7{SEPARATOR}17270228",
        f"01{GTIN}1727022810LOT-7<GS>21S1",
        f"01{GTIN}{SEPARATOR}17270228{SEPARATOR}10LOT-7␝21S1{SEPARATOR}\n",
        f"(01){GTIN}(17)270228(10)LOT-7(21)S1",
        f" (01) {GTIN} (10) LOT-7 (17) 270200 (21) S1 ",
    ],
)
def test_every_form_of_a_label_says_the_same(label: str) -> None:
    assert read_label(label, TODAY) == WHOLE


def test_other_fields_are_stepped_over_and_kept() -> None:
    found = read_label(f"01{GTIN}11250105310300150037{'12'}{SEPARATOR}2405X{SEPARATOR}10AB", TODAY)
    assert found.others == (("11", "250105"), ("3103", "001500"), ("37", "12"), ("240", "5X"))
    assert (found.lot, found.expires, found.serial) == ("AB", None, None)
    assert read_label(f"(01){GTIN}(10)A(B)C", TODAY).lot == "A(B)C"


@pytest.mark.parametrize(
    ("label", "reason"),
    [
        ("", "Scan the bar code"),
        ("]C0ABC123", "not a GS1 one"),
        (f"01{GTIN[:-1]}4", "check digit"),
        (f"01{GTIN[:9]}", "breaks off"),
        ("10LOT-7", "no GTIN"),
        ("(01)629104150021(10)A", "14 digits"),
        (f"01{GTIN}17271328", "no month 13"),
        (f"01{GTIN}17270230", "no day 30"),
        (f"01{GTIN}1727O228", "six digits"),
        (f"01{GTIN}10", "lot on the label is empty"),
        (f"01{GTIN}10ABCDEFGHIJKLMNOPQRST21S1", "sign between"),
        (f"01{GTIN}10A B", "character"),
        (f"01{GTIN}10A{SEPARATOR}10B", "two different values"),
        (f"01{GTIN}XY", "cannot be read"),
        (f"A(01){GTIN}", "cannot be read"),
        ("Perimeter seal", "cannot be read"),
    ],
)
def test_a_fault_is_refused_in_words(label: str, reason: str) -> None:
    with pytest.raises(Refused, match=reason) as refused:
        read_label(label, TODAY, "label")
    assert refused.value.field == "label"


# GS1 General Specifications, 7.12 (from memory): 51 to 99 above this year's digits is the century before, 50 to 99
# below them the century after.
@pytest.mark.parametrize(
    ("digits", "year", "found"),
    [(26, 2026, 2026), (76, 2026, 2076), (77, 2026, 1977), (99, 2026, 1999), (0, 2026, 2000), (5, 2060, 2105),
     (10, 2060, 2110), (11, 2060, 2011), (48, 1998, 2048), (49, 1998, 1949)],
)  # fmt: skip
def test_the_century_follows_from_this_year(digits: int, year: int, found: int) -> None:
    assert century_year(digits, date(year, 6, 1)) == found


@given(st.integers(2000, 2099), st.integers(0, 99))
def test_a_year_is_never_further_than_half_a_century(year: int, digits: int) -> None:
    found = century_year(digits, date(year, 1, 1))
    assert found % 100 == digits
    assert -49 <= found - year <= 50


def test_day_nought_is_the_last_of_the_month_in_leap_years_too() -> None:
    assert read_label(f"01{GTIN}17280200", TODAY).expires == date(2028, 2, 29)


TEXTS = st.text(st.sampled_from("ABCXYZabc0123456789-./_+"), min_size=1, max_size=20)


@given(st.integers(0, 10**13 - 1), TEXTS, st.dates(date(1980, 1, 1), date(2070, 12, 31)), TEXTS)
def test_what_an_independent_writer_makes_is_read_back(number: int, lot: str, expires: date, serial: str) -> None:
    digits = f"{number:013d}"
    gtin = digits + gtin_check_digit(digits)
    written = gs1_128.encode({"01": gtin, "17": expires, "10": lot, "21": serial}, separator=SEPARATOR)
    assert read_label(written, TODAY) == Scanned(gtin, lot, expires, serial)


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    with suppress(Refused):
        assert read_label(text, TODAY).gtin.isdigit()
