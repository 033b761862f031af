"""Label codes: what they hold comes back, and what was misread is told."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from app.rules import scan_codes
from app.rules.identifiers import label_with_check
from app.rules.scan_codes import MISREAD, NOT_OURS, ScanCode, ScanKind, job_code, lot_code, shelf_code, tray_code
from app.rules.verdict import Refused

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
# The alphanumeric mode of ISO/IEC 18004, table of character values (from memory).
QR_ALPHANUMERIC = ALPHABET + " $%*+-./:"
FIELDS = st.text(
    st.characters(min_codepoint=33, max_codepoint=0x2FFF, exclude_categories=("Cs", "Cc", "Cn")),
    min_size=1,
    max_size=32,
)
CODES = st.one_of(
    st.builds(job_code, st.from_regex(r"J[0-9]{6}", fullmatch=True)),
    st.builds(tray_code, st.from_regex(r"J[0-9]{6}", fullmatch=True), st.integers(1, 999)),
    st.builds(shelf_code, FIELDS),
    st.builds(lot_code, FIELDS, FIELDS),
)


def refused(text: str) -> str:
    with pytest.raises(Refused) as caught:
        scan_codes.parse(text)
    return caught.value.reason


def test_the_check_character_is_that_of_the_standard() -> None:
    # ISO 7064 MOD 37,36, worked example of the standard: A12425GABC1234002 takes M.
    assert label_with_check("A12425GABC1234002")[-1] == "M"
    assert mod_37_36.is_valid(job_code("J000123"))


def test_a_code_says_what_it_is_on() -> None:
    assert scan_codes.parse(job_code("J000123")) == ScanCode(ScanKind.JOB, job="J000123")
    assert scan_codes.parse(tray_code("J000123", 12)) == ScanCode(ScanKind.TRAY, job="J000123", pocket=12)
    assert scan_codes.parse(shelf_code("A-01")) == ScanCode(ScanKind.SHELF, location="A-01")
    assert scan_codes.parse(lot_code("F-310", "L/24 x_ü")) == ScanCode(ScanKind.LOT, part="F-310", lot="L/24 x_ü")


@given(CODES)
def test_a_code_stays_inside_the_qr_alphanumeric_set(code: str) -> None:
    assert set(code) <= set(QR_ALPHANUMERIC)
    assert code.isalnum()


@given(FIELDS, FIELDS)
def test_what_goes_into_a_label_comes_out_again(part: str, lot: str) -> None:
    assert scan_codes.parse(lot_code(part, lot)) == ScanCode(ScanKind.LOT, part=part, lot=lot)
    assert scan_codes.parse(f" {lot_code(part, lot).lower()}\r\n").lot == lot


@given(CODES, st.data())
def test_any_single_wrong_character_is_caught(code: str, data: st.DataObject) -> None:
    # ISO 7064: a hybrid system finds every single substitution.
    place = data.draw(st.integers(0, len(code) - 1))
    other = data.draw(st.sampled_from(ALPHABET))
    assume(other != code[place])
    assert refused(code[:place] + other + code[place + 1 :]) in (MISREAD, NOT_OURS)


@given(CODES, st.data())
def test_any_swap_of_neighbours_that_the_standard_finds_is_caught(code: str, data: st.DataObject) -> None:
    place = data.draw(st.integers(0, len(code) - 2))
    assume(code[place] != code[place + 1])
    swapped = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
    assume(not mod_37_36.is_valid(swapped))
    assert refused(swapped) in (MISREAD, NOT_OURS)


def test_the_standard_finds_all_but_few_swaps_of_neighbours() -> None:
    # ISO 7064 says of the hybrid systems that they find nearly all transpositions. Counted here over every state of
    # the sum and every two different characters: how many swaps leave the sum as it was.
    missed = total = 0
    for state in range(1, 37):
        for first in range(36):
            for second in range(36):
                if first != second:
                    total += 1
                    missed += _after(_after(state, first), second) == _after(_after(state, second), first)
    assert 0 < missed / total < 0.002


def _after(state: int, value: int) -> int:
    """One step of the sum of ISO 7064 MOD 37,36."""
    rest = (state + value) % 36 or 36
    return rest * 2 % 37


@pytest.mark.parametrize(
    "text", ["", "M", "CB", "CBJ", "CBQJ000123A", "4006381333931", "https://example.org/jobs/J000123", "CBJJ0001-3"]
)
def test_what_no_label_carries_is_told_apart(text: str) -> None:
    assert refused(text) == NOT_OURS


@pytest.mark.parametrize("payload", ["CBTJ000123", "CBTJ000123XF0", "CBTJ000123XF07", "CBLF310", "CBSA1XFB2", "CBSXZ"])
def test_a_code_of_ours_that_says_nothing_we_write_is_misread(payload: str) -> None:
    assert refused(label_with_check(payload)) == MISREAD


@pytest.mark.parametrize("payload", ["CBSAXH4", "CBSXH41", "CBSXHFF", "CBSXL0", "CBSXQ", "CBSX"])
def test_nothing_is_written_in_two_ways(payload: str) -> None:
    assert refused(label_with_check(payload)) == MISREAD


@given(st.text(max_size=60))
def test_nothing_that_is_scanned_breaks_it(text: str) -> None:
    try:
        code = scan_codes.parse(text)
    except Refused:
        return
    assert isinstance(code, ScanCode)


def test_a_label_is_not_made_of_nothing() -> None:
    with pytest.raises(ValueError, match="1 to"):
        shelf_code("")
    with pytest.raises(ValueError, match="999"):
        tray_code("J000123", 0)
