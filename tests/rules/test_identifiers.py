"""Check digits against published figures, and the words a wrong one is answered with."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.identifiers import (
    clean_gtin,
    clean_imei,
    clean_label,
    clean_serial,
    gtin_check_digit,
    imei_check_digit,
    label_with_check,
)
from app.rules.verdict import Refused

SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def test_the_check_digit_of_the_published_imei_is_7() -> None:
    # 3GPP TS 23.003 Annex B.
    assert imei_check_digit("26053179311383") == "7"
    assert clean_imei("260531793113837") == "260531793113837"


@pytest.mark.parametrize(
    "text", ["490154203237518", "49 015420 323751 8", "49-015420-323751-8", "４９０１５４２０３２３７５１８"]
)
def test_it_takes_away_spaces_and_dashes_from_an_imei(text: str) -> None:
    assert clean_imei(text) == "490154203237518"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "15 digits"),
        ("49015420323751", "check digit: it should be 8"),
        ("4901542032375181", "software version"),
        ("490154203237", "These are 12 digits"),
        ("49O154203237518", "digits only"),
        ("490154203237519", "does not fit"),
        ("941054203237518", "does not fit"),
    ],
)
def test_it_refuses_a_wrong_imei_in_plain_words(text: str, words: str) -> None:
    with pytest.raises(Refused) as refusal:
        clean_imei(text, "imei")
    assert words in refusal.value.reason
    assert refusal.value.field == "imei"


@pytest.mark.parametrize(("digits", "check"), [("629104150021", "3"), ("730001100001", "7"), ("890400021003", "7")])
def test_gtin_check_digits_are_those_gs1_publishes(digits: str, check: str) -> None:
    assert gtin_check_digit(digits) == check
    assert clean_gtin(f"{digits[:6]} {digits[6:]}{check}") == digits + check


@pytest.mark.parametrize("text", ["", "629104150021X", "62910416", "6291041500214", "629104"])
def test_it_refuses_a_wrong_gtin(text: str) -> None:
    with pytest.raises(Refused):
        clean_gtin(text)


def test_our_labels_carry_the_check_character_of_iso_7064() -> None:
    # ISO/IEC 7064, MOD 37,36; the figure is the one the standard's users publish.
    assert label_with_check("A12425GABC1234002") == "A12425GABC1234002M"
    assert clean_label("a12425 gabc-1234002m") == "A12425GABC1234002M"


@pytest.mark.parametrize(("text", "words"), [("", "on the label"), ("A1?", "only"), ("A12425GABC1234002N", "wrong")])
def test_it_refuses_a_wrong_label(text: str, words: str) -> None:
    with pytest.raises(Refused, match=words):
        clean_label(text)


@given(st.text(SIGNS, min_size=1, max_size=12), st.data())
def test_a_label_with_one_wrong_character_is_always_refused(payload: str, data: st.DataObject) -> None:
    label = label_with_check(payload)
    assert clean_label(label.lower()) == label
    place = data.draw(st.integers(0, len(label) - 1))
    other = data.draw(st.sampled_from(SIGNS.replace(label[place], "")))
    with pytest.raises(Refused):
        clean_label(label[:place] + other + label[place + 1 :])


@given(st.text("0123456789", min_size=14, max_size=14), st.data())
def test_an_imei_with_one_wrong_digit_is_always_refused(first: str, data: st.DataObject) -> None:
    imei = first + imei_check_digit(first)
    assert clean_imei(imei) == imei
    place = data.draw(st.integers(0, 14))
    wrong = (int(imei[place]) + data.draw(st.integers(1, 9))) % 10
    with pytest.raises(Refused):
        clean_imei(f"{imei[:place]}{wrong}{imei[place + 1 :]}")


@pytest.mark.parametrize(
    ("text", "serial"),
    [
        (" fl-0042 / b ".replace(" / ", "/"), "FL-0042/B"),
        ("fl – 0042", "FL-0042"),
        ("ＦＬ００４２", "FL0042"),
        ("fl   0042", "FL 0042"),
    ],
)
def test_a_serial_number_is_kept_in_one_spelling(text: str, serial: str) -> None:
    assert clean_serial(text) == serial


@pytest.mark.parametrize("text", ["", "  ", "A" * 41, "FL--42", "FL 42\x00", "<b>"])
def test_it_refuses_what_cannot_be_a_serial_number(text: str) -> None:
    with pytest.raises(Refused):
        clean_serial(text)


@given(st.text(max_size=50))
def test_cleaning_a_serial_twice_changes_nothing(text: str) -> None:
    try:
        once = clean_serial(text)
    except Refused:
        return
    assert clean_serial(once) == once


@pytest.mark.parametrize("call", [imei_check_digit, gtin_check_digit, label_with_check])
def test_check_characters_of_nonsense_are_an_error_of_the_caller(call: object) -> None:
    assert callable(call)
    with pytest.raises(ValueError, match="has"):
        call("a b")
