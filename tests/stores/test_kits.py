"""Kits: promised, handed out oldest expiry first, taken back, and never from expired lots."""

from datetime import date

import pytest

from app.platform.db import Database
from app.platform.errors import NotFound, Refused
from app.stores import actions, queries
from tests.stores.shop import AT, SOON, TODAY, faults, kit, level, receive, stamp

JOB, OTHER = "job:J000001", "job:J000002"


def test_it_reserves_what_is_available_and_says_what_is_short(shop: Database) -> None:
    with shop.write() as session:
        receive(session, "DISP-1", 3)
        assert actions.reserve(session, JOB, {"DISP-1": 2, "SCRW-1": 4}, **stamp()) == {"DISP-1": 2, "SCRW-1": 0}
        assert actions.reserve(session, OTHER, {"DISP-1": 2}, **stamp()) == {"DISP-1": 1}
    shown = level(shop, "DISP-1")
    assert (shown.on_hand, shown.reserved, shown.available) == (3, 3, 0)
    assert faults(shop) == []


def test_it_hands_out_the_oldest_expiry_first(shop: Database) -> None:
    with shop.write() as session:
        receive(session, "SEAL-1", 5, "LATE", expires=date(2027, 1, 1))
        receive(session, "SEAL-1", 2, "EARLY", expires=date(2026, 4, 1))
        issued = kit(session, JOB, {"SEAL-1": 3})
    assert [(lot.lot_code, lot.quantity) for lot in issued] == [("EARLY", 2), ("LATE", 1)]
    assert faults(shop) == []


def test_it_never_hands_out_an_expired_lot(shop: Database) -> None:
    with shop.write() as session:
        lot = receive(session, "SEAL-1", 5, "OLD", expires=TODAY)
        day_after = date(2026, 3, 3)
        assert queries.propose_picks(session, {"SEAL-1": 1}, day_after) == ()
        assert queries.shelf(session, ["SEAL-1"], day_after)["SEAL-1"].available == 0
        assert actions.reserve(session, JOB, {"SEAL-1": 1}, **stamp(), today=day_after) == {"SEAL-1": 0}
        place = queries.lots_of(session, ["SEAL-1"])[0].location_id
        receive(session, "SEAL-1", 1, "NEW")
        with pytest.raises(Refused, match="expired on 2 March 2026"):
            actions.hand_out(session, JOB, [actions.Pick("SEAL-1", lot, place, 1)], **stamp(), today=day_after)


def test_it_refuses_stock_that_is_promised_to_another_job(shop: Database) -> None:
    with shop.write() as session:
        receive(session, "DISP-1", 2)
        actions.reserve(session, OTHER, {"DISP-1": 2}, **stamp())
        picks = queries.propose_picks(session, {"DISP-1": 1}, TODAY)
        with pytest.raises(Refused, match="promised elsewhere"):
            actions.hand_out(session, JOB, picks, **stamp())
        assert len(actions.hand_out(session, OTHER, picks, **stamp())) == 1
        assert queries.reserved_for(session, OTHER) == {"DISP-1": 1}


def test_it_refuses_more_than_lies_there_and_hands_out_nothing(shop: Database) -> None:
    with shop.write() as session:
        lot = receive(session, "DISP-1", 2, "ONE")
        receive(session, "DISP-1", 5, "TWO")
        place = queries.lots_of(session, ["DISP-1"])[0].location_id
        with pytest.raises(Refused, match="3 picked of lot ONE, 2 there"):
            actions.hand_out(session, JOB, [actions.Pick("DISP-1", lot, place, 3)], **stamp())
        assert queries.movements_of(session, JOB) == ()


def test_serials_name_one_piece_each(shop: Database) -> None:
    with shop.write() as session:
        lot = receive(session, "CELL-1", 2)
        place = queries.lots_of(session, ["CELL-1"])[0].location_id
        with pytest.raises(Refused, match="2 different serials"):
            actions.hand_out(session, JOB, [actions.Pick("CELL-1", lot, place, 2, ("C1", "C1"))], **stamp())
        issued = actions.hand_out(session, JOB, [actions.Pick("CELL-1", lot, place, 2, ("C1", "C2"))], **stamp())
        assert issued[0].serials == ("C1", "C2")
        assert queries.movements_of(session, JOB)[0].serials == ("C1", "C2")


def test_it_takes_back_no_more_than_went_out(shop: Database) -> None:
    with shop.write() as session:
        receive(session, "SCRW-1", 10, cost="0.0317")
        lot = kit(session, JOB, {"SCRW-1": 4})[0].lot_id
        actions.take_back(session, JOB, [(lot, 3)], **stamp())
        with pytest.raises(Refused, match="only 1 went out"):
            actions.take_back(session, JOB, [(lot, 2)], **stamp())
        kinds = [(m.kind, m.quantity, str(m.unit_cost)) for m in queries.movements_of(session, JOB)]
    assert kinds == [("issue", -4, "0.0317"), ("return", 3, "0.0317")]
    assert level(shop, "SCRW-1").on_hand == 9
    assert faults(shop) == []


def test_release_gives_back_the_named_parts_or_all(shop: Database) -> None:
    with shop.write() as session:
        receive(session, "DISP-1", 3)
        receive(session, "SCRW-1", 3)
        actions.reserve(session, JOB, {"DISP-1": 3, "SCRW-1": 3}, **stamp())
        actions.release(session, JOB, {"DISP-1": 1}, **stamp())
        assert queries.reserved_for(session, JOB) == {"DISP-1": 2, "SCRW-1": 3}
        actions.release(session, JOB, **stamp())
        assert queries.reserved_for(session, JOB) == {}
    assert faults(shop) == []


def test_several_actions_may_share_one_submission(shop: Database) -> None:
    with shop.write() as session:
        receive(session, "SCRW-1", 10)
        shared = stamp()
        got = actions.reserve(session, JOB, {"SCRW-1": 5}, **shared)
        issued = actions.hand_out(session, JOB, queries.propose_picks(session, got, TODAY), **shared)
        actions.take_back(session, JOB, [(issued[0].lot_id, 2)], **shared)
        actions.release(session, JOB, **shared)
    assert level(shop, "SCRW-1").on_hand == 7
    assert faults(shop) == []


def test_scrap_lets_the_newest_promise_fall(shop: Database) -> None:
    with shop.write() as session:
        lot = receive(session, "DISP-1", 3)
        place = queries.lots_of(session, ["DISP-1"])[0].location_id
        actions.reserve(session, JOB, {"DISP-1": 2}, **stamp())
        actions.reserve(session, OTHER, {"DISP-1": 1}, **stamp())
        fallen = actions.scrap_stock(session, lot, place, 2, "Dropped", **stamp())
        assert fallen == (
            actions.Withdrawn(OTHER, "DISP-1", 1),
            actions.Withdrawn(JOB, "DISP-1", 1),
        )
        assert queries.reserved_for(session, JOB) == {"DISP-1": 1}
    assert faults(shop) == []


def test_a_kit_is_costed_first_in_first_out(shop: Database) -> None:
    """FIFO layers 100@5, +300@6, -200, +500@7, -200, +200@8, -200, -200: issues 1,100 1,200 1,400 1,400.

    Closing 2,300. Source: ACCA F3 study text.
    """
    costs = []
    with shop.write() as session:
        for step in ((100, "5"), (300, "6"), -200, (500, "7"), -200, (200, "8"), -200, -200):
            if isinstance(step, tuple):
                receive(session, "SCRW-1", step[0], cost=step[1])
            else:
                issued = kit(session, JOB, {"SCRW-1": -step})
                costs.append(sum(lot.quantity * lot.unit_cost for lot in issued))
        left = sum(lot.on_hand * lot.unit_cost for lot in queries.lots_of(session, ["SCRW-1"]))
    assert costs == [1100, 1200, 1400, 1400]
    assert left == 2300


def test_what_waits_longest_stands_first(shop: Database) -> None:
    with shop.write() as session:
        receive(session, "DISP-1", 3)
        actions.reserve(session, OTHER, {"DISP-1": 1}, **{**stamp(), "at": AT.replace(hour=7)})
        actions.reserve(session, JOB, {"DISP-1": 2}, **stamp())
        waiting = queries.kits_waiting(session)
        promised = queries.promises_of(session, "DISP-1")
    assert [(k.source_ref, k.pieces) for k in waiting] == [(OTHER, 1), (JOB, 2)]
    assert [(p.source_ref, p.quantity) for p in promised] == [(OTHER, 1), (JOB, 2)]


def test_an_unknown_part_is_named(shop: Database) -> None:
    with shop.write() as session, pytest.raises(NotFound, match="part NOPE"):
        actions.reserve(session, JOB, {"NOPE": 1}, **stamp())


def test_the_projections_are_rebuilt_from_the_facts(shop: Database) -> None:
    with shop.write() as session:
        receive(session, "SEAL-1", 9, expires=SOON)
        kit(session, JOB, {"SEAL-1": 2})
        actions.reserve(session, OTHER, {"SEAL-1": 1}, **stamp())
    before = level(shop, "SEAL-1")
    with shop.write() as session:
        session.connection().exec_driver_sql("UPDATE stock_level SET on_hand = 99")
        session.connection().exec_driver_sql("UPDATE lot_balance SET on_hand = 98")
    assert any("stored 99, the facts give 7" in fault for fault in faults(shop))
    with shop.write() as session:
        assert len(actions.rebuild_projections(session)) > 1
    assert level(shop, "SEAL-1") == before
    assert faults(shop) == []
