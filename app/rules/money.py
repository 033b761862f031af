"""Money as exact decimals: minor units, the one rounding, and the extension of a unit cost.

Amounts are stored and added in full; a line is rounded once, half up, to its currency's minor unit.
"""

import re
from decimal import ROUND_HALF_UP, Context, Decimal, Inexact, InvalidOperation
from fractions import Fraction
from typing import Final

UNIT_COST_PLACES: Final = 4
"""Decimals of a unit cost."""

# ISO 4217:2015, list one as kept by the maintenance agency. Every code not named here has two
# decimals. Display data (CLDR) gives other digits for some of these; storage goes by ISO.
_NONE = "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF"
_THREE = "BHD IQD JOD KWD LYD OMR TND"
_FOUR = "CLF UYW"
_MINOR_UNITS: Final = {
    code: places for codes, places in ((_NONE, 0), (_THREE, 3), (_FOUR, 4)) for code in codes.split()
}
# Metals, bond units, drawing rights, test and no currency: ISO 4217 gives them no minor unit.
_NO_MINOR_UNIT = "XAG XAU XBA XBB XBC XBD XDR XPD XPT XSU XTS XUA XXX"
_WITHOUT_MINOR_UNIT: Final = frozenset(_NO_MINOR_UNIT.split())
_CODE: Final = re.compile(r"[A-Z]{3}")
_EXACT: Final = Context(prec=60, traps=[Inexact, InvalidOperation])


def minor_units(currency: str) -> int:
    """Return the decimals of a currency's minor unit: 2 for EUR, 0 for JPY, 3 for KWD.

    Source: ISO 4217. Only the shape of the code is checked, so that a new currency works the day it
    is made. Raises ValueError for what is not three capitals or is no money to pay with.
    """
    if not _CODE.fullmatch(currency):
        raise ValueError(f"{currency!r} is not an ISO 4217 currency code")
    if currency in _WITHOUT_MINOR_UNIT:
        raise ValueError(f"{currency} has no minor unit, so no amount can be kept in it")
    return _MINOR_UNITS.get(currency, 2)


def round_money(amount: Decimal | Fraction, currency: str) -> Decimal:
    """Round an amount once, half up, to the currency's minor unit.

    Half up is taken by size, so -0.125 becomes -0.13: what comes back cancels what went out. A zero
    carries no sign. Raises ValueError for an unknown currency or an amount that is no number.
    """
    places = minor_units(currency)
    if isinstance(amount, Fraction):
        scaled = abs(amount) * 10**places
        units = (2 * scaled.numerator + scaled.denominator) // (2 * scaled.denominator)
        rounded = Decimal(-units if amount < 0 else units).scaleb(-places, context=_EXACT)
    else:
        if not amount.is_finite():
            raise ValueError("an amount of money must be a number")
        wide = Context(prec=60, rounding=ROUND_HALF_UP)
        rounded = amount.quantize(Decimal(1).scaleb(-places), context=wide)
    return abs(rounded) if rounded.is_zero() else rounded


def extend(unit_cost: Decimal, qty: int) -> Decimal:
    """Return unit cost times quantity, exactly. A negative quantity is a return.

    Raises ValueError when the unit cost is not a number of at most four decimals.
    """
    check_unit_cost(unit_cost)
    return _EXACT.multiply(unit_cost, Decimal(qty))


def short_price(price: Decimal, places: int = 2) -> Decimal:
    """Return a price without the zeros that follow its last decimal, but with at least ``places`` decimals."""
    least = Decimal(1).scaleb(-places)
    return price.quantize(least) if price == round(price, places) else price.normalize(_EXACT)


def check_unit_cost(unit_cost: Decimal) -> None:
    """Raise ValueError unless the unit cost is a number, not negative, of at most four decimals."""
    if not unit_cost.is_finite() or unit_cost < 0:
        raise ValueError(f"{unit_cost} is not a unit cost")
    if unit_cost != round(unit_cost, UNIT_COST_PLACES):
        raise ValueError(f"the unit cost {unit_cost} has more than {UNIT_COST_PLACES} decimals")
