"""The days of an arrival as points of the wait that is left, found a second way; the edges of what may be taken."""

from datetime import date, timedelta
from decimal import Decimal
from math import ceil, erf, floor, log, sqrt

import pytest

from app.rules.sheet import WasteStream
from app.rules.stores.alternates import AlternateState, Pair, StandIn, check_decision, check_substitution
from app.rules.stores.arrival import Arrival, Awaited, Lateness, arrival, lateness
from app.rules.stores.lead_time import LeadTime, lead_time
from app.rules.stores.supplier_returns import ReturnState, check_close
from app.rules.stores.units import UnitKind, check_kind, keeps_old
from app.rules.verdict import Refused

SENT = date(2027, 3, 1)


def days(count: float) -> date:
    return SENT + timedelta(days=count)


def by_bisection(mean: float, sd: float, waited: int, share: float) -> float:
    """Find the day by which a log-normal wait of this mean and spread is over, given that it lasts already."""
    width = log(1 + (sd / mean) ** 2)
    middle = log(mean) - width / 2

    def over(day: float) -> float:
        return 0.5 * (1 + erf((log(day) - middle) / sqrt(2 * width)))

    already = over(waited - 0.5) if waited else 0.0
    low, high = 1e-9, 4000.0
    for _ in range(200):
        at = (low + high) / 2
        low, high = (at, high) if (over(at) - already) / (1 - already) < share else (low, at)
    return low


@pytest.mark.parametrize("waited", [0, 1, 5, 12, 17])
@pytest.mark.parametrize("named", [True, False])
def test_the_days_are_the_points_of_the_wait_that_is_left(waited: int, named: bool) -> None:
    order = Awaited(SENT, days(14), named, "Kelp Spares")
    usual, lead = Lateness(2.0, 3.0, 9), LeadTime(13.0, 4.0, 4, "")
    # The mean is not known exactly: the spread is widened by 1 + 1/(n + 3), n orders or deliveries.
    mean, sd = (14 + 2.0, 3.0 * sqrt(1 + 1 / 12)) if named else (13.0, 4.0 * sqrt(1 + 1 / 7))
    points = [by_bisection(mean, sd, waited, share) for share in (0.2, 0.5, 0.8)]
    earliest = max(days(waited), days(floor(points[0])))
    likely = max(earliest, days(round(points[1])))
    found = arrival(order, lead, usual, days(waited))
    assert (found.earliest, found.likely, found.late) == (earliest, likely, max(likely, days(ceil(points[2]))))


def test_a_wait_beyond_the_98_percent_point_is_given_in_spreads_from_today() -> None:
    order, usual = Awaited(SENT, days(14), named=True, supplier="Kelp Spares"), Lateness(0.0, 2.0, 9)
    sd = 2.0 * sqrt(1 + 1 / 12)
    lost = ceil(by_bisection(14, sd, 0, 0.98) + 0.5)
    found = arrival(order, lead_time(12), usual, days(lost))
    assert found == Arrival(
        days(lost), days(lost + ceil(sd)), days(lost + ceil(2 * sd)),
        "It is long overdue (Monday 15 March 2027): ask Kelp Spares.",
    )  # fmt: skip
    assert "long overdue" not in arrival(order, lead_time(12), usual, days(lost - 1)).words


def test_a_spread_is_at_least_half_a_day_however_punctual() -> None:
    order = Awaited(SENT, days(10), named=True, supplier="Kelp Spares")
    sure = arrival(order, lead_time(12), Lateness(0.0, 0.0, 400), SENT)
    assert (sure.earliest, sure.likely, sure.late) == (days(9), days(10), days(11))


def test_the_words_name_one_and_several_and_which_way_it_differs() -> None:
    def words(named: bool, lead: LeadTime, usual: Lateness) -> str:
        return arrival(Awaited(SENT, days(14), named, "Kelp Spares"), lead, usual, SENT).words

    lead, one = lead_time(10), Lateness(1.0, 3.0, 1)
    assert words(True, lead, one).endswith("by its 1 order so far it comes 1.0 days late.")
    assert words(True, lead, Lateness(-1.5, 3.0, 2)).endswith("by its last 2 orders it comes 1.5 days early.")
    assert words(True, lead, Lateness(-0.2, 3.0, 2)).endswith("it comes about on the day.")
    assert words(True, lead, Lateness(0.25, 3.0, 2)).endswith("it comes 0.2 days late.")
    assert "none of its orders has come yet" in words(True, lead, Lateness(0.0, 3.0, 0))
    assert "after 1 delivery the part takes 10 days" in words(False, lead_time(10, [10]), one)
    assert "after 2 deliveries the part takes 10 days" in words(False, lead_time(10, [10, 10]), one)


def test_lateness_and_lead_time_by_hand_where_orders_differ() -> None:
    # n = 2, k = 3: mean 2·3/5 = 1.2; squares 2·(2²) + 2·3/5·9 + 3·(10/4)² = 8 + 10.8 + 18.75 over 5.
    found = lateness(10, [1, 5])
    assert found.mean_days == pytest.approx(1.2)
    assert found.orders == 2
    assert found.sd_days == pytest.approx(sqrt(37.55 / 5))
    lead = lead_time(10, [11, 15])
    assert lead.mean_days == pytest.approx((26 + 30) / 5)
    assert lead.sd_days == pytest.approx(sqrt(37.55 / 5))
    assert "1 receipt took 12.0 on average" in lead_time(10, [12]).words
    assert "2 receipts took 13.0 on average" in lead.words
    assert "nothing has been received yet" in lead_time(10).words
    assert lead_time(0).mean_days == lead_time(0, [0]).mean_days == 0
    for stated, receipts in ((-1, []), (5, [3, -1])):
        with pytest.raises(ValueError, match="negative"):
            lead_time(stated, receipts)


# Taking and giving back ------------------------------------------------------------------------------------------

PAIRS = [Pair("F-1", "F-2", AlternateState.APPROVED)]


@pytest.mark.parametrize(("quantity", "taken"), [(0, False), (-1, False), (1, True), (3, True), (4, False)])
def test_an_alternate_is_taken_for_one_to_all_that_is_needed(quantity: int, taken: bool) -> None:
    if taken:
        check_substitution("F-1", "F-2", quantity, 3, 9, PAIRS)
        return
    with pytest.raises(Refused, match="3 of F-1 are still to hand out"):
        check_substitution("F-1", "F-2", quantity, 3, 9, PAIRS)


def test_the_state_that_is_told_is_that_of_this_very_pair() -> None:
    pairs = [Pair("F-8", "F-9", AlternateState.WITHDRAWN), Pair("F-1", "F-2", AlternateState.PROPOSED)]
    with pytest.raises(Refused, match="it is proposed"):
        check_substitution("F-1", "F-2", 1, 3, 9, pairs)
    with pytest.raises(Refused, match="nobody has proposed it"):
        check_substitution("F-1", "F-7", 1, 3, 9, pairs)


def test_a_withdrawn_pair_is_proposed_anew_and_a_decision_is_made_once() -> None:
    with pytest.raises(Refused, match=r"is withdrawn\. Propose it anew\."):
        check_decision("F-2 for F-1", AlternateState.WITHDRAWN, AlternateState.APPROVED, supervisor=True)
    for state in (AlternateState.APPROVED, AlternateState.WITHDRAWN):
        with pytest.raises(Refused) as refusal:
            check_decision("F-2 for F-1", state, state, supervisor=True)
        assert "anew" not in refusal.value.reason
    check_decision("F-2 for F-1", AlternateState.APPROVED, AlternateState.WITHDRAWN, supervisor=False)
    assert StandIn("F-1", "F-2", 2, 3).quantity == 5


def test_a_credit_is_nothing_or_more() -> None:
    with pytest.raises(Refused, match="not below zero"):
        check_close("RS1", ReturnState.SENT, Decimal("-0.01"), Decimal(5), "note")
    assert check_close("RS1", ReturnState.SENT, Decimal(0), Decimal(0), "") is ReturnState.REFUSED
    assert check_close("RS1", ReturnState.SENT, Decimal(5), Decimal(5), "") is ReturnState.CREDITED


def test_only_a_cell_is_never_a_rotable_and_only_a_rotable_cell_never_kept() -> None:
    for kind in UnitKind:
        for waste in WasteStream:
            if kind is UnitKind.ROTABLE and waste is WasteStream.CELL:
                with pytest.raises(Refused, match="A cell is not repaired"):
                    check_kind(kind, waste)
            else:
                check_kind(kind, waste)
    assert {(kind, cell) for kind in UnitKind for cell in (True, False) if keeps_old(kind, cell)} == {
        (UnitKind.ROTABLE, False), (UnitKind.EXCHANGE, False), (UnitKind.EXCHANGE, True),
    }  # fmt: skip
