"""What a return is worth where lots differ in cost, and the days on which stock becomes slow, dead or spoilt."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from app.rules.stores.ageing import Ageing, HeldLot, stock_age, waste
from app.rules.stores.valuation import CostFormula, StockFact, value_at
from tests.rules.stores.test_valuation import END, START, TODAY


def _fact(day: int, kind: str, quantity: int, cost: str, source: str, lot: str = "L") -> StockFact:
    return StockFact(START + timedelta(days=day), kind, lot, quantity, Decimal(cost), source)


BOUGHT = [_fact(0, "receipt", 10, "2", "order:1", "A"), _fact(1, "receipt", 10, "5", "order:2", "B")]


def test_what_comes_back_is_worth_what_it_went_out_at() -> None:
    # Out first in first out: ten at 2 and two at 5. Back four: the two at 5 and two at 2.
    facts = [*BOUGHT, _fact(2, "issue", -12, "0", "job:A"), _fact(3, "return", 4, "99", "job:A")]
    ledger = value_at(facts, END, CostFormula.FIFO)
    assert (ledger.quantity, ledger.value) == (12, Decimal(10 * 5 + 2 * 2))
    # At the average of 3.50 the issue cost 42 and a third of it comes back.
    assert value_at(facts, END, CostFormula.AVERAGE).value == Decimal(12) * Decimal("3.5")


def test_a_return_goes_against_the_newest_issues_of_its_own_source() -> None:
    facts = [
        *BOUGHT,
        _fact(2, "issue", -3, "0", "job:A"),
        _fact(3, "issue", -9, "0", "job:B"),
        _fact(4, "issue", -4, "0", "job:A"),
        _fact(5, "return", 5, "99", "job:A"),
        _fact(6, "return", 2, "99", "job:A"),
    ]
    ledger = value_at(facts, END, CostFormula.FIFO)
    # Everything that job A took is back: three at 2 and four at 5. Job B keeps seven at 2 and two at 5.
    assert (ledger.quantity, ledger.value) == (11, Decimal(3 * 2 + 8 * 5))
    assert [ledger.issue_value(ref) for ref in ("2", "3", "4")] == [0, 7 * 2 + 2 * 5, 0]


def test_more_back_than_went_out_is_stock_at_its_own_cost() -> None:
    facts = [*BOUGHT, _fact(2, "issue", -1, "0", "job:A"), _fact(3, "return", 3, "7", "job:A")]
    assert value_at(facts, END, CostFormula.FIFO).value == 10 * 2 + 10 * 5 + 2 * 7


def lot(quantity: int, received_ago: int, expires_in: int | None = None, code: str = "A") -> HeldLot:
    expires = None if expires_in is None else TODAY + timedelta(days=expires_in)
    return HeldLot(code, quantity, Decimal(1), TODAY - timedelta(days=received_ago), expires)


def ago(days: int) -> date:
    return TODAY - timedelta(days=days)


@pytest.mark.parametrize(("expires_in", "left"), [(-1, 5), (0, 4), (1, 3), (4, None), (5, None)])
def test_the_last_day_of_use_is_a_day_of_use(expires_in: int, left: int | None) -> None:
    found = waste([lot(5, 10, expires_in)], 1.0, TODAY)
    assert [x.quantity for x in found] == ([] if left is None else [left])


def test_a_lot_waits_for_those_before_it() -> None:
    first, second = lot(3, 10, 2, "A"), lot(5, 10, 6, "B")
    # Seven days up to B's end at one a day: three go to A, so four of B are used.
    assert [(x.code, x.quantity) for x in waste([second, first], 1.0, TODAY)] == [("B", 1)]


@pytest.mark.parametrize(
    ("received_ago", "used_ago", "state"),
    [
        (365, 365, Ageing.DEAD), (365, 364, Ageing.SLOW), (364, 365, Ageing.SLOW), (364, 900, Ageing.SLOW),
        (365, None, Ageing.DEAD), (364, None, Ageing.SLOW), (900, 366, Ageing.DEAD),
    ],
)  # fmt: skip
def test_stock_is_dead_when_it_lay_and_was_not_used_for_a_year(
    received_ago: int, used_ago: int | None, state: Ageing
) -> None:
    used = None if used_ago is None else ago(used_ago)
    found = stock_age([lot(4, received_ago)], 0.0, used, TODAY)
    assert found.state is state
    if state is Ageing.DEAD:
        assert found.because[0].startswith("Never used;" if used is None else "Last used on ")


def test_stock_is_slow_when_it_lasts_more_than_a_year() -> None:
    moving = stock_age([lot(365, 10)], 1.0, TODAY, TODAY)
    assert (moving.state, moving.cover_days) == (Ageing.MOVING, 365)
    assert moving.because == ("365 on hand last 365 days.",)
    assert stock_age([lot(366, 10)], 1.0, TODAY, TODAY).state is Ageing.SLOW


def test_an_empty_lot_says_nothing_of_the_age_of_the_stock() -> None:
    assert stock_age([lot(0, 900), lot(4, 10, code="B")], 0.0, ago(900), TODAY).state is Ageing.SLOW
    empty = stock_age([lot(0, 900)], 0.0, ago(900), TODAY)
    assert (empty.state, empty.quantity, empty.because) == (Ageing.NONE, 0, ("None on hand.",))


def test_a_lot_that_expires_today_is_not_told_as_expired() -> None:
    assert "will probably be left" in stock_age([lot(4, 10, 0)], 0.0, TODAY, TODAY).because[0]
    assert "Scrap it" in stock_age([lot(4, 10, -1)], 0.0, TODAY, TODAY).because[0]
