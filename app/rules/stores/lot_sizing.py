"""Known demand in periods: when to order so that ordering and keeping together cost least."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class LotPlan:
    """What to order in each period, and what ordering and keeping cost together."""

    orders: tuple[int, ...]
    cost: Fraction


def cheapest_lots(demands: Sequence[int], order_cost: Fraction | int, holding_cost: Fraction | int) -> LotPlan:
    """Return the exact optimum: an order covers whole periods and falls where the stock is empty.

    ``order_cost`` an order, ``holding_cost`` a piece kept to the next period. Source: H. M. Wagner & T. M. Whitin
    (1958), Dynamic version of the economic lot size model, Management Science 5, 89-96. The later order stands where
    two plans cost the same. Raises ValueError for figures below zero.
    """
    if min([*demands, 0]) < 0 or min(Fraction(order_cost), Fraction(holding_cost)) < 0:
        raise ValueError("demand and costs are not negative")
    periods = len(demands)
    best = [Fraction(0)] * (periods + 1)
    reach = [periods] * (periods + 1)
    for start in range(periods - 1, -1, -1):
        if demands[start] == 0:
            best[start], reach[start] = best[start + 1], start + 1
            continue
        kept = Fraction(0)
        choices = []
        for end in range(start + 1, periods + 1):
            kept += Fraction(holding_cost) * (end - 1 - start) * demands[end - 1]
            choices.append((Fraction(order_cost) + kept + best[end], end))
        best[start], reach[start] = min(choices)
    orders = [0] * periods
    at = 0
    while at < periods:
        orders[at] = sum(demands[at : reach[at]]) if demands[at] else 0
        at = reach[at]
    return LotPlan(tuple(orders), best[0])
