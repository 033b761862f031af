"""The quote: parts, labour, waste, tax and margins, option lists, and whether the device is worth the repair.

Every line is rounded once, half up, to the currency's minor unit (ISO 4217); sums are sums of rounded lines, so that
a sheet adds up. Tax is a line of its own on the sum of the others. Shares are decimals: 0.25 is 25 %.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from app.rules.money import extend, minor_units, round_money
from app.rules.planning import KitLine, Plan
from app.rules.sheet import Sheet, WasteStream
from app.rules.verdict import Refused

_ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Rates:
    """The workshop's settings for quotes.

    ``hourly`` is the price of an hour of bench time, ``waste`` the fee for one scrapped piece by stream (none where a
    stream is not named), the margins are added on parts and on labour, ``tax`` on everything. Raises Refused for
    a negative figure and ValueError for an unknown currency.
    """

    currency: str
    hourly: Decimal
    margin_parts: Decimal = _ZERO
    margin_labour: Decimal = _ZERO
    waste: Mapping[WasteStream, Decimal] = field(default_factory=dict)
    tax: Decimal = _ZERO

    def __post_init__(self) -> None:
        minor_units(self.currency)
        figures = (self.hourly, self.margin_parts, self.margin_labour, self.tax, *self.waste.values())
        if any(not figure.is_finite() or figure < 0 for figure in figures):
            raise Refused("Rates, margins, fees and tax are figures of 0 or more.")


@dataclass(frozen=True, slots=True)
class PartPrice:
    """A part's name and its price for one stock unit, of at most four decimals."""

    name: str
    price: Decimal


LineKind = Literal["part", "labour", "waste", "tax"]


@dataclass(frozen=True, slots=True)
class QuoteLine:
    """One line: ``quantity`` pieces, or seconds for labour, 0 for tax; ``unit_price`` is before the margin and exact.

    ``amount`` is rounded and has the margin in it. ``part`` is the part number, the waste stream, or empty.
    """

    kind: LineKind
    part: str
    text: str
    quantity: int
    unit_price: Decimal
    amount: Decimal


@dataclass(frozen=True, slots=True)
class Quote:
    """Lines and their sums. ``unpriced`` are parts that no price is known for: the quote is not whole without them."""

    lines: tuple[QuoteLine, ...]
    parts: Decimal
    labour: Decimal
    waste: Decimal
    net: Decimal
    tax: Decimal
    total: Decimal
    currency: str
    unpriced: tuple[str, ...]


def quote(
    kit: Iterable[KitLine],
    seconds: int,
    scrap: Mapping[WasteStream, int],
    prices: Mapping[str, PartPrice],
    rates: Rates,
) -> Quote:
    """Quote a kit, bench time in seconds and pieces to scrap by stream. Raises ValueError for negative seconds."""
    if seconds < 0:
        raise ValueError("bench time is not negative")
    lines: list[QuoteLine] = []
    unpriced: list[str] = []
    for one in kit:
        found = prices.get(one.part)
        if found is None:
            unpriced.append(one.part)
            continue
        exact = extend(found.price, one.count) * (1 + rates.margin_parts)
        amount = round_money(exact, rates.currency)
        lines.append(QuoteLine("part", one.part, found.name, one.count, found.price, amount))
    labour = Fraction(rates.hourly) * (1 + Fraction(rates.margin_labour)) * seconds / 3600
    amount = round_money(labour, rates.currency)
    lines.append(QuoteLine("labour", "", "Bench time", seconds, rates.hourly, amount))
    for stream, pieces in scrap.items():
        fee = rates.waste.get(stream, _ZERO)
        if fee and pieces:
            amount = round_money(fee * pieces, rates.currency)
            lines.append(QuoteLine("waste", stream.value, f"Disposal, {stream.value}", pieces, fee, amount))
    return _with_tax(lines, rates, tuple(unpriced))


def _with_tax(lines: Sequence[QuoteLine], rates: Rates, unpriced: tuple[str, ...]) -> Quote:
    zero = round_money(_ZERO, rates.currency)
    sums = {kind: sum((x.amount for x in lines if x.kind == kind), zero) for kind in ("part", "labour", "waste")}
    net = sum(sums.values(), zero)
    tax = round_money(net * rates.tax, rates.currency)
    if rates.tax:
        lines = [*lines, QuoteLine("tax", "", f"Tax {_percent(rates.tax)}", 0, rates.tax, tax)]
    return Quote(
        lines=tuple(lines),
        parts=sums["part"],
        labour=sums["labour"],
        waste=sums["waste"],
        net=net,
        tax=tax,
        total=net + tax,
        currency=rates.currency,
        unpriced=unpriced,
    )


def planned_scrap(sheet: Sheet, plan: Plan) -> dict[WasteStream, int]:
    """Return the pieces a plan scraps by waste stream: its single-use fixings and the units that are exchanged."""
    return scrap_of(sheet, plan.kit)


def scrap_of(sheet: Sheet, kit: Iterable[KitLine]) -> dict[WasteStream, int]:
    """Return the pieces that a kit's new ones replace, by waste stream; what only the refit takes replaces nothing."""
    steps = {step.id: step for step in sheet.steps}
    units = {unit.id: unit for unit in sheet.units}
    found: dict[WasteStream, int] = {}
    for use in (use for line in kit for use in line.uses):
        if use.item.startswith("fit:"):
            continue
        if use.item.startswith("unit:"):
            stream = units[use.item.removeprefix("unit:")].waste
        else:
            stream = next(fixing.waste for fixing in steps[use.step].releases if fixing.id == use.item)
        found[stream] = found.get(stream, 0) + use.count
    return found


def _percent(share: Decimal) -> str:
    shown = (share * 100).normalize()
    return f"{shown:f} %"


@dataclass(frozen=True, slots=True)
class Worth:
    """Whether a repair is worth it. ``limit`` is the share of the device's value that it may cost, None if unknown."""

    limit: Decimal | None
    beyond: bool
    words: str


def worth_repairing(total: Decimal, value: Decimal | None, share: Decimal, currency: str) -> Worth:
    """Compare a quote's total with the device's value: beyond economic repair when it costs more than ``share`` of it.

    It advises; the owner decides. Raises Refused for a share or value below 0.
    """
    if share < 0 or (value is not None and value < 0):
        raise Refused("A value and a share are figures of 0 or more.", "value")
    if value is None:
        return Worth(None, False, "The device's value is not known, so nothing says whether the repair is worth it.")
    limit = round_money(value * share, currency)
    rule = f"{_percent(share)} of the device's value of {round_money(value, currency)} {currency}"
    if total > limit:
        over = total - limit
        words = (
            f"Beyond economic repair: the quote of {total} {currency} is {over} {currency} over the limit of "
            f"{limit} {currency}, which is {rule}. Tell the owner before anything is opened."
        )
        return Worth(limit, True, words)
    return Worth(limit, False, f"Worth repairing: {total} {currency} is within {limit} {currency}, which is {rule}.")
