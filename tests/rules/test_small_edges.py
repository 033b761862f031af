"""Where small rules turn over: the first and the last value that passes, and the words for one and for several."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.correcting import check_correction, correction_words
from app.rules.counting import BenchState
from app.rules.identifiers import SERIAL_MAX, clean_gtin, clean_imei, clean_serial, gtin_check_digit, imei_check_digit
from app.rules.lots import ShelfLot, choose_lots
from app.rules.outbox import judge, place_repeats, tapped_words
from app.rules.release import judge_reading
from app.rules.reorder import ReorderRule, Stock, reorder
from app.rules.spares import MOST, check_spares, check_withdrawal
from app.rules.taps import Taps
from app.rules.verdict import Refused
from tests.jobs.sheets import placed

DAY = date(2026, 3, 2)

# Numbers ---------------------------------------------------------------------------------------------------------


@given(st.sampled_from((7, 11, 12)).flatmap(lambda n: st.text("0123456789", min_size=n, max_size=n)))
def test_a_short_gtin_has_the_check_digit_it_has_with_zeros_before_it(digits: str) -> None:
    # GS1 General Specifications: shorter GTINs are written right-aligned in 14 places, filled with zeros.
    assert gtin_check_digit(digits) == gtin_check_digit(digits.rjust(13, "0"))
    assert clean_gtin(digits + gtin_check_digit(digits)) == digits + gtin_check_digit(digits)


@pytest.mark.parametrize("length", [*range(7), *range(8, 11), *range(14, 17)])
def test_other_lengths_are_no_gtin(length: int) -> None:
    digits = "1" * length
    with pytest.raises(ValueError, match="7, 11, 12 or 13"):
        gtin_check_digit(digits)
    with pytest.raises(Refused, match="Type or scan" if length == 0 else "no GTIN|a GTIN has 8, 12, 13 or 14|digit"):
        clean_gtin(digits + "1" if length else "")


def test_what_is_not_digits_has_no_check_digit() -> None:
    for text in ("123456X", "12345678901X"):
        with pytest.raises(ValueError, match="7, 11, 12 or 13"):
            gtin_check_digit(text)
        with pytest.raises(Refused, match="has digits only"):
            clean_gtin(text + "1")
    for text in ("1234567890123", "123456789012345", "1234567890123X"):
        with pytest.raises(ValueError, match="14"):
            imei_check_digit(text)


def test_the_number_of_digits_is_told_in_words() -> None:
    with pytest.raises(Refused, match="These are 1 digit;"):
        clean_gtin("4")
    with pytest.raises(Refused, match="These are 9 digits;"):
        clean_gtin("123456789")
    with pytest.raises(Refused, match="These are 1 digit;"):
        clean_imei("4")


def test_the_longest_serial_is_taken_and_an_empty_one_asked_for() -> None:
    assert clean_serial("A" * SERIAL_MAX) == "A" * SERIAL_MAX
    with pytest.raises(Refused, match=f"at most {SERIAL_MAX} characters; this has {SERIAL_MAX + 1}"):
        clean_serial("A" * (SERIAL_MAX + 1))
    with pytest.raises(Refused, match="Type or scan the serial number"):
        clean_serial(" ")


# Stores ----------------------------------------------------------------------------------------------------------


def test_a_shortage_is_told_in_ones_and_in_several_and_without_what_is_not_there() -> None:
    def words(*lots: ShelfLot) -> str:
        with pytest.raises(Refused) as refusal:
            choose_lots(lots, 5, DAY)
        return refusal.value.reason

    old = DAY - timedelta(days=1)
    assert words(ShelfLot(1, 1, DAY)) == "5 needed, 1 is free on the shelf: 4 short."
    assert words(ShelfLot(1, 2, DAY)) == "5 needed, 2 are free on the shelf: 3 short."
    assert words(ShelfLot(1, 1, DAY, old)) == (
        "5 needed, none is free on the shelf: 5 short. 1 more has expired and must not be used."
    )


def test_the_words_of_an_order_name_what_decides() -> None:
    at_point = reorder(Stock(5), ReorderRule(5, 12))
    assert "at the reorder point of 5. 7 are missing" in at_point.words
    assert at_point.words.endswith("; order 7.")
    assert "below the reorder point of 5" in reorder(Stock(4), ReorderRule(5, 12)).words
    # The minimum order is named when it decides, and not when as much is missing anyway.
    assert "minimum order" not in reorder(Stock(5), ReorderRule(5, 12, minimum_order=7)).words
    assert "minimum order is 8" in reorder(Stock(5), ReorderRule(5, 12, minimum_order=8)).words
    assert "a pack holds 2, so order 4 packs, 8." in reorder(Stock(5), ReorderRule(5, 12, pack=2)).words


def test_nothing_to_order_is_nothing() -> None:
    for answer in (reorder(Stock(6), ReorderRule(5, 12)), reorder(Stock(5), ReorderRule(5, 5))):
        assert (answer.quantity, answer.packs, answer.due) == (0, 0, False)
    one = reorder(Stock(4), ReorderRule(5, 5))
    assert (one.quantity, one.packs, one.due) == (1, 1, True)


def test_equal_limits_are_met_by_that_reading_alone() -> None:
    limit = Decimal("2.0")
    assert judge_reading(limit, limit, limit).passed
    assert not judge_reading(Decimal("2.01"), limit, limit).passed
    assert not judge_reading(Decimal("1.99"), limit, limit).passed


def test_spares_up_to_two_a_piece_for_three_words() -> None:
    assert MOST == 2
    check_spares(Decimal(2), Decimal(0), "It folds often")
    for factor, words in (("-0.1", "above zero"), ("0", "above zero"), ("2.01", "More than 200 %")):
        with pytest.raises(Refused, match=words):
            check_spares(Decimal(factor), Decimal(factor), "It folds often")
    for reason in ("It folds", ""):
        with pytest.raises(Refused, match="few words"):
            check_withdrawal(Decimal(1), reason)


def test_three_words_are_reason_enough_for_a_correction() -> None:
    before = {"serial": "A", "owner_ref": "Ann"}
    after = {"serial": "B", "owner_ref": "Ann"}
    (change,) = check_correction("planned", before, after, "Read it again", mine=True, supervisor=False)
    assert (change.field, change.before, change.after) == ("serial", "A", "B")
    with pytest.raises(Refused, match="few words"):
        check_correction("planned", before, after, "Read wrongly", mine=True, supervisor=False)


@pytest.mark.parametrize(("reason", "ends"), [("Misread", "Misread."), ("Misread.", "Misread."), ("Why?", "Why?")])
def test_a_reason_ends_with_one_stop(reason: str, ends: str) -> None:
    data = {"changes": [["serial", "A", "B"]], "reason": reason}
    assert correction_words(data) == f"Serial corrected to B; it was written as A. {ends}"
    assert correction_words({"changes": [], "reason": ""}) == "Booking corrected."


# What a tablet brings late ---------------------------------------------------------------------------------------


def test_a_place_stands_as_said_by_itself_or_with_its_step_on_that_side() -> None:
    by_step = BenchState(down=("back",), up=())
    assert place_repeats(by_step, "down", "back/screws", 1, on=True)
    assert not place_repeats(by_step, "down", "back/screws", 1, on=False)
    assert not place_repeats(by_step, "up", "back/screws", 1, on=True)
    assert place_repeats(by_step, "up", "back/screws", 1, on=False)
    alone = BenchState(places={"back/screws": Taps(back={2: "e"})})
    assert place_repeats(alone, "up", "back/screws", 2, on=True)
    assert not place_repeats(alone, "up", "back/screws", 2, on=False)
    assert not place_repeats(BenchState(up=("back",)), "up", "back/screws", 1, on=False)


def test_a_turn_that_was_made_and_what_only_the_caller_knows_repeat() -> None:
    assert judge(BenchState(turned=True), "turn", "", "", 1, "Why.").kind == "also"
    assert judge(BenchState(), "recount", "", "", 1, "Why.", repeats=True).kind == "also"
    assert judge(BenchState(up=("back",)), "tick", "up", "back", 1, "Why.").kind == "also"
    assert judge(BenchState(up=("back",)), "report", "up", "back", 1, "Why.").kind == "question"


@pytest.mark.parametrize(
    ("of", "side", "step", "sent", "words"),
    [
        ("tick", "down", "back", {}, "Teardown tick of “Lift the back”"),
        ("tick", "up", "back", {}, "Refit tick of “Close the back”"),
        ("tick", "up", "warm", {}, "Refit tick of “Warm the edge”"),
        ("tick", "down", "back", {"rejects": ["a"]}, "Teardown tick of “Lift the back”, with 1 failed inspection"),
        ("tick", "down", "back", {"rejects": ["a", "b"]},
         "Teardown tick of “Lift the back”, with 2 failed inspections"),
        ("place", "down", "back", {"item": "back/screws", "place": 2}, "Place 2 of Back screw counted out"),
        ("place", "up", "back", {"item": "back/screws", "place": 2, "on": False},
         "Place 2 of Back screw counted back, taken back"),
        ("place", "up", "back", {"item": "gone/screws", "place": 2}, "Place 2 of gone/screws counted back"),
        ("place", "up", "back", {"place": 2}, "Place 2 of piece counted back"),
        ("pause", "", "", {"reason": "lunch"}, "Pause: lunch"),
        ("pause", "", "", {}, "Pause"),
        ("recount", "", "", {"reason": "lunch"}, "Recount of the tray"),
        ("turn", "", "", {}, "Start of the refit"),
    ],
)  # fmt: skip
def test_what_was_tapped_is_told_in_the_words_of_the_sheet(
    of: str, side: str, step: str, sent: dict[str, object], words: str
) -> None:
    assert tapped_words(of, side, step, sent, placed()) == words


def test_a_report_names_its_piece_how_many_and_what_was_looked_at() -> None:
    sheet = placed()
    damage = tapped_words("report", "", "", {"report": "damage", "item": "back/screws", "count": 2}, sheet)
    assert damage.endswith("): 2 × Back screw")
    looked = tapped_words("report", "", "", {"report": "reject", "inspection": "back/flush"}, sheet)
    assert looked.endswith("): 1 × back/flush")
    assert tapped_words("report", "", "", {"report": "leftover"}, sheet).endswith(": 1 × leftover")
