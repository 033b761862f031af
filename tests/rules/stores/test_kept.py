"""A suggestion kept and read again is the same; a card's levels hold while there is no forecast."""

import json
from datetime import date

import numpy as np

from app.rules.reorder import ReorderRule, Stock
from app.rules.stores.forecast import Method
from app.rules.stores.kept import NO_FORECAST, as_data, by_card, from_data, short_words, with_card
from app.rules.stores.lead_time import lead_time
from app.rules.stores.netting import Requirement, known_demand
from app.rules.stores.planning import Terms, plain_parts, plan_parts
from app.rules.stores.suggestion import PartState, Suggestion, suggest

TODAY = date(2026, 3, 2)


def suggestion(history: list[float], wanted: int = 0) -> Suggestion:
    """Return the suggestion of a part with five on the shelf."""
    plans = plan_parts(plain_parts(np.asarray([history]), target=0.95, lead_days=10), Terms())
    wants = [Requirement(TODAY, wanted, "job J1")] if wanted else []
    known = known_demand(5, wants, [], today=TODAY, lead_time_days=10)
    return suggest(PartState("SEAL-1", Stock(5), lead_time(10), known), plans, 0, today=TODAY)


def test_what_is_kept_is_read_back_the_same() -> None:
    for found in (suggestion([0, 3, 0, 5, 2, 0] * 6, 4), suggestion([0] * 36)):
        assert from_data(json.loads(json.dumps(as_data(found)))) == found


def test_the_card_holds_without_a_forecast_and_planned_jobs_count() -> None:
    found = suggestion([0] * 36, 3)
    assert by_card(found.method, 12)
    assert not by_card(found.method, 0)
    assert not by_card(Method.SBA, 12)
    by_levels = with_card(found, Stock(5), ReorderRule(4, 12, 5))
    assert (by_levels.position, by_levels.quantity, by_levels.reorder_point) == (2, 10, 4)
    assert by_levels.because[1] == NO_FORECAST
    assert short_words(by_levels) == by_levels.because[0]
