"""A, B and C parts, service targets, and lead times learnt from receipts."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.stores.classes import ServiceTargets, ValueClass, value_classes
from app.rules.stores.lead_time import lead_time


def test_the_few_that_make_most_of_the_value_are_a() -> None:
    values = {"D": Decimal(3), "A": Decimal(60), "B": Decimal(25), "E": Decimal(2), "C": Decimal(10), "F": Decimal(0)}
    assert {part: found.value for part, found in value_classes(values).items()} == {
        "A": "A", "B": "A", "C": "B", "D": "C", "E": "C", "F": "C",
    }  # fmt: skip
    assert value_classes({}) == {}
    assert value_classes({"A": Decimal(0)}) == {"A": ValueClass.C}
    with pytest.raises(ValueError, match="not negative"):
        value_classes({"A": Decimal(-1)})


@given(st.dictionaries(st.text(min_size=1), st.decimals(0, 9999, places=2), max_size=30))
def test_every_part_has_a_class_and_a_dearer_one_no_lower(values: dict[str, Decimal]) -> None:
    found = value_classes(values)
    assert found.keys() == values.keys()
    order = sorted(values, key=lambda part: (-values[part], part))
    assert [found[part] for part in order] == sorted(found.values())


def test_a_critical_part_has_its_own_promise_whatever_its_value() -> None:
    targets = ServiceTargets()
    assert targets.level(ValueClass.C, critical=True) == targets.critical
    assert targets.level(ValueClass.C, critical=False) == targets.c
    with pytest.raises(ValueError, match="cycle service"):
        ServiceTargets(a=1.0)


def test_a_stated_lead_time_stands_until_receipts_say_otherwise() -> None:
    stated = lead_time(14)
    assert (stated.mean_days, stated.sd_days, stated.receipts) == (14, 3.5, 0)
    one = lead_time(14, (22,))
    assert one.mean_days == pytest.approx(16)
    assert one.words == "16.0 days, give or take 4.6: 1 receipt took 22.0 on average, 14 stated"
    many = lead_time(14, (20, 24) * 50)
    assert many.mean_days == pytest.approx(21.8, abs=0.05)
    assert many.sd_days == pytest.approx(2.4, abs=0.1)
    with pytest.raises(ValueError, match="not negative"):
        lead_time(14, (-1,))


@given(st.integers(1, 90), st.lists(st.integers(0, 120), max_size=12))
def test_a_learnt_lead_time_lies_between_what_is_stated_and_what_was_seen(stated: int, seen: list[int]) -> None:
    found = lead_time(stated, seen)
    assert min([stated, *seen]) - 1e-9 <= found.mean_days <= max([stated, *seen]) + 1e-9
    assert found.sd_days >= 0
