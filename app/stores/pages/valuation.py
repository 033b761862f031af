"""What the stock was worth on a day, and which of it is slow, dead or expiring."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any, Final
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.platform.forms import Form
from app.rules.money import round_money
from app.rules.stores.ageing import Ageing, StockAge
from app.rules.stores.valuation import CostFormula, StockValue, newest_layers, stock_value, storeroom_value
from app.stores.queries.valuation import part_names, stock_ages, stock_facts, stock_layers

SHOWN = 300
FORMULAS: Final = (("fifo", CostFormula.FIFO), ("average", CostFormula.AVERAGE))


@dataclass(frozen=True)
class ValueLine:
    """A part's stock on the day: ``each`` is value by quantity, to 4 decimals."""

    number: str
    name: str
    quantity: int
    each: Decimal
    value: Decimal


@dataclass(frozen=True)
class ValuationPage:
    """The storeroom's value at the end of a day by a cost formula of IAS 2, the dearest parts first."""

    form: Form[Any]
    formulas: Sequence[tuple[str, str]]
    on: date
    formula: str
    total: Decimal
    parts: int
    lines: tuple[ValueLine, ...]


@dataclass(frozen=True)
class AgeLine:
    """A part whose stock is slow, dead or expiring."""

    number: str
    name: str
    age: StockAge


@dataclass(frozen=True)
class AgeingPage:
    """Stock by age: what will be wasted first, then what lies; of each the dearest, and how many there are."""

    waste_cost: Decimal
    expiring: tuple[AgeLine, ...]
    dead: tuple[AgeLine, ...]
    slow: tuple[AgeLine, ...]
    dead_value: Decimal
    slow_value: Decimal
    counts: tuple[int, int, int]


def valuation_page(
    session: Session, form: Form[Any], on: date, formula_code: str, zone: ZoneInfo, currency: str
) -> ValuationPage:
    """Value the stock at the end of a day of the workshop, from the movements up to then."""
    formula = dict(FORMULAS).get(formula_code, CostFormula.FIFO)
    until = datetime.combine(on + timedelta(days=1), time(), zone)
    found = _value(session, until, formula)
    dearest = sorted(found.by_part.items(), key=lambda one: (-one[1][1], one[0]))[:SHOWN]
    names = part_names(session, [number for number, _there in dearest])
    lines = tuple(
        ValueLine(number, names.get(number, ""), quantity, (value / quantity).quantize(Decimal("0.0001")), value)
        for number, (quantity, value) in dearest
    )
    choices = tuple((code, one.value.capitalize()) for code, one in FORMULAS)
    total = round_money(found.total, currency)
    return ValuationPage(form, choices, on, formula.value, total, len(found.by_part), lines)


def _value(session: Session, until: datetime, formula: CostFormula) -> StockValue:
    """Value the stock; first in first out needs the whole account only of parts of which something came back."""
    if formula is CostFormula.AVERAGE:
        return storeroom_value(stock_facts(session, until), until, formula)
    whole = storeroom_value(stock_facts(session, until, came_back=True), until, formula)
    plain = {
        number: (quantity, newest_layers(layers, quantity))
        for number, (quantity, layers) in stock_layers(session, until).items()
    }
    return stock_value({**whole.by_part, **plain})


def ageing_page(session: Session, today: date) -> AgeingPage:
    """Gather slow, dead and expiring stock, each the dearest first."""
    ages = [AgeLine(number, name, age) for number, (name, age) in stock_ages(session, today).items()]

    def of(state: Ageing) -> tuple[AgeLine, ...]:
        mine = [line for line in ages if line.age.state is state]
        mine.sort(key=lambda line: (-(line.age.waste_cost or line.age.value), line.number))
        return tuple(mine)

    expiring, dead, slow = of(Ageing.EXPIRING), of(Ageing.DEAD), of(Ageing.SLOW)
    return AgeingPage(
        waste_cost=sum((line.age.waste_cost for line in ages), Decimal(0)),
        expiring=expiring[:SHOWN],
        dead=dead[:SHOWN],
        slow=slow[:SHOWN],
        dead_value=sum((line.age.value for line in dead), Decimal(0)),
        slow_value=sum((line.age.value for line in slow), Decimal(0)),
        counts=(len(expiring), len(dead), len(slow)),
    )
