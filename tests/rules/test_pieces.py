"""Counts of stock units in words."""

import pytest

from app.rules.pieces import pieces


@pytest.mark.parametrize(
    ("count", "unit", "words"),
    [
        (3, "strip", "3 strips"), (1, "strip", "1 strip"), (0, "dose", "0 doses"), (5, "each", "5 each"),
        (2, "box", "2 boxes"), (40, "ml", "40 ml"), (2, "pcs", "2 pcs"), (4, "m²", "4 m²"),
    ],
)  # fmt: skip
def test_a_stock_unit_stands_in_the_plural_where_there_is_not_one(count: int, unit: str, words: str) -> None:
    assert pieces(count, unit) == words
