"""Goods that go back to their supplier: why, the credit that is expected, and how the matter ends."""

from collections.abc import Callable
from decimal import Decimal

import pytest
from fastapi import FastAPI

from app.people.models import Role
from app.platform.clock import uuid7
from app.platform.db import Database
from app.platform.errors import Refused
from app.rules.stores.supplier_returns import ReturnReason
from app.stores import actions, queries
from tests.jobs.test_bench_api import token
from tests.stores.shop import faults, level, receive, stamp
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def ordered(shop: Database, quantity: int = 5) -> str:
    """Order and receive displays; returns the order's number."""
    with shop.write() as session:
        supplier = queries.suppliers(session)[0].id
        number = actions.place_order(session, supplier, [actions.OrderLine("DISP-1", quantity)], **stamp())
        order = queries.order(session, number)
        assert order is not None
        actions.receive_goods(session, order.id, [actions.ReceivedLine("DISP-1", quantity, "D-1")], **stamp())
    return number


def test_faulty_goods_go_back_for_a_credit_and_the_return_closes_with_it(shop: Database, visit: Visit) -> None:
    order = ordered(shop)
    clerk = visit("stores")
    page = clerk.open(f"/orders/{order}").form("/send-back").submit(quantity=2, why="faulty", reason="Cracked corners")
    assert "2 × DISP-1, lot D-1: Cracked corners" in page.words
    with shop.read() as session:
        moves = [(m.kind, m.quantity, m.source_ref) for m in queries.movement_page(session, part_number="DISP-1")]
        assert moves[0] == ("return", -2, f"back:{order}")
    assert "172.80" in clerk.open("/stores/units").words
    shown = clerk.open("/stores/returns").link("RS00001")
    assert "Waits for its credit" in shown.words
    short = shown.form("/close").submit(credited="100", note="")
    assert (short.status, "Less came than was expected" in short.words) == (409, True)
    done = short.form("/close").submit(credited="172.80")
    assert "Credited" in done.words
    assert level(shop, "DISP-1").on_hand == 3
    assert faults(shop) == []
    with shop.read() as session:
        lot = queries.lots_of(session, ["DISP-1"])[0].lot_id
        account = queries.lot_account(session, lot)
        assert account is not None
        assert (account.sent_back, account.handed_out, account.balanced) == (2, 0, True)


def test_goods_that_came_without_an_order_go_back_by_their_lot(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        receive(session, "SCRW-1", 30, "S-1", cost="0.0317")
    clerk = visit("stores")
    page = (
        clerk.open("/stores/returns?part=SCRW-1")
        .form("/stores/returns", 1)
        .submit(quantity=10, why="more than ordered", reason="Ten too many")
    )
    assert "Return RS00001" in page.words
    assert "More than ordered" in page.words
    sheet = clerk.open("/stores/returns/RS00001/sheet")
    assert "Return of goods RS00001" in sheet.words
    assert "10" in sheet.words
    refused = page.form("/close").submit(credited="0", note="They will not")
    assert "Refused" in refused.words
    assert level(shop, "SCRW-1").on_hand == 20
    assert faults(shop) == []


def test_a_credit_note_in_whole_cents_is_not_less_than_a_cost_with_four_decimals(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        receive(session, "SCRW-1", 100, "S-1", cost="0.1234")
    clerk = visit("stores")
    page = clerk.open("/stores/returns?part=scrw-1").form("/stores/returns", 1)
    shown = page.submit(quantity=10, why="faulty", reason="Bent")
    box = shown.soup.find("input", attrs={"name": "credited"})
    assert box is not None
    assert box["value"] == "1.23"
    less = shown.form("/close").submit(credited="1.22")
    assert "Less came than was expected" in less.words
    assert "Credited" in less.form("/close").submit(credited="1.23", note="").words


def test_a_replacement_closes_the_return_without_a_credit(shop: Database, visit: Visit) -> None:
    order = ordered(shop)
    clerk = visit("stores")
    clerk.open(f"/orders/{order}").form("/send-back").submit(
        quantity=1, why="wrong goods", reason="Other model", replaced="yes"
    )
    page = clerk.open("/stores/returns/RS00001").form("/close").submit(note="Came on Friday")
    assert "Replaced" in page.words
    assert level(shop, "DISP-1").on_order == 1
    assert faults(shop) == []


def test_no_more_goes_back_than_lies_there_or_came(shop: Database) -> None:
    order = ordered(shop, 3)
    with shop.write() as session:
        lot = queries.lots_of(session, ["DISP-1"])[0]

        def back(quantity: int, number: str = order, words: str = "Any", replaced: bool = False) -> str:
            goods = actions.GoodsBack(lot.lot_id, lot.location_id, quantity, ReturnReason.FAULTY, words, replaced)
            return actions.return_goods(session, goods, number, **stamp())

        with pytest.raises(Refused, match="3 of lot D-1 lie there"):
            back(4)
        with pytest.raises(Refused, match="Say what is wrong with it"):
            back(1, words=" ")
        with pytest.raises(Refused, match="Choose the order that the replacement comes on"):
            back(1, number="", replaced=True)
        assert back(3) == "RS00001"
        actions.close_return(session, "RS00001", Decimal("259.20"), "", currency="EUR", at=stamp()["at"], who=None)
        with pytest.raises(Refused, match="closed already"):
            actions.close_return(session, "RS00001", Decimal(1), "", currency="EUR", at=stamp()["at"], who=None)
    assert faults(shop) == []


def test_promises_that_the_goods_carried_fall(shop: Database) -> None:
    ordered(shop, 3)
    with shop.write() as session:
        actions.reserve(session, "job:J000001", {"DISP-1": 3}, **stamp())
        lot = queries.lots_of(session, ["DISP-1"])[0]
        goods = actions.GoodsBack(lot.lot_id, lot.location_id, 2, ReturnReason.FAULTY, "Any")
        actions.return_goods(session, goods, **stamp())
        assert queries.reserved_for(session, "job:J000001") == {"DISP-1": 1}
    assert faults(shop) == []


def test_the_api_sends_back_and_closes_by_the_same_actions(app: FastAPI, shop: Database) -> None:
    ordered(shop, 3)
    client = token(app, shop, Role.STORES)
    with shop.read() as session:
        lot = queries.lots_of(session, ["DISP-1"])[0]
    body = {
        "id": uuid7(), "lot_id": lot.lot_id, "location_id": lot.location_id, "quantity": 1, "why": "faulty",
        "reason": "Dead pixels",
    }  # fmt: skip
    for _n in range(2):
        answer = client.post("/api/v1/returns", json=body)
        assert (answer.status_code, answer.json()["number"]) == (200, "RS00001"), answer.text
    closed = client.post("/api/v1/returns/RS00001/close", json={"id": uuid7(), "credited": "86.40"})
    assert closed.json()["state"] == "credited"
    assert [row["number"] for row in client.get("/api/v1/returns").json()] == ["RS00001"]
