"""What stock was worth on any past day, from the facts alone: IAS 2, first in first out or moving average.

The folds themselves are in ``app.rules.costing``; here a part's movements are turned into their entries.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from enum import StrEnum

from app.rules.costing import Entry, IssueOut, LayerIn, Ledger, ReturnIn, fifo, moving_average
from app.rules.money import extend
from app.rules.verdict import Refused


class CostFormula(StrEnum):
    """Cost formulas of IAS 2.25."""

    FIFO = "first in, first out"
    AVERAGE = "moving average"


@dataclass(frozen=True, slots=True)
class StockFact:
    """A movement of one part as the ledger has it, in the order it was appended.

    ``kind`` is the movement's word (receipt, issue, return, scrap, count adjustment, transfer); ``quantity`` is signed;
    ``lot`` any name of the lot; ``source`` what it was for.
    """

    at: datetime
    kind: str
    lot: str
    quantity: int
    unit_cost: Decimal
    source: str


def entries(facts: Iterable[StockFact], until: datetime) -> tuple[Entry, ...]:
    """Turn the movements before ``until`` into entries of a cost fold; transfers change no value and are left out.

    A return goes against the newest issues of its source that have not come back. More back than went out (a
    correction of old) is stock that came in at its lot's cost; a counted surplus likewise.
    """
    found: list[Entry] = []
    out: dict[str, list[tuple[str, int]]] = {}
    for number, fact in enumerate(facts):
        if fact.at >= until or fact.kind == "transfer":
            continue
        if fact.quantity < 0:
            ref = f"{number}"
            found.append(IssueOut(ref, -fact.quantity))
            out.setdefault(fact.source, []).append((ref, -fact.quantity))
        elif fact.kind == "return":
            found.extend(_returns(fact, out.setdefault(fact.source, [])))
        else:
            found.append(LayerIn(fact.lot, fact.quantity, fact.unit_cost))
    return tuple(found)


def _returns(fact: StockFact, issued: list[tuple[str, int]]) -> Iterable[Entry]:
    left = fact.quantity
    while left and issued:
        ref, quantity = issued.pop()
        back = min(left, quantity)
        yield ReturnIn(ref, back)
        left -= back
        if quantity > back:
            issued.append((ref, quantity - back))
    if left:
        yield LayerIn(fact.lot, left, fact.unit_cost)


def value_at(facts: Iterable[StockFact], until: datetime, formula: CostFormula) -> Ledger:
    """Return a part's quantity and value just before a moment, and what each issue cost.

    Raises Refused when the facts take out more than came in.
    """
    fold = fifo if formula is CostFormula.FIFO else moving_average
    return fold(entries(facts, until))


def newest_layers(layers: Sequence[tuple[int, Decimal]], quantity: int) -> Decimal:
    """Return the value of the ``quantity`` that is left of what came in, first in first out.

    ``layers`` are (quantity, unit cost) in the order they came in. It is what ``value_at`` gives of a part of which
    nothing came back after it had gone out: what is left came in last. Raises Refused when less came in.
    """
    left, value = quantity, Decimal(0)
    for there, cost in reversed(layers):
        count = min(left, there)
        value += extend(cost, count)
        left -= count
        if not left:
            return value
    if left:
        raise Refused(f"{quantity} are there and {quantity - left} came in.", "quantity")
    return value


@dataclass(frozen=True, slots=True)
class StockValue:
    """Value of the storeroom at a moment, exact, with the parts that had stock."""

    total: Decimal
    by_part: Mapping[str, tuple[int, Decimal]]


def storeroom_value(
    facts_by_part: Mapping[str, Iterable[StockFact]], until: datetime, formula: CostFormula
) -> StockValue:
    """Return quantity and value of every part that had stock just before a moment, and their sum."""
    found: dict[str, tuple[int, Decimal]] = {}
    for part, facts in facts_by_part.items():
        ledger = value_at(facts, until, formula)
        if ledger.quantity:
            found[part] = (ledger.quantity, ledger.value)
    return stock_value(found)


def stock_value(by_part: Mapping[str, tuple[int, Decimal]]) -> StockValue:
    """Return parts with their quantity and value, and the sum of the values."""
    return StockValue(sum((value for _quantity, value in by_part.values()), Decimal(0)), by_part)
