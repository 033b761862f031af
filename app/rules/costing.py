"""What stock costs: first in first out, moving average, and the cost of a job.

Both methods are those of IAS 2 Inventories, paragraph 25, with average cost kept as a moving
average (paragraph 27). They are pure folds over a part's movements in the order they happened.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType

from app.rules.money import UNIT_COST_PLACES, check_unit_cost, extend, round_money
from app.rules.verdict import Refused

_ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class LayerIn:
    """Stock that came in: ``quantity`` stock units of one lot at one unit cost (4 decimals)."""

    lot: str
    quantity: int
    unit_cost: Decimal


@dataclass(frozen=True, slots=True)
class IssueOut:
    """Stock that went out under ``ref``, a name of the caller's that no other issue carries."""

    ref: str
    quantity: int


@dataclass(frozen=True, slots=True)
class ReturnIn:
    """Stock of the issue ``ref`` that came back unused; from ``lot`` when that is known."""

    ref: str
    quantity: int
    lot: str | None = None


Entry = LayerIn | IssueOut | ReturnIn


@dataclass(frozen=True, slots=True)
class Draw:
    """A share of an issue that left at one cost. ``lot`` is None under moving average.

    ``value`` is exact; it is ``unit_cost`` times ``quantity`` except in the draw that empties the
    shelf under moving average, which takes what rounding the average left over.
    """

    lot: str | None
    quantity: int
    unit_cost: Decimal
    value: Decimal


@dataclass(frozen=True, slots=True)
class Ledger:
    """The outcome of a fold: what is left, and what each issue took (net of its returns)."""

    quantity: int
    value: Decimal
    layers: tuple[LayerIn, ...]
    issues: Mapping[str, tuple[Draw, ...]]

    def issue_value(self, ref: str) -> Decimal:
        """Return the exact cost of an issue, net of its returns; raises KeyError for an unknown one."""
        return sum((draw.value for draw in self.issues[ref]), _ZERO)


def fifo(entries: Iterable[Entry]) -> Ledger:
    """Fold movements first in, first out (IAS 2.27).

    A return goes back at the cost it was issued at, into the layer it came from; the layer drawn last
    comes back first unless the lot is named. Raises Refused when more goes out than is there, or
    more comes back than went out; ValueError for quantities below one or a bad unit cost.
    """
    layers: list[LayerIn] = []
    issues: dict[str, tuple[Draw, ...]] = {}
    for entry in entries:
        _check(entry, issues)
        if isinstance(entry, LayerIn):
            layers.append(entry)
        elif isinstance(entry, IssueOut):
            issues[entry.ref] = _take(layers, entry.quantity)
        else:
            back, issues[entry.ref] = _give_back(issues[entry.ref], entry)
            for draw in back:
                _put_back(layers, draw)
    left = tuple(layer for layer in layers if layer.quantity)
    return Ledger(
        quantity=sum(layer.quantity for layer in left),
        value=sum((extend(layer.unit_cost, layer.quantity) for layer in left), _ZERO),
        layers=left,
        issues=MappingProxyType(issues),
    )


def moving_average(entries: Iterable[Entry]) -> Ledger:
    """Fold movements at the moving average (IAS 2.27), renewed at each receipt and return.

    The average is kept to four decimals, half up; the issue that empties the shelf takes the whole
    remaining value, so nothing is left by rounding. A return comes back at the cost it was issued
    at. Raises like ``fifo``.
    """
    quantity, value = 0, _ZERO
    average = _ZERO
    issues: dict[str, tuple[Draw, ...]] = {}
    for entry in entries:
        _check(entry, issues)
        if isinstance(entry, IssueOut):
            if entry.quantity > quantity:
                raise _short(entry.quantity, quantity)
            taken = value if entry.quantity == quantity else min(value, extend(average, entry.quantity))
            issues[entry.ref] = (Draw(None, entry.quantity, average, taken),)
            quantity -= entry.quantity
            value -= taken
            continue
        if isinstance(entry, LayerIn):
            value += extend(entry.unit_cost, entry.quantity)
        else:
            back, issues[entry.ref] = _give_back(issues[entry.ref], replace(entry, lot=None))
            value += sum((draw.value for draw in back), _ZERO)
        quantity += entry.quantity
        average = _four_places(Fraction(value) / quantity)
    layers = (LayerIn("average", quantity, average),) if quantity else ()
    return Ledger(quantity, value, layers, MappingProxyType(issues))


def _check(entry: Entry, issues: Mapping[str, object]) -> None:
    if entry.quantity < 1:
        raise ValueError("a movement has a quantity of at least one")
    if isinstance(entry, LayerIn):
        check_unit_cost(entry.unit_cost)
    elif isinstance(entry, IssueOut) and entry.ref in issues:
        raise ValueError(f"the issue {entry.ref!r} is entered twice")
    elif isinstance(entry, ReturnIn) and entry.ref not in issues:
        raise Refused("Nothing was issued that this could be a return of.")


def _short(wanted: int, there: int) -> Refused:
    return Refused(f"{wanted} were asked for and {there} are there: {wanted - there} short.", "quantity")


def _take(layers: list[LayerIn], wanted: int) -> tuple[Draw, ...]:
    """Draw from the oldest layers; an emptied layer stays in its place for a return."""
    there = sum(layer.quantity for layer in layers)
    if wanted > there:
        raise _short(wanted, there)
    draws: list[Draw] = []
    for index, layer in enumerate(layers):
        if wanted == 0:
            break
        count = min(wanted, layer.quantity)
        if count:
            draws.append(Draw(layer.lot, count, layer.unit_cost, extend(layer.unit_cost, count)))
            layers[index] = replace(layer, quantity=layer.quantity - count)
            wanted -= count
    return tuple(draws)


def _give_back(draws: Sequence[Draw], entry: ReturnIn) -> tuple[list[Draw], tuple[Draw, ...]]:
    """Split an issue's draws into what comes back and what stays used, the last drawn first."""
    wanted = entry.quantity
    back: list[Draw] = []
    kept: list[Draw] = []
    for draw in reversed(draws):
        count = min(wanted, draw.quantity) if entry.lot in (None, draw.lot) else 0
        if count == draw.quantity:
            back.append(draw)
        elif count:
            part = min(draw.value, extend(draw.unit_cost, count))
            back.append(replace(draw, quantity=count, value=part))
            kept.append(replace(draw, quantity=draw.quantity - count, value=draw.value - part))
        else:
            kept.append(draw)
        wanted -= count
    if wanted:
        raise Refused(f"{entry.quantity} cannot come back: only {entry.quantity - wanted} went out.", "quantity")
    kept.reverse()
    return back, tuple(kept)


def _put_back(layers: list[LayerIn], draw: Draw) -> None:
    for index, layer in enumerate(layers):
        if layer.lot == draw.lot and layer.unit_cost == draw.unit_cost:
            layers[index] = replace(layer, quantity=layer.quantity + draw.quantity)
            return
    raise AssertionError("a draw comes from a layer")  # pragma: no cover


def _four_places(exact: Fraction) -> Decimal:
    units = exact * 10**UNIT_COST_PLACES
    whole = (2 * units.numerator + units.denominator) // (2 * units.denominator)
    return Decimal(whole).scaleb(-UNIT_COST_PLACES)


@dataclass(frozen=True, slots=True)
class PartUse:
    """Stock used on a job at its lot's cost. ``planned`` is False for what damage or loss added.

    A negative quantity takes back a use, such as a part that was returned unused.
    """

    part: str
    quantity: int
    unit_cost: Decimal
    planned: bool = True


@dataclass(frozen=True, slots=True)
class PartLine:
    """One part on a job's account, planned or beyond the plan; ``cost`` is rounded, once."""

    part: str
    planned: bool
    quantity: int
    cost: Decimal


@dataclass(frozen=True, slots=True)
class PartsCost:
    """The parts of a job: its lines, and their sums (sums of rounded lines, so that they add up)."""

    lines: tuple[PartLine, ...]
    planned: Decimal
    beyond_plan: Decimal
    total: Decimal
    currency: str


def job_parts_cost(uses: Iterable[PartUse], currency: str) -> PartsCost:
    """Cost the parts of a job: a line per part, planned and beyond the plan apart.

    The uses of a line are extended and added exactly, then the line is rounded once, half up, to the
    currency's minor unit. Lines stand in the order of first use, planned ones first.
    """
    quantities: dict[tuple[bool, str], int] = {}
    exact: dict[tuple[bool, str], Decimal] = {}
    for use in uses:
        key = (use.planned, use.part)
        quantities[key] = quantities.get(key, 0) + use.quantity
        exact[key] = exact.get(key, _ZERO) + extend(use.unit_cost, use.quantity)
    lines = [
        PartLine(part, planned, quantities[planned, part], round_money(exact[planned, part], currency))
        for planned, part in quantities
    ]
    lines.sort(key=lambda line: not line.planned)
    planned_sum = sum((line.cost for line in lines if line.planned), round_money(_ZERO, currency))
    beyond_sum = sum((line.cost for line in lines if not line.planned), round_money(_ZERO, currency))
    return PartsCost(tuple(lines), planned_sum, beyond_sum, planned_sum + beyond_sum, currency)


def labour_cost(seconds: int, hourly_rate: Decimal, currency: str) -> Decimal:
    """Return the cost of bench time: seconds at a rate per hour, rounded once, half up.

    Raises ValueError for negative seconds or a rate that is not a number or negative.
    """
    if seconds < 0:
        raise ValueError("bench time is not negative")
    check_unit_cost(hourly_rate)
    return round_money(Fraction(hourly_rate) * seconds / 3600, currency)
