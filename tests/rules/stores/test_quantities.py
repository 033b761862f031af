"""Order quantities against published examples, and properties that must always hold."""

from fractions import Fraction
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.stores.arrays import reals
from app.rules.stores.lot_sizing import cheapest_lots
from app.rules.stores.quantities import (
    PriceBreak,
    before_expiry,
    economic_order_quantity,
    economic_with_backorders,
    lots,
    size_order,
    with_price_breaks,
)

# L. V. Snyder & Z.-J. M. Shen, Fundamentals of Supply Chain Theory, examples as run with stockpyl 1.0.2.
BREAKS = (PriceBreak(0, 0.75), PriceBreak(400, 0.72), PriceBreak(800, 0.68))


def test_the_economic_order_quantity_is_that_of_the_handbook() -> None:
    """Example 3.1."""
    found = economic_order_quantity(8, 0.225, 1300)
    assert found.quantity == pytest.approx(304.0468, abs=5e-5)
    assert found.cost == pytest.approx(68.4105, abs=5e-5)


def test_with_backorders_it_is_larger_and_cheaper() -> None:
    """Example 3.8, backorder cost 5."""
    found = economic_with_backorders(8, 0.225, 5, 1300)
    assert found.quantity == pytest.approx(310.8126, abs=5e-5)
    assert found.cost == pytest.approx(66.9214, abs=5e-5)


def test_price_breaks_pull_the_quantity_to_where_the_year_costs_least() -> None:
    """Example 3.5: 800 at a cost of 978.60."""
    found = with_price_breaks(8, 0.3, 1300, BREAKS)
    assert found.quantity == 800
    assert found.cost == pytest.approx(978.60)
    assert with_price_breaks(8, 0.3, 1300, BREAKS, pack=30).quantity == 810
    with pytest.raises(ValueError, match="first piece"):
        with_price_breaks(8, 0.3, 1300, BREAKS[1:])
    with pytest.raises(ValueError, match="above zero"):
        economic_order_quantity(8, 0, 1300)


@given(st.floats(1, 60), st.floats(5, 3000), st.integers(1, 60))
def test_no_other_pack_multiple_is_cheaper_with_price_breaks(order_cost: float, demand: float, pack: int) -> None:
    found = with_price_breaks(order_cost, 0.3, demand, BREAKS, pack)
    assert found.quantity % pack == 0
    for n in range(1, 200):
        quantity = n * pack
        price = next(b.unit_price for b in reversed(BREAKS) if quantity >= b.from_quantity)
        assert found.cost <= price * (demand + 0.15 * quantity) + order_cost * demand / quantity + 1e-9


@given(st.floats(0, 5000), st.integers(1, 50), st.integers(0, 200))
def test_lots_are_whole_packs_and_no_less_than_the_minimum(demand: float, pack: int, minimum: int) -> None:
    lot = int(lots(reals(demand), 8.0, reals(0.225), np.asarray([pack]), np.asarray([minimum]))[0])
    assert lot % pack == 0
    assert lot >= max(minimum, 1)
    if demand > 0 and lot >= minimum + pack:
        costs = [8 * demand / q + 0.225 * q / 2 for q in (lot, lot + pack)]
        assert costs[0] <= costs[1] + 1e-9


@given(st.integers(1, 400), st.integers(1, 40), st.integers(0, 300), st.none() | st.integers(0, 400))
def test_an_order_is_in_packs_and_reaches_the_minimum_and_says_when_it_was_cut(
    wanted: int, pack: int, minimum: int, most: int | None
) -> None:
    sized = size_order(wanted, pack, minimum, most=most)
    assert sized.quantity % pack == 0
    assert sized.quantity >= minimum
    words = " ".join(sized.because)
    if sized.quantity < wanted:
        assert most is not None
        assert "Cut from" in words
    if most is not None and sized.quantity > most:
        assert sized.wasted == sized.quantity - most
        assert "will probably expire" in words
    if most is None or most >= sized.quantity:
        assert sized.wasted == 0


def test_the_order_says_why_it_is_that_much() -> None:
    assert size_order(7, 5).because == ("7 wanted, rounded up to 10: packs of 5.",)
    assert size_order(7, 5, 20).because == ("7 wanted, rounded up to 20: minimum order 20.",)
    assert size_order(20, 5, most=12, most_words="only 12 would be used by May").because == (
        "Cut from 20 to 10: only 12 would be used by May.",
    )
    assert size_order(10, 10).because == ()
    with pytest.raises(ValueError, match="at least one"):
        size_order(0)


def test_what_is_used_before_it_expires_comes_after_the_stock_that_is_there() -> None:
    assert before_expiry(0.5, 100, 20) == 30
    assert before_expiry(0.5, 100, 80) == 0
    assert before_expiry(0.5, 100, -10) == 50


def test_known_demand_is_ordered_in_the_cheapest_lots() -> None:
    """Example 3.9 (H. M. Wagner & T. M. Whitin's method): orders 210, 0, 150, 0 at a cost of 1380."""
    found = cheapest_lots([90, 120, 80, 70], 500, 2)
    assert found.orders == (210, 0, 150, 0)
    assert found.cost == 1380
    assert cheapest_lots([], 5, 1).orders == ()
    with pytest.raises(ValueError, match="not negative"):
        cheapest_lots([1, -1], 5, 1)


@given(st.lists(st.integers(0, 9), min_size=1, max_size=6), st.integers(0, 20), st.integers(0, 4))
def test_no_choice_of_order_periods_is_cheaper(demands: list[int], order_cost: int, holding: int) -> None:
    found = cheapest_lots(demands, order_cost, holding)
    assert sum(found.orders) == sum(demands)
    left = 0
    for order, demand in zip(found.orders, demands, strict=True):
        left += order - demand
        assert left >= 0
    best = None
    for choice in product([False, True], repeat=len(demands)):
        cost, last = Fraction(order_cost * sum(choice)), None
        for n, demand in enumerate(demands):
            last = n if choice[n] else last
            if demand and last is None:
                break
            cost += 0 if last is None else holding * demand * (n - last)
        else:
            best = cost if best is None else min(best, cost)
    assert found.cost == best
