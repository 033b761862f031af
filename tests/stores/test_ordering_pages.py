"""From the reorder list to goods on the shelf, through the pages."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from app.platform.clock import uuid7
from app.platform.db import Database
from app.platform.errors import Refused
from app.stores import actions, queries
from tests.stores.shop import faults, level, receive
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]


def place(clerk: Visitor, group: int = 0) -> Page:
    """Place an order for everything that is due at one supplier."""
    return clerk.open("/reorder").form("/orders/new", group).submit().form("/orders/new").submit()


def test_an_order_is_placed_in_three_clicks_from_the_list(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    # One: the list from the morning page. Two: review. Three: place. Nothing is typed.
    listed = clerk.open("/stores").link("Order 4 parts")
    assert listed.path == "/reorder"
    assert "0 on hand + 0 on order − 0 reserved = 0, below the reorder point of 4" in listed.words
    review = listed.form("/orders/new").submit()
    assert review.path == "/orders/new"
    order = review.form("/orders/new").submit()
    assert order.path == "/orders/P000001"
    assert (level(shop, "SCRW-1").on_order, level(shop, "DISP-1").on_order) == (50, 5)
    assert "Nothing to order" not in clerk.open("/reorder").words
    assert "SCRW-1" not in clerk.open("/reorder").words
    assert faults(shop) == []


def test_a_line_that_is_not_ticked_is_not_ordered(shop: Database, visit: Visit) -> None:
    review = visit("stores").open("/reorder").form("/orders/new").submit(line=["DISP-1"])
    assert "DISP-1" in review.text
    assert 'name="quantity-SCRW-1"' not in review.text
    order = review.form("/orders/new").submit(note="By van, please")
    assert "By van, please" in order.words
    assert level(shop, "SCRW-1").on_order == 0


def test_a_quantity_that_is_not_in_packs_is_refused_beside_its_field(shop: Database, visit: Visit) -> None:
    review = visit("stores").open("/reorder").form("/orders/new").submit()
    refused = review.form("/orders/new").submit(None, **{"quantity-SCRW-1": 60, "note": "keep me"})
    assert refused.status == 409
    assert "SCRW-1 comes in packs of 50. Order 50 or 100." in refused.words
    assert refused.form("/orders/new").values["quantity-SCRW-1"] == ["60"]
    assert refused.form("/orders/new").values["note"] == ["keep me"]
    assert level(shop, "SCRW-1").on_order == 0


def test_words_for_a_number_are_refused_beside_their_field(shop: Database, visit: Visit) -> None:
    review = visit("stores").open("/reorder").form("/orders/new").submit()
    refused = review.form("/orders/new").submit(None, **{"quantity-SCRW-1": "many"})
    assert refused.status == 422
    assert "Enter a whole number" in refused.words


def test_goods_cannot_be_expected_before_the_order(shop: Database, visit: Visit) -> None:
    review = visit("stores").open("/reorder").form("/orders/new").submit()
    refused = review.form("/orders/new").submit(None, expected_on="2020-01-01")
    assert refused.status == 409
    assert "That day is over already. Choose the day on which the goods should be here." in refused.words
    assert level(shop, "DISP-1").on_order == 0


def test_today_is_the_workshops_day_and_not_that_of_utc(shop: Database) -> None:
    # Eight in the evening in the west, when the day has ended in UTC.
    at, here = datetime(2026, 3, 3, 4, 0, tzinfo=UTC), date(2026, 3, 2)
    stamp: dict[str, Any] = {"at": at, "who": None}
    with shop.write() as session:
        supplier = queries.suppliers(session)[0].id
        lines = [actions.OrderLine("SCRW-1", 50)]
        number = actions.place_order(session, supplier, lines, here, entry_id=uuid7(), today=here, **stamp)
        with pytest.raises(Refused, match="over already"):
            actions.place_order(session, supplier, lines, here, entry_id=uuid7(), today=here + timedelta(1), **stamp)
    assert number.startswith("P")


def test_goods_are_received_in_part_and_then_whole(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    place(clerk)
    goods = clerk.open("/orders/P000001/receive").form("/receive")
    assert goods.values["quantity-DISP-1"] == ["5"]
    part = goods.submit(
        None, **{"quantity-DISP-1": 2, "lot_code-DISP-1": "D77", "quantity-CELL-1": 0, "quantity-SCRW-1": 50}
    )
    assert part.path == "/orders/P000001", part.words
    assert "Part received" in part.words
    assert (level(shop, "DISP-1").on_hand, level(shop, "DISP-1").on_order) == (2, 3)
    rest = clerk.open("/orders/P000001/receive").form("/receive")
    assert rest.values["quantity-DISP-1"] == ["3"]
    assert "quantity-SCRW-1" not in rest.values
    done = rest.submit(None, **{"expires_on-CELL-1": "2099-01-31"})
    assert "Received" in done.words
    assert "Receive goods" not in done.words
    assert level(shop, "CELL-1").on_hand == 12
    with shop.read() as session:
        lots = {(lot.code, lot.on_hand, str(lot.unit_cost)) for lot in queries.lots_of(session, ["DISP-1"])}
    assert ("D77", 2, "86.4000") in lots
    assert len(lots) == 2
    assert faults(shop) == []


def test_goods_with_a_shelf_life_need_their_last_day(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    place(clerk)
    refused = clerk.open("/orders/P000001/receive").form("/receive").submit()
    assert refused.status == 409
    assert "Read the last day of use off the pack." in refused.words
    assert level(shop, "DISP-1").on_hand == 0


def test_expired_goods_are_not_taken_in(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    place(clerk)
    refused = clerk.open("/orders/P000001/receive").form("/receive").submit(None, **{"expires_on-CELL-1": "2020-01-01"})
    assert refused.status == 409
    assert "Send it back" in refused.words


def test_more_than_is_outstanding_is_refused(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    place(clerk)
    form = clerk.open("/orders/P000001/receive").form("/receive")
    refused = form.submit(None, **{"quantity-DISP-1": 6, "expires_on-CELL-1": "2099-01-31"})
    assert refused.status == 409
    assert "DISP-1: 6 came, 5 outstanding." in refused.words
    assert refused.form("/receive").values["expires_on-CELL-1"] == ["2099-01-31"]


def test_sending_the_same_receipt_twice_gives_one_receipt(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    place(clerk)
    form = clerk.open("/orders/P000001/receive").form("/receive")
    changed = {"quantity-CELL-1": 0, "quantity-DISP-1": 2, "quantity-SCRW-1": 0}
    first, second = form.submit(None, **changed), form.submit(None, **changed)
    assert first.path == second.path == "/orders/P000001"
    assert level(shop, "DISP-1").on_hand == 2
    other = form.submit(None, **{**changed, "quantity-DISP-1": 1})
    assert other.status == 409
    assert "already sent with other content" in other.words
    assert level(shop, "DISP-1").on_hand == 2


def test_a_stale_order_is_not_received_into(shop: Database, visit: Visit) -> None:
    clerk, colleague = visit("stores"), visit("supervisor")
    place(clerk)
    stale = clerk.open("/orders/P000001/receive").form("/receive")
    none = {"quantity-CELL-1": 0, "quantity-SCRW-1": 0}
    colleague.open("/orders/P000001/receive").form("/receive").submit(None, **none, **{"quantity-DISP-1": 1})
    refused = stale.submit(None, **none, **{"quantity-DISP-1": 5})
    assert refused.status == 409
    assert "Order P000001 changed since this page was shown." in refused.words
    assert "DISP-1: 1 of 5 received" in refused.words
    assert level(shop, "DISP-1").on_hand == 1


def test_an_order_is_cancelled_before_anything_came(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    order = place(clerk)
    done = order.form("/cancel").submit()
    assert "Cancelled" in done.words
    assert level(shop, "DISP-1").on_order == 0
    assert "DISP-1" in clerk.open("/reorder").words
    assert faults(shop) == []


def test_the_rest_of_an_order_is_closed_short(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    place(clerk)
    form = clerk.open("/orders/P000001/receive").form("/receive")
    part = form.submit(None, **{"quantity-CELL-1": 0, "quantity-SCRW-1": 0, "quantity-DISP-1": 4})
    done = part.form("/close-short").submit()
    assert "1 not coming" in done.words
    assert (level(shop, "DISP-1").on_hand, level(shop, "DISP-1").on_order) == (4, 0)
    sheet = clerk.open("/orders/P000001/sheet")
    assert [row("td")[-1].text for row in sheet.soup.select("tbody tr, tfoot tr")] == ["€345.60", "€345.60"]
    assert faults(shop) == []


def test_the_sheet_and_the_csv_carry_the_order(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    place(clerk)
    sheet = clerk.open("/orders/P000001/sheet")
    assert "Kelp Spares" in sheet.words
    assert "Perimeter seal" not in sheet.words
    assert sheet.soup.find("svg", class_="segno") is not None
    rows = clerk.open("/orders/P000001.csv").text.splitlines()
    assert rows[0].startswith("\ufefforder,supplier_number,part,name,quantity")
    assert any(row.startswith("P000001,,SCRW-1,Screw M1.6,50,each,0.0317,") for row in rows)


def test_the_csv_cannot_start_a_formula_in_a_spreadsheet(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    edit = clerk.open("/parts/DISP-1/edit").form("/edit")
    edit.submit(name='=HYPERLINK("http://x.example")', supplier_number="@SUM(A1)")
    place(clerk)
    body = clerk.open("/orders/P000001.csv").text
    assert "'=HYPERLINK" in body
    assert "'@SUM(A1)" in body
    assert ",=" not in body


def test_the_morning_page_shows_what_waits(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        receive(session, "DISP-1", 9)
    morning = visit("stores").open("/stores")
    assert "No kit waits." in morning.words
    assert "3 parts are at or below the reorder point." in morning.words
    assert "Not ordered" in morning.words


def test_another_part_of_the_supplier_is_added_in_review(shop: Database, visit: Visit) -> None:
    review = visit("stores").open("/reorder").form("/orders/new").submit(line=["DISP-1"])
    more = review.form("/orders/new", 1).submit(add="SCRW-1")
    order = more.form("/orders/new").submit(None, **{"quantity-SCRW-1": 100})
    assert order.path == "/orders/P000001", order.words
    assert (level(shop, "SCRW-1").on_order, level(shop, "DISP-1").on_order) == (100, 5)
