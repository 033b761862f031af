"""The storeroom day by day: nothing is made or lost, and small cases worked by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.stores.arrays import reals, wholes
from app.rules.stores.simulation import (
    Levels,
    World,
    costs,
    fixed_min_max,
    order_when_empty,
    simulate,
    steady_world,
)


def test_three_weeks_by_hand() -> None:
    """Stock 3, a lot of 5 at or below 1, lead time 2: demand 1 a day."""
    out = simulate(steady_world(np.ones((1, 6), dtype=np.int64), 2, 3), [Levels(0, wholes(1), wholes(5))])
    # Day 1 leaves 2, day 2 leaves 1 and orders; days 3 and 4 leave 0 and owe 1, then 5 come; days 5, 6 leave 3 and 2.
    assert (out.orders[0], out.cycles[0], out.kept_cycles[0]) == (1, 1, 0)
    assert (out.wanted[0], out.at_once[0], out.on_hand[0], out.owed[0]) == (6, 5, 2, 0)
    assert out.stock_days[0] == 2 + 1 + 0 + 4 + 3 + 2
    assert out.fill_rate[0] == pytest.approx(5 / 6)
    assert out.cycle_service[0] == 0


def test_the_oldest_stock_expires_and_is_paid_for() -> None:
    world = World(
        wanted=wholes([1, 0, 0, 0, 0])[None, :], lead_days=np.ones((1, 5), dtype=np.int64), opening=wholes(4),
        shelf_life_days=wholes(3),
    )  # fmt: skip
    out = simulate(world, [Levels(0, wholes(-99), wholes(1))])
    assert (out.expired[0], out.on_hand[0]) == (3, 0)
    found = costs(out, reals(2.0), order_cost=5, holding_share=0.25, owed_cost_per_day=1, disposal_cost=0.5)
    assert (found.expiry, found.ordering, found.shortage) == (7.5, 0, 0)
    assert found.holding == pytest.approx(9 * 2 * 0.25 / 365.25)
    assert found.total == found.holding + 7.5


def test_plain_policies_order_when_empty_or_up_to_a_maximum() -> None:
    wanted = np.ones((1, 10), dtype=np.int64)
    empty = simulate(steady_world(wanted, 1, 2), [order_when_empty(wholes(4))])
    assert (empty.orders[0], empty.all_ordered[0]) == (3, 12)
    card = simulate(steady_world(wanted, 1, 2), [fixed_min_max(wholes(1), wholes(6), wholes(4))])
    assert card.all_ordered[0] % 4 == 0
    assert card.fill_rate[0] == 1


def test_new_levels_hold_from_their_day_on_and_the_run_in_is_not_counted() -> None:
    wanted = np.ones((1, 20), dtype=np.int64)
    levels = [Levels(0, wholes(-9), wholes(1)), Levels(10, wholes(3), wholes(5))]
    out = simulate(steady_world(wanted, 1, 10, count_from=10), levels)
    assert (out.wanted[0], out.all_wanted[0]) == (10, 20)
    assert out.owed[0] == 0
    with pytest.raises(ValueError, match="day 0"):
        simulate(steady_world(wanted, 1, 0), levels[1:])
    with pytest.raises(ValueError, match="not negative"):
        simulate(steady_world(-wanted, 1, 0), levels)


@given(
    st.lists(st.lists(st.integers(0, 6), min_size=15, max_size=15), min_size=1, max_size=4), st.integers(0, 5),
    st.integers(0, 12), st.integers(-2, 8), st.integers(1, 9), st.integers(0, 6), st.integers(1, 4), st.booleans(),
)  # fmt: skip
def test_no_stock_is_made_or_lost(
    wanted: list[list[int]], lead: int, opening: int, point: int, lot: int, life: int, review: int, fixed: bool
) -> None:
    parts = len(wanted)
    same = np.ones(parts, dtype=np.int64)
    leads = (np.arange(parts)[:, None] + np.arange(15)[None, :]) % (lead + 1)
    world = World(np.asarray(wanted, dtype=np.int64), leads, opening * same, life * same, review)
    levels = (
        fixed_min_max(point * same, (point + lot) * same, lot * same) if fixed else Levels(0, point * same, lot * same)
    )
    out = simulate(world, [levels])
    assert (opening + out.all_received == out.all_handed_out + out.all_expired + out.on_hand).all()
    assert (out.all_ordered == out.all_received + out.on_order).all()
    assert (out.all_wanted == out.all_handed_out + out.owed).all()
    assert (out.kept_cycles <= out.cycles).all()
    assert (out.at_once <= out.wanted).all()
    assert (out.on_hand >= 0).all()
    assert ((out.on_hand == 0) | (out.owed == 0)).all()
    again = simulate(world, [levels])
    assert (again.on_hand == out.on_hand).all()
