"""Known demand netted by period and by date, and one supplier's joint order."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.stores.joint import JointPart, OrderTerms, joint_order
from app.rules.stores.netting import Coming, LotRule, Requirement, known_demand, net

TODAY = date(2026, 3, 2)


def test_gross_requirements_are_netted_lot_for_lot() -> None:
    """A material requirements table (inputs published, answer calculated): on hand 120, lead time 2 weeks."""
    gross = (41, 44, 84, 42, 84, 86, 7, 18, 49, 30)
    found = net(120, gross, (0,) * 10)
    assert found.on_hand == (79, 35, 0, 0, 0, 0, 0, 0, 0, 0)
    assert found.net == found.planned == (0, 0, 49, 42, 84, 86, 7, 18, 49, 30)
    placed, late = found.releases(2)
    assert placed == (49, 42, 84, 86, 7, 18, 49, 30, 0, 0)
    assert late == 0


def test_releases_that_should_have_been_are_late() -> None:
    assert net(0, (5, 6), (0, 0)).releases(1) == ((6, 0), 5)
    assert net(0, (5, 6), (0, 0)).releases(9) == ((0, 0), 11)


def test_lots_are_packs_a_minimum_or_fixed() -> None:
    assert net(0, (3, 3, 3), (0, 0, 0), LotRule(pack=4)).planned == (4, 4, 4)
    assert net(0, (3, 3, 3), (0, 0, 0), LotRule(pack=2, minimum=7)).planned == (8, 0, 8)
    assert net(0, (3, 30, 3), (0, 0, 0), LotRule(fixed=10)).planned == (10, 30, 0)
    with pytest.raises(ValueError, match="pack"):
        LotRule(pack=0)
    with pytest.raises(ValueError, match="same periods"):
        net(0, (1,), ())


PERIODS = st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), min_size=1, max_size=20)
RULES = st.builds(LotRule, st.integers(1, 12), st.integers(0, 30), st.integers(0, 25))


@given(st.integers(-40, 200), PERIODS, RULES)
def test_netting_makes_and_loses_nothing(on_hand: int, periods: list[tuple[int, int]], rule: LotRule) -> None:
    gross, scheduled = zip(*periods, strict=True)
    found = net(on_hand, gross, scheduled, rule)
    before = on_hand
    for n, after in enumerate(found.on_hand):
        assert after == before + scheduled[n] + found.planned[n] - gross[n]
        assert after >= 0
        assert (found.planned[n] > 0) is (found.net[n] > 0)
        assert found.planned[n] >= found.net[n]
        before = after
    assert found.on_hand[-1] == on_hand + sum(scheduled) + sum(found.planned) - sum(gross)


def _days(*offsets: int) -> list[date]:
    return [TODAY + timedelta(days=n) for n in offsets]


def test_jobs_are_netted_by_date_against_stock_and_open_orders() -> None:
    early, middle, late, last = _days(3, 8, 20, 40)
    needs = (Requirement(early, 2, "job J000101"), Requirement(late, 6, "job J000102"), Requirement(last, 4, "job J9"))
    found = known_demand(3, needs, (Coming(middle, 4, "P000007"),), today=TODAY, lead_time_days=10)
    assert [(n.on, n.needed, n.comes, n.missing, n.left) for n in found.lines] == [
        (early, 2, 0, 0, 1), (middle, 0, 4, 0, 5), (late, 6, 0, 1, 0), (last, 4, 0, 4, 0),
    ]  # fmt: skip
    assert found.order_by == late - timedelta(days=10)
    assert found.because[0] == "1 short on 22 March 2026 for job J000102: order by 12 March 2026."
    assert (found.total, found.needed_until(late), found.missing_until(late)) == (12, 8, 1)


def test_a_need_that_no_order_can_meet_says_what_to_do() -> None:
    soon, later = _days(2, 6)
    found = known_demand(
        0, (Requirement(soon, 2, "job J000101"),), (Coming(later, 5, "P000007"),), today=TODAY, lead_time_days=10
    )
    assert found.because == (
        "2 short on 4 March 2026 for job J000101; ordered today it comes on 12 March 2026, too late: move the job or "
        "find a faster source. An order is due on 8 March 2026: ask for it sooner.",
    )


def test_what_is_overdue_counts_today() -> None:
    gone = TODAY - timedelta(days=4)
    found = known_demand(0, (Requirement(gone, 2, "a"),), (Coming(gone, 2, "P1"),), today=TODAY, lead_time_days=1)
    assert [(n.on, n.missing) for n in found.lines] == [(TODAY, 0)]
    assert known_demand(4, (), (), today=TODAY, lead_time_days=1).lines == ()


def _part(number: str, quantity: int, price: str, due: float = 0, **more: float) -> JointPart:
    return JointPart(number, quantity, Decimal(price), due_in_days=due, **more)  # type: ignore[arg-type]


def test_a_part_joins_when_that_is_cheaper_than_an_order_of_its_own() -> None:
    terms = OrderTerms(order_cost=Decimal(5))
    parts = (_part("SEAL-1", 10, "2"), _part("MESH-2", 10, "3", due=30), _part("CELL-3", 10, "90", due=60))
    found = joint_order(parts, terms)
    assert [line.number for line in found.lines] == ["SEAL-1", "MESH-2"]
    assert found.joined == ("MESH-2",)
    assert found.because[0] == "MESH-2 is due in 30 days and joins: keeping it costs 0.49, an order of its own 5.00."
    assert (found.value, found.takes) == (Decimal(50), True)


def test_a_minimum_order_value_is_reached_by_the_parts_due_soonest_then_by_more_of_those_that_last_shortest() -> None:
    terms = OrderTerms(minimum_value=Decimal(100))
    parts = (
        _part("SEAL-1", 10, "2", rate_per_day=0.5, after=12, pack=5),
        _part("MESH-2", 5, "4", due=90, rate_per_day=0.1, after=5),
    )
    found = joint_order(parts, terms)
    assert found.value == 102
    assert (found.takes, found.joined) == (True, ("MESH-2",))
    assert [(line.number, line.quantity) for line in found.lines] == [("SEAL-1", 35), ("MESH-2", 8)]
    assert found.because == (
        "20.00 is below the supplier's minimum order of 100.00.",
        "MESH-2 is due in 90 days and joins to reach 100.00.",
        "25 more of SEAL-1 to reach 100.00.",
        "3 more of MESH-2 to reach 100.00.",
    )


def test_stock_that_would_expire_does_not_fill_an_order() -> None:
    terms = OrderTerms(minimum_value=Decimal(100))
    parts = (_part("GLUE-1", 10, "2", rate_per_day=0.5, after=12, pack=5, shelf_life_days=40),)
    found = joint_order(parts, terms)
    assert not found.takes
    assert found.lines[0].quantity == 15
    assert "would expire" in found.because[-1]


@pytest.mark.parametrize(("freight", "pays"), [("12", False), ("0.10", True)])
def test_freight_is_saved_only_when_that_is_cheaper(freight: str, pays: bool) -> None:
    terms = OrderTerms(freight=Decimal(freight), free_from=Decimal(60))
    parts = (_part("SEAL-1", 10, "2", rate_per_day=0.2, after=12), _part("MESH-2", 10, "5", due=200))
    found = joint_order(parts, terms)
    assert found.freight == (Decimal(freight) if pays else 0)
    assert any("freight" in words.lower() for words in found.because)


def test_without_a_part_due_there_is_no_order() -> None:
    found = joint_order((_part("SEAL-1", 10, "2", due=4),), OrderTerms())
    assert (found.lines, found.takes) == ((), False)
