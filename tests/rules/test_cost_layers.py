"""Layers of cost over many movements: what comes back twice, what is kept of an issue, what no layer may be."""

from collections.abc import Callable, Iterable
from decimal import Decimal

import pytest
from hypothesis import given

from app.rules.costing import Draw, Entry, IssueOut, LayerIn, Ledger, ReturnIn, fifo, labour_cost, moving_average
from tests.rules.test_costing import histories

Method = Callable[[Iterable[Entry]], Ledger]
THREE: list[Entry] = [LayerIn("a", 2, Decimal(1)), LayerIn("b", 2, Decimal(2)), LayerIn("c", 2, Decimal(4))]


def test_what_comes_back_bit_by_bit_comes_back_in_the_order_of_one_return() -> None:
    went: list[Entry] = [*THREE, IssueOut("x", 6)]
    at_once = fifo([*went, ReturnIn("x", 5)])
    for parts in ((1, 4), (2, 3), (3, 2), (1, 1, 1, 1, 1)):
        bit_by_bit = fifo([*went, *(ReturnIn("x", n) for n in parts)])
        assert bit_by_bit.layers == at_once.layers
        assert bit_by_bit.issues == at_once.issues
    assert at_once.issues["x"] == (Draw("a", 1, Decimal(1), Decimal(1)),)


@pytest.mark.parametrize("method", [fifo, moving_average])
@given(entries=histories())
def test_an_issue_keeps_what_did_not_come_back_and_no_empty_draw(method: Method, entries: list[Entry]) -> None:
    ledger = method(entries)
    net: dict[str, int] = {}
    for entry in entries:
        if isinstance(entry, IssueOut):
            net[entry.ref] = entry.quantity
        elif isinstance(entry, ReturnIn):
            net[entry.ref] -= entry.quantity
    assert {ref: sum(draw.quantity for draw in draws) for ref, draws in ledger.issues.items()} == net
    assert all(draw.quantity > 0 for draws in ledger.issues.values() for draw in draws)


def test_an_issue_that_comes_back_whole_brings_its_whole_value_back() -> None:
    # 2 at 1.00 and 1 at 2.00 average 1.3333; the issue that empties the shelf took 2.6667.
    bought: list[Entry] = [LayerIn("a", 2, Decimal(1)), LayerIn("b", 1, Decimal(2)), IssueOut("x", 1), IssueOut("y", 2)]
    back = moving_average([*bought, ReturnIn("y", 2)])
    assert (back.value, back.issue_value("y")) == (Decimal("2.6667"), Decimal(0))


def test_a_part_of_an_issue_takes_its_lot_and_leaves_the_others() -> None:
    back = fifo([*THREE, IssueOut("x", 6), ReturnIn("x", 1, "b")])
    assert [(layer.lot, layer.quantity) for layer in back.layers] == [("b", 1)]
    assert [(draw.lot, draw.quantity) for draw in back.issues["x"]] == [("a", 2), ("b", 1), ("c", 2)]


def test_what_comes_back_goes_into_its_own_lot_though_another_cost_the_same() -> None:
    twins: list[Entry] = [LayerIn("a", 2, Decimal(3)), LayerIn("b", 2, Decimal(3)), IssueOut("x", 4)]
    back = fifo([*twins, ReturnIn("x", 1), ReturnIn("x", 1, "a")])
    assert [(layer.lot, layer.quantity) for layer in back.layers] == [("a", 1), ("b", 1)]


@pytest.mark.parametrize("method", [fifo, moving_average])
@pytest.mark.parametrize("cost", ["-0.01", "0.00001", "NaN"])
def test_a_layer_without_a_possible_cost_is_an_error_of_the_caller(method: Method, cost: str) -> None:
    with pytest.raises(ValueError, match="cost"):
        method([LayerIn("a", 1, Decimal(cost))])


@pytest.mark.parametrize("rate", ["-1", "NaN"])
def test_a_rate_that_is_none_is_an_error_of_the_caller(rate: str) -> None:
    with pytest.raises(ValueError, match="cost"):
        labour_cost(60, Decimal(rate), "EUR")
