"""Minor units by ISO 4217, the one rounding, and exact extension."""

from decimal import Decimal
from fractions import Fraction

import pytest
from babel.numbers import get_currency_precision
from hypothesis import given
from hypothesis import strategies as st

from app.rules.money import extend, minor_units, round_money, short_price

COSTS = st.decimals(0, 99_999, places=4, allow_nan=False)


@pytest.mark.parametrize(
    ("currencies", "places"),
    [
        ("JPY KRW CLP ISK VND UGX", 0),
        ("EUR USD GBP DKK CHF", 2),
        ("BHD IQD JOD KWD LYD OMR TND", 3),
        ("CLF UYW", 4),
    ],
)
def test_minor_units_are_those_of_iso_4217(currencies: str, places: int) -> None:
    assert {minor_units(code) for code in currencies.split()} == {places}


def test_storage_goes_by_iso_where_display_data_says_otherwise() -> None:
    assert (minor_units("IQD"), get_currency_precision("IQD")) == (3, 0)


@pytest.mark.parametrize("code", ["eur", "EURO", "", "XAU", "XXX"])
def test_it_refuses_what_is_no_currency(code: str) -> None:
    with pytest.raises(ValueError, match=r"currency code|minor unit"):
        minor_units(code)


@pytest.mark.parametrize(
    ("amount", "currency", "rounded"),
    [
        ("2.345", "EUR", "2.35"),
        ("2.3449999", "EUR", "2.34"),
        ("-2.345", "EUR", "-2.35"),
        ("0.5", "JPY", "1"),
        ("1.0005", "KWD", "1.001"),
        ("-0.001", "EUR", "0.00"),
        ("7", "EUR", "7.00"),
    ],
)
def test_money_is_rounded_half_up_by_size(amount: str, currency: str, rounded: str) -> None:
    assert str(round_money(Decimal(amount), currency)) == rounded
    assert str(round_money(Fraction(amount), currency)) == rounded


def test_a_third_is_rounded_without_passing_through_a_decimal() -> None:
    assert round_money(Fraction(1, 3), "EUR") == Decimal("0.33")


@pytest.mark.parametrize("amount", ["NaN", "Infinity"])
def test_it_refuses_an_amount_that_is_no_number(amount: str) -> None:
    with pytest.raises(ValueError, match="number"):
        round_money(Decimal(amount), "EUR")


@given(COSTS, st.integers(-1_000_000_000_000_000_000, 1_000_000_000_000_000_000))
def test_extension_is_exact(unit_cost: Decimal, quantity: int) -> None:
    assert Fraction(extend(unit_cost, quantity)) == Fraction(unit_cost) * quantity


@pytest.mark.parametrize("cost", ["0.00001", "-1", "NaN"])
def test_extension_refuses_what_is_no_unit_cost(cost: str) -> None:
    with pytest.raises(ValueError, match="unit cost"):
        extend(Decimal(cost), 1)


@given(st.decimals(-9999, 9999, places=6), st.sampled_from(["EUR", "JPY", "KWD", "CLF"]))
def test_rounding_moves_by_half_a_minor_unit_at_most_and_only_once(amount: Decimal, currency: str) -> None:
    rounded = round_money(amount, currency)
    assert abs(rounded - amount) * 2 <= Decimal(10) ** -minor_units(currency)
    assert round_money(rounded, currency) == rounded
    assert round_money(-amount, currency) == -rounded


@pytest.mark.parametrize(
    ("price", "shown"), [("132.8000", "132.80"), ("0.0312", "0.0312"), ("46.3390", "46.339"), ("7", "7.00")]
)
def test_a_price_keeps_its_decimals_without_the_zeros_after_them(price: str, shown: str) -> None:
    assert str(short_price(Decimal(price))) == shown
