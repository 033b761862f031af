"""Spares in a kit: rounded up for each step, decided with a reason, and steps that want a look instead."""

from decimal import Decimal
from math import ceil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.planning import KitLine, KitUse
from app.rules.spares import Spare, check_spares, check_withdrawal, kit_spares
from app.rules.stores.spoilage import steps_to_look_at
from app.rules.verdict import Refused

KIT = (
    KitLine("SEAL", 2, (KitUse("back", "seal", 1), KitUse("cell", "fit:0", 1))),
    KitLine("SCREW", 8, (KitUse("back", "screws", 6), KitUse("back", "locked", 2))),
)


def test_spares_are_rounded_up_for_each_step_and_only_where_decided() -> None:
    factors = {("back", "SEAL"): Decimal("0.05"), ("back", "SCREW"): Decimal("0.25"), ("gone", "SEAL"): Decimal(1)}
    assert kit_spares(KIT, factors) == (Spare("SEAL", "back", 1), Spare("SCREW", "back", 2))
    assert kit_spares(KIT, {}) == ()


@given(st.integers(1, 400), st.decimals(Decimal("0.0001"), 2, places=4))
def test_sheet_and_spares_together_are_the_sheet_times_one_and_the_factor_rounded_up(
    count: int, factor: Decimal
) -> None:
    kit = (KitLine("P", count, (KitUse("s", "a", count),)),)
    (spare,) = kit_spares(kit, {("s", "P"): factor})
    assert count + spare.count == ceil(count * (1 + factor))


@pytest.mark.parametrize(
    ("factor", "now", "reason", "field"),
    [
        ("0", "0", "Folds when laid", "percent"),
        ("2.01", "0", "Folds when laid", "percent"),
        ("0.1", "0.1", "Folds when laid", "percent"),
        ("0.1", "0", "Folds", "reason"),
    ],
)
def test_a_decision_that_says_nothing_is_refused(factor: str, now: str, reason: str, field: str) -> None:
    with pytest.raises(Refused) as refused:
        check_spares(Decimal(factor), Decimal(now), reason)
    assert refused.value.field == field


def test_what_is_not_planned_cannot_be_withdrawn() -> None:
    with pytest.raises(Refused, match="nothing to withdraw"):
        check_withdrawal(Decimal(0), "The jig holds it now")
    check_withdrawal(Decimal("0.1"), "The jig holds it now")


def test_a_step_is_looked_at_when_the_waste_is_concentrated_on_it() -> None:
    found = steps_to_look_at({"back": (9, 60), "cell": (1, 80), "plug": (0, 40)})
    assert list(found) == ["back"]
    assert "9 of the 10 pieces" in found["back"]
    # Spread evenly, too few, or the only step with new parts: nothing stands out.
    assert not steps_to_look_at({"back": (5, 60), "cell": (6, 80), "plug": (4, 40)})
    assert not steps_to_look_at({"back": (2, 6), "cell": (0, 80)})
    assert not steps_to_look_at({"back": (9, 60)})


@given(st.dictionaries(st.text("abc", min_size=1, max_size=2), st.tuples(st.integers(0, 30), st.integers(0, 300))))
def test_at_most_two_steps_stand_out_and_each_spoils_more_than_the_rest(pairs: dict[str, tuple[int, int]]) -> None:
    pairs = {step: (min(mine, used), used) for step, (mine, used) in pairs.items()}
    found = steps_to_look_at(pairs)
    every, used = (sum(pair[n] for pair in pairs.values()) for n in (0, 1))
    assert len(found) <= 2
    for step in found:
        mine, pieces = pairs[step]
        assert mine / pieces > (every - mine) / (used - pieces)
