"""Stock valued at past dates by both formulas of IAS 2, and what is slow, dead or about to expire."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.stores.ageing import Ageing, HeldLot, stock_age, waste
from app.rules.stores.valuation import CostFormula, StockFact, entries, newest_layers, storeroom_value, value_at
from app.rules.verdict import Refused

START = datetime(2026, 1, 1, 8, tzinfo=UTC)
END = START + timedelta(days=400)


def _facts(*lines: tuple[str, int, str]) -> list[StockFact]:
    """Movements a day apart: receipts and issues by sign."""
    return [
        StockFact(START + timedelta(days=n), kind, f"L{n}", quantity, Decimal(cost), f"job:{n}")
        for n, (kind, quantity, cost) in enumerate(lines)
    ]


def test_the_closing_stock_is_that_of_the_first_published_example() -> None:
    """CIMA F1 workbook (2018): buy 200 at 15, 100 at 18, sell 250, buy 150 at 20 → FIFO 3,900, moving average 3,800."""
    facts = _facts(("receipt", 200, "15"), ("receipt", 100, "18"), ("issue", -250, "0"), ("receipt", 150, "20"))
    assert value_at(facts, END, CostFormula.FIFO).value == 3900
    assert value_at(facts, END, CostFormula.AVERAGE).value == 3800


def test_issues_and_closing_stock_are_those_of_the_second_published_example() -> None:
    """ACCA F3 study text: layers 100 at 5, +300 at 6, −200, +500 at 7, −200, +200 at 8, −200, −200."""
    facts = _facts(
        ("receipt", 100, "5"), ("receipt", 300, "6"), ("issue", -200, "0"), ("receipt", 500, "7"),
        ("issue", -200, "0"), ("receipt", 200, "8"), ("issue", -200, "0"), ("issue", -200, "0"),
    )  # fmt: skip
    ledger = value_at(facts, END, CostFormula.FIFO)
    assert [ledger.issue_value(ref) for ref in ("2", "4", "6", "7")] == [1100, 1200, 1400, 1400]
    assert ledger.value == 2300
    # The same stock as it was before the third receipt came.
    past = value_at(facts, START + timedelta(days=3), CostFormula.FIFO)
    assert past.quantity == 200
    assert past.value == 1200


def test_returns_go_against_what_their_source_was_given_and_transfers_change_nothing() -> None:
    day = [START + timedelta(days=n) for n in range(6)]
    facts = [
        StockFact(day[0], "receipt", "L1", 10, Decimal(2), "order:1"),
        StockFact(day[1], "issue", "L1", -3, Decimal(2), "job:A"),
        StockFact(day[1], "issue", "L1", -2, Decimal(2), "job:A"),
        StockFact(day[2], "transfer", "L1", -5, Decimal(2), "transfer"),
        StockFact(day[2], "transfer", "L1", 5, Decimal(2), "transfer"),
        StockFact(day[3], "return", "L1", 4, Decimal(2), "job:A"),
        StockFact(day[4], "count adjustment", "L1", -1, Decimal(2), "count"),
        StockFact(day[5], "return", "L1", 3, Decimal(2), "job:A"),
    ]
    for method in CostFormula:
        ledger = value_at(facts, END, method)
        assert ledger.quantity == 11
        assert ledger.value == 22
    whole = storeroom_value({"SEAL-1": facts, "MESH-2": []}, END, CostFormula.FIFO)
    assert whole.total == 22
    assert dict(whole.by_part) == {"SEAL-1": (11, Decimal(22))}


@given(st.lists(st.tuples(st.integers(1, 30), st.integers(1, 900), st.integers(0, 30)), max_size=12))
def test_both_formulas_agree_on_the_quantity_and_lose_no_value(steps: list[tuple[int, int, int]]) -> None:
    lines: list[tuple[str, int, str]] = []
    there = 0
    for received, cost, wanted in steps:
        lines.append(("receipt", received, str(Decimal(cost) / 100)))
        there += received
        out = min(there, wanted)
        if out:
            lines.append(("issue", -out, "0"))
            there -= out
    facts = _facts(*lines)
    came_in = [(f.quantity, f.unit_cost) for f in facts if f.quantity > 0]
    assert newest_layers(came_in, there) == value_at(facts, END, CostFormula.FIFO).value
    bought = sum((f.unit_cost * f.quantity for f in facts if f.quantity > 0), Decimal(0))
    for method in CostFormula:
        ledger = value_at(facts, END, method)
        assert ledger.quantity == there
        assert ledger.value + sum((ledger.issue_value(ref) for ref in ledger.issues), Decimal(0)) == bought


def test_more_out_than_in_is_refused() -> None:
    with pytest.raises(Refused):
        value_at(_facts(("issue", -1, "0")), END, CostFormula.FIFO)
    with pytest.raises(Refused):
        newest_layers([(2, Decimal(5))], 3)
    assert entries(_facts(("issue", -1, "0")), START) == ()


TODAY = date(2026, 3, 2)


def _lot(code: str, quantity: int, expires_in: int | None, received_ago: int = 10) -> HeldLot:
    expires = None if expires_in is None else TODAY + timedelta(days=expires_in)
    return HeldLot(code, quantity, Decimal("1.50"), TODAY - timedelta(days=received_ago), expires)


def test_what_is_left_when_a_lot_expires_is_lost_the_lots_being_used_one_after_another() -> None:
    lots = (_lot("B", 10, 19), _lot("A", 10, 9), _lot("C", 4, None), _lot("D", 3, -1))
    found = waste(lots, 0.5, TODAY)
    assert [(x.code, x.quantity, x.cost) for x in found] == [
        ("D", 3, Decimal("4.50")), ("A", 5, Decimal("7.50")), ("B", 5, Decimal("7.50")),
    ]  # fmt: skip


def test_stock_is_told_apart_by_what_presses_most() -> None:
    year_ago = TODAY - timedelta(days=365)
    expiring = stock_age((_lot("A", 10, 9),), 0.5, TODAY, TODAY)
    assert (expiring.state, expiring.waste_cost) == (Ageing.EXPIRING, Decimal("7.50"))
    assert expiring.because == ("Lot A: 5 will probably be left when it expires on 11 March 2026.",)
    dead = stock_age((_lot("A", 4, None, 500),), 0.0, year_ago, TODAY)
    assert (dead.state, dead.value, dead.cover_days) == (Ageing.DEAD, Decimal(6), None)
    assert dead.because == ("Last used on 2 March 2025; 4 on hand. Return it, offer it or write it off.",)
    assert stock_age((_lot("A", 4, None, 100),), 0.0, None, TODAY).state is Ageing.SLOW
    slow = stock_age((_lot("A", 40, None, 500),), 0.05, TODAY, TODAY)
    assert (slow.state, slow.because[0]) == (Ageing.SLOW, "40 on hand, it lasts 2.2 years. Order no more of it.")
    assert stock_age((_lot("A", 4, None),), 0.5, TODAY, TODAY).state is Ageing.MOVING
    assert stock_age((), 0.5, None, TODAY).state is Ageing.NONE
    assert "Scrap it" in stock_age((_lot("A", 4, -3),), 0.5, TODAY, TODAY).because[0]
    with pytest.raises(ValueError, match="rate"):
        stock_age((), -1, None, TODAY)


LOTS = st.lists(st.tuples(st.integers(1, 40), st.none() | st.integers(-20, 200)), max_size=8)


@given(LOTS, st.floats(0, 3))
def test_no_more_is_lost_than_is_there_and_more_use_loses_no_more(
    lots: list[tuple[int, int | None]], rate: float
) -> None:
    held = [_lot(str(n), quantity, expires) for n, (quantity, expires) in enumerate(lots)]
    lost = {x.code: x.quantity for x in waste(held, rate, TODAY)}
    assert all(0 < lost[lot.code] <= lot.quantity for lot in held if lot.code in lost)
    assert sum(x.quantity for x in waste(held, rate + 0.5, TODAY)) <= sum(lost.values())
