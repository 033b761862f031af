"""The reorder rule worked by hand, its words, and properties that must always hold."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.reorder import ReorderRule, Stock, reorder


def test_above_the_reorder_point_nothing_is_ordered() -> None:
    answer = reorder(Stock(12, 0, 1), ReorderRule(10, 30))
    assert (answer.position, answer.quantity, answer.due) == (11, 0, False)
    assert answer.words == (
        "12 on hand + 0 on order − 1 reserved = 11, above the reorder point of 10: nothing to order."
    )


def test_at_the_reorder_point_it_orders_up_to_the_level() -> None:
    answer = reorder(Stock(12, 4, 6), ReorderRule(10, 30))
    assert (answer.position, answer.quantity, answer.packs) == (10, 20, 20)
    assert answer.words == (
        "12 on hand + 4 on order − 6 reserved = 10, at the reorder point of 10. "
        "20 are missing to the order-up-to level of 30; order 20."
    )


def test_it_orders_whole_packs() -> None:
    answer = reorder(Stock(3), ReorderRule(5, 20, pack=10))
    assert (answer.quantity, answer.packs) == (20, 2)
    assert answer.words.endswith("a pack holds 10, so order 2 packs, 20.")


def test_the_minimum_order_is_rounded_up_to_packs_too() -> None:
    answer = reorder(Stock(19), ReorderRule(19, 20, pack=10, minimum_order=25))
    assert (answer.quantity, answer.packs) == (30, 3)
    assert "1 is missing" in answer.words
    assert "the supplier's minimum order is 25" in answer.words


def test_more_promised_than_there_is_gives_a_negative_position() -> None:
    assert reorder(Stock(2, 0, 7), ReorderRule(0, 10)).quantity == 15


def test_a_full_shelf_at_its_reorder_point_orders_nothing() -> None:
    assert not reorder(Stock(5), ReorderRule(5, 5, minimum_order=50)).due


@pytest.mark.parametrize("levels", [(5, 4, 1, 0), (-1, 4, 1, 0), (1, 4, 0, 0), (1, 4, 1, -1)])
def test_it_refuses_rules_that_make_no_sense(levels: tuple[int, int, int, int]) -> None:
    with pytest.raises(ValueError, match=r"level|pack"):
        ReorderRule(*levels)


def test_it_refuses_negative_stock() -> None:
    with pytest.raises(ValueError, match="not negative"):
        Stock(-1)


COUNT = st.integers(0, 500)
STOCKS = st.builds(Stock, COUNT, COUNT, COUNT)
RULES = st.builds(
    lambda point, above, pack, minimum: ReorderRule(point, point + above, pack, minimum),
    *(COUNT, COUNT, st.integers(1, 40), COUNT),
)


@given(STOCKS, RULES)
def test_an_order_reaches_the_level_in_whole_packs_and_not_a_pack_too_many(stock: Stock, rule: ReorderRule) -> None:
    answer = reorder(stock, rule)
    assert answer.due is (stock.position <= rule.reorder_point and stock.position < rule.order_up_to)
    if answer.due:
        assert answer.quantity == answer.packs * rule.pack
        assert answer.quantity >= rule.minimum_order
        assert stock.position + answer.quantity >= rule.order_up_to
        less = answer.quantity - rule.pack
        assert less < max(rule.minimum_order, rule.order_up_to - stock.position)
        after = replace(stock, on_order=stock.on_order + answer.quantity)
        assert not reorder(after, rule).due
