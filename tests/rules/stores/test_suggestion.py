"""A suggestion tells the clerk what to order and why, and what changed since the last one."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.reorder import Stock
from app.rules.stores.arrays import reals
from app.rules.stores.classes import ValueClass
from app.rules.stores.forecast import Method, prior_from_procedures
from app.rules.stores.lead_time import lead_time
from app.rules.stores.netting import KnownDemand, Requirement, known_demand
from app.rules.stores.planning import Plans, Terms, plain_parts, plan_parts
from app.rules.stores.suggestion import PartState, Suggestion, suggest

TODAY = date(2026, 3, 2)
STEADY = [4, 3, 6, 2, 5, 4, 7, 3, 4, 2, 5, 3] * 3
LEAD = lead_time(14, (13, 15, 14, 14))
NOTHING = KnownDemand((), None, ())


def _plans(history: list[int], **columns: float) -> Plans:
    parts = plain_parts(reals(history)[None, :], target=0.95, lead_days=14, lead_sd_days=2)
    given_ = {name: np.asarray([value], dtype=getattr(parts, name).dtype) for name, value in columns.items()}
    from dataclasses import replace

    return plan_parts(replace(parts, **given_), Terms())


def _suggest(stock: Stock, known: KnownDemand = NOTHING, history: list[int] = STEADY, **more: int) -> Suggestion:
    state = PartState("SEAL-1", stock, LEAD, known, ValueClass.B, **more)  # type: ignore[arg-type]
    return suggest(
        state, _plans(history, **{k: v for k, v in more.items() if k in ("pack", "minimum")}), 0, today=TODAY
    )


def _job(quantity: int, in_days: int) -> KnownDemand:
    need = Requirement(TODAY + timedelta(days=in_days), quantity, "job J000101")
    return known_demand(99, (need,), (), today=TODAY, lead_time_days=14)


def test_above_the_reorder_point_it_says_why_nothing_is_ordered() -> None:
    found = _suggest(Stock(30, 10, 4))
    assert (found.position, found.quantity, found.due) == (36, 0, False)
    assert found.because[0] == "30 usable on the shelf + 10 on order − 4 reserved for jobs = 36."
    assert found.because[1] == f"That is above the reorder point of {found.reorder_point}: nothing to order."


def test_planned_jobs_within_the_lead_time_bring_the_position_down() -> None:
    free, with_job = _suggest(Stock(20)), _suggest(Stock(20), _job(18, 10))
    assert (with_job.position, with_job.known_demand) == (free.position - 18, 18)
    assert with_job.due
    assert "− 18 for planned jobs until 17 March 2026 = 2." in with_job.because[0]
    later = _suggest(Stock(20), _job(18, 60))
    assert (later.known_demand, later.due) == (0, False)


def test_it_tells_demand_law_service_and_fill_rate_in_words() -> None:
    found = _suggest(Stock(2))
    words = "\n".join(found.because)
    assert found.due
    assert f"below the reorder point of {found.reorder_point}: order {found.quantity}." in words
    assert "Class B." in words
    assert "wanted nearly every month, in much the same quantity (used in 36 of 36 months)" in words
    assert "An order takes 14.0 days, give or take" in words
    assert f"({found.law.value} distribution" in words
    assert "nothing runs out in 95.0 % of the order cycles" in words
    assert f"Another figure: {100 * found.fill_rate:.1f} % of the pieces" in words
    assert found.service >= found.target == 0.95


def test_packs_and_shelf_life_are_told() -> None:
    found = _suggest(Stock(0), history=STEADY, shelf_life_days=60, pack=5, minimum=5)
    words = " ".join(found.because)
    assert found.quantity % 5 == 0
    assert "Cut from" in words
    assert "keeps 60 days" in words


def test_a_part_nobody_wants_is_ordered_for_jobs_alone() -> None:
    idle = _suggest(Stock(0), history=[0] * 24)
    assert (idle.due, idle.method) == (False, Method.NONE)
    assert "not kept in stock" in idle.because[1]
    short = _suggest(Stock(1), _job(3, 5), history=[0] * 24)
    assert (short.position, short.quantity) == (-2, 2)


def test_a_new_part_says_what_was_supposed() -> None:
    prior = prior_from_procedures(2, 0.5, 40)
    plans = _plans([0] * 24, first=23, prior_rate=prior.rate_per_day, prior_days=prior.weight_days)
    found = suggest(PartState("SEAL-1", Stock(0), LEAD, NOTHING, prior=prior), plans, 0, today=TODAY)
    assert found.due
    assert any("2 a job × 0.5 jobs a year and device × 40 devices" in words for words in found.because)


def test_it_says_what_changed_since_the_last_time() -> None:
    before, now = _suggest(Stock(20)), _suggest(Stock(3), history=[2 * x + 1 for x in STEADY])
    words = now.changed_since(before)
    assert words[0] == f"To order: {now.quantity}, was 0."
    assert words[1] == "Position: 3, was 20."
    assert any(w.startswith(f"Reorder point: {now.reorder_point}, was {before.reorder_point}") for w in words)
    assert any(w.startswith("Forecast:") for w in words)
    assert now.changed_since(now) == ()
    other = suggest(PartState("MESH-2", Stock(1), LEAD, NOTHING), _plans(STEADY), 0, today=TODAY)
    with pytest.raises(ValueError, match="different parts"):
        now.changed_since(other)


COUNT = st.integers(0, 80)


@given(COUNT, COUNT, COUNT, COUNT, st.integers(1, 12), st.integers(1, 40))
def test_position_and_quantity_add_up(
    on_hand: int, on_order: int, reserved: int, needed: int, pack: int, minimum: int
) -> None:
    stock = Stock(on_hand, on_order, reserved)
    found = _suggest(stock, _job(needed, 3) if needed else NOTHING, pack=pack, minimum=minimum)
    assert found.position == on_hand + on_order - reserved - needed
    assert found.due is (found.position <= found.reorder_point)
    if found.due:
        assert found.quantity % pack == 0
        assert found.quantity >= minimum
        assert found.position + found.quantity > found.reorder_point
