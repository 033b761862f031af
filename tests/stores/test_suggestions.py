"""What to order and why, through the pages: the list, one part's screen, overrides, policy, prices, joint orders."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from app.platform import clock
from app.platform.db import Database
from app.stores import actions, queries
from tests.stores.shop import receive
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def used_for_years(db: Database, number: str = "SCRW-1", each: int = 4) -> None:
    """Tell two years in which a job takes some every fortnight, unforeseen, and the stock that it came from."""
    now = clock.now()
    with db.write() as session:
        lot = receive(session, number, 600, "OLD", cost="0.0317")
        location = queries.lots_of(session, [number])[0].location_id
        for fortnight in range(50, 0, -1):
            at = now - timedelta(days=14 * fortnight)
            stamp: dict[str, Any] = {"entry_id": clock.uuid7(), "at": at, "who": None}
            job = f"job:J{fortnight:06d}"
            actions.reserve(session, job, {number: each}, **stamp)
            actions.hand_out(session, job, [actions.Pick(number, lot, location, each)], **stamp)


def test_use_makes_a_forecast_that_takes_the_place_of_the_cards_levels(shop: Database, visit: Visit) -> None:
    used_for_years(shop)
    clerk = visit("stores")
    shown = clerk.open("/stores/reorder/SCRW-1")
    assert shown.status == 200
    assert "Forecast" in shown.words
    assert "fill rate" in shown.words.casefold()
    assert "It is always wanted in multiples of 4 and counted so." in shown.words
    assert "until there is, the levels on the part's card hold" not in shown.words
    drawing = shown.soup.find("svg", class_="stock-plot")
    assert drawing is not None
    assert drawing.find("title") is not None
    assert drawing.find("desc") is not None
    assert len(shown.soup.select("details.more tr")) > 8


def test_a_part_without_use_goes_by_its_card_and_says_so(shop: Database, visit: Visit) -> None:
    shown = visit("stores").open("/stores/reorder/DISP-1")
    assert "below the reorder point of 2" in shown.words
    assert "until there is, the levels on the part's card hold" in shown.words


def test_what_a_job_is_short_of_is_known_demand_and_is_ordered(shop: Database, visit: Visit) -> None:
    now = clock.now()
    with shop.write() as session:
        actions.want(session, "job:J000009", {"DISP-1": 30}, now.date() + timedelta(days=2), at=now)
    clerk = visit("stores")
    shown = clerk.open("/stores/reorder/DISP-1")
    assert "job J000009" in shown.words
    assert "30 short on" in shown.words
    ordered = clerk.open("/reorder").form("/orders/new").submit().form("/orders/new").submit()
    assert ordered.path == "/orders/P000001"
    assert "DISP-1" not in clerk.open("/reorder").words
    with shop.write() as session:
        actions.want(session, "job:J000009", {}, now.date(), at=now)
    assert "job J000009" not in clerk.open("/stores/reorder/DISP-1").words


def test_an_override_holds_until_the_suggestion_changes(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    form = clerk.open("/stores/reorder/DISP-1").form("/override")
    refused = form.submit(quantity=5, reason="Already enough")
    assert (refused.status, "5 is what is suggested" in refused.words) == (409, True)
    form = clerk.open("/stores/reorder/DISP-1").form("/override")
    kept = form.submit(quantity=9, reason="A ferry is coming in for her yearly")
    assert kept.path == "/stores/reorder/DISP-1"
    listed = clerk.open("/reorder")
    assert listed.form("/orders/new").values["quantity-DISP-1"] == ["9"]
    assert "A ferry is coming in for her yearly" in listed.words
    assert "Holds" in clerk.open("/stores/overrides").words
    with shop.write() as session:
        receive(session, "DISP-1", 2, cost="86.40")
    assert "9" not in clerk.open("/reorder").form("/orders/new").values["quantity-DISP-1"]
    assert "The suggestion is now 3, was 5." in clerk.open("/stores/overrides").words


def test_an_override_to_nothing_takes_the_part_off_the_list_and_can_be_taken_back(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    clerk.open("/stores/reorder/DISP-1").form("/override").submit(quantity=0, reason="The model goes out of use")
    assert "DISP-1" not in clerk.open("/reorder").words
    clerk.open("/stores/reorder/DISP-1").form("/as-suggested").submit()
    assert "DISP-1" in clerk.open("/reorder").words


def test_a_better_service_level_raises_the_reorder_point(shop: Database, visit: Visit) -> None:
    used_for_years(shop)
    clerk = visit("stores")
    clerk.open("/reorder")
    with shop.read() as session:
        before = queries.kept_suggestion(session, "SCRW-1")
    policy = clerk.open("/stores/policy").form("/policy")
    assert policy.values["service_c"] == ["90"]
    same = {"service_a": "99.9", "service_b": "99.9", "service_c": "99.9"}
    assert policy.submit(**same).path == "/stores/policy"
    with shop.read() as session:
        after = queries.kept_suggestion(session, "SCRW-1")
    assert before is not None
    assert after is not None
    assert after.now.reorder_point > before.now.reorder_point
    assert after.now.target == 0.999
    refused = clerk.open("/stores/policy").form("/policy").submit(service_a="30")
    assert (refused.status, "Enter at least 50" in refused.words) == (422, True)


def test_a_critical_part_gets_the_level_of_critical_parts(shop: Database, visit: Visit) -> None:
    used_for_years(shop)
    clerk = visit("stores")
    clerk.open("/stores/reorder/SCRW-1").form("/settings").submit(critical="yes")
    shown = clerk.open("/stores/reorder/SCRW-1")
    assert "Class C, critical." in shown.words
    assert "99.0 %" in shown.words


def test_a_new_part_is_supposed_to_be_used_as_its_procedures_say(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    clerk.open("/stores/reorder/DISP-1").form("/settings").submit(
        uses_per_job="1", jobs_per_device_year="0.5", devices=120
    )
    shown = clerk.open("/stores/reorder/DISP-1")
    assert "1 a job × 0.5 jobs a year and device × 120 devices = 60.0 a year" in shown.words


def test_prices_by_quantity_are_kept_and_used_in_orders(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    with shop.read() as session:
        kelp = next(row for row in queries.suppliers(session) if row.code == "KLP")
    form = clerk.open("/stores/reorder/DISP-1").form("/prices")
    wrong = form.submit(supplier=kelp.id, prices="five: 2")
    assert (wrong.status, "'five: 2' is not a quantity and a price" in wrong.words) == (409, True)
    clerk.open("/stores/reorder/DISP-1").form("/prices").submit(supplier=kelp.id, prices="1: 86.40\n5: 80")
    assert "from 5: €80.00" in clerk.open("/stores/reorder/DISP-1").words
    with shop.write() as session:
        stamp: dict[str, Any] = {"entry_id": clock.uuid7(), "at": clock.now(), "who": None}
        number = actions.place_order(session, kelp.id, [actions.OrderLine("DISP-1", 5)], **stamp)
    with shop.read() as session:
        order = queries.order(session, number)
    assert order is not None
    assert str(order.lines[0].unit_price) == "80.0000"


def test_due_parts_grow_to_reach_a_suppliers_minimum_order(shop: Database, visit: Visit) -> None:
    used_for_years(shop, each=8)
    with shop.write() as session:
        lot = queries.lots_of(session, ["SCRW-1"])[0]
        stamp: dict[str, Any] = {"entry_id": clock.uuid7(), "at": clock.now(), "who": None}
        actions.scrap_stock(session, lot.lot_id, lot.location_id, lot.on_hand, "Wrong thread", **stamp)
    clerk = visit("stores")
    with shop.read() as session:
        kelp = next(row for row in queries.suppliers(session) if row.code == "KLP")
    clerk.open(f"/stores/terms/{kelp.id}").form(f"/terms/{kelp.id}").submit(minimum_value="800")
    listed = clerk.open("/reorder")
    assert "is below the supplier's minimum order of 800.00" in listed.words


def test_receipts_teach_the_lead_time(shop: Database, visit: Visit) -> None:
    now = clock.now()
    with shop.write() as session:
        kelp = next(row for row in queries.suppliers(session) if row.code == "KLP")
        for ago in (200, 150, 100):
            sent = now - timedelta(days=ago)
            stamp: dict[str, Any] = {"entry_id": clock.uuid7(), "at": sent, "who": None}
            number = actions.place_order(session, kelp.id, [actions.OrderLine("DISP-1", 2)], **stamp)
            order = queries.order(session, number)
            assert order is not None
            came: dict[str, Any] = {"entry_id": clock.uuid7(), "at": sent + timedelta(days=22), "who": None}
            actions.receive_goods(session, order.id, [actions.ReceivedLine("DISP-1", 2)], **came)
    assert "3 receipts took 22.0 on average, 10 stated" in visit("stores").open("/stores/reorder/DISP-1").words


def test_what_changed_since_an_earlier_day_is_told(shop: Database, visit: Visit) -> None:
    yesterday = clock.now() - timedelta(days=1)
    with shop.write() as session:
        actions.renew_suggestions(session, yesterday.date(), at=yesterday)
        receive(session, "DISP-1", 1, cost="86.40")
    shown = visit("stores").open("/stores/reorder/DISP-1")
    assert "To order: 4, was 5." in shown.words
    assert "Position: 1, was 0." in shown.words


def test_the_kept_suggestions_are_the_same_however_they_are_computed(shop: Database, visit: Visit) -> None:
    used_for_years(shop)
    now = clock.now()
    with shop.write() as session:
        actions.renew_suggestions(session, now.date(), at=now)
        whole = {n: queries.kept_suggestion(session, n) for n in ("SCRW-1", "DISP-1")}
        for number in whole:
            part = queries.part(session, number)
            assert part is not None
            actions.renew_suggestions(session, now.date(), at=now, part_ids=[part.id])
        assert {n: queries.kept_suggestion(session, n) for n in whole} == whole
        assert queries.count_stale(session, now.date()) == 0
