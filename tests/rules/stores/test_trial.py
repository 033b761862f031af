"""Years replayed under the policy and two plain ones."""

import numpy as np
import pytest

from app.demo.storeroom_years import invent
from app.rules.stores.planning import Terms
from app.rules.stores.trial import from_rows, try_policies


def test_the_policy_keeps_its_promise_and_costs_less_than_the_plain_ones() -> None:
    trial = try_policies(invent(60, 6, 3), Terms(), owed_cost_per_day=5.0, exact_parts=4)
    policy, card, empty = trial.tried
    assert policy.service_enough >= trial.promised - 0.02
    assert policy.costs.total < card.costs.total < empty.costs.total
    assert empty.service < 0.5
    assert trial.beside is not None
    # No levels can cost less than the exact optimum.
    assert trial.beside.policy >= trial.beside.optimum


def test_the_same_seed_invents_the_same_years() -> None:
    assert np.array_equal(invent(5, 1, 9).wanted, invent(5, 1, 9).wanted)


def test_rows_become_days_and_two_years_are_wanted() -> None:
    series = from_rows([("B", 800, 2), ("A", 0, 1), ("B", 800, 3)], 14, 10.0, 0.95)
    assert series.numbers == ("A", "B")
    assert (int(series.wanted[1, 800]), int(series.wanted.sum())) == (5, 6)
    with pytest.raises(ValueError, match="at least two years"):
        from_rows([("A", 30, 1)], 14, 10.0, 0.95)
