"""The JSON API of reordering: the same figures as the pages, the same actions, exactly once."""

from datetime import timedelta

from fastapi import FastAPI

from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from tests.stores.shop import level
from tests.stores.test_api import client


def test_the_list_and_a_suggestion_say_what_the_pages_say(app: FastAPI, shop: Database) -> None:
    api = client(app, shop, Role.STORES)
    listed = api.get("/api/v1/reorder").json()
    assert listed["stale"] == 0
    display = next(item for item in listed["items"] if item["part_number"] == "DISP-1")
    assert (display["quantity"], display["suggested"], display["reorder_point"]) == (5, 5, 2)
    shown = api.get("/api/v1/suggestions/DISP-1").json()
    assert (shown["by_hand"], shown["figures"]["quantity"], shown["changed"]) == (True, 5, [])
    assert any("below the reorder point of 2" in words for words in shown["figures"]["because"])
    assert api.get("/api/v1/suggestions/NONE-1").status_code == 404


def test_a_draft_is_sent_and_confirmed_exactly_once(app: FastAPI, shop: Database) -> None:
    api = client(app, shop, Role.STORES)
    lines = [{"part_number": "DISP-1", "quantity": 5}]
    body = {"id": clock.uuid7(), "supplier": "KLP", "lines": lines, "draft": True}
    draft = api.post("/api/v1/orders", json=body).json()
    assert (draft["status"], level(shop, "DISP-1").on_order) == ("draft", 0)
    send = {"id": clock.uuid7(), "version": draft["version"]}
    path = f"/api/v1/orders/{draft['number']}"
    sent = api.post(f"{path}/send", json=send).json()
    assert (sent["status"], api.post(f"{path}/send", json=send).status_code) == ("sent", 200)
    assert level(shop, "DISP-1").on_order == 5
    day = (clock.now().date() + timedelta(days=9)).isoformat()
    confirm = {"id": clock.uuid7(), "version": sent["version"], "confirmed_on": day}
    confirmed = api.post(f"{path}/confirm", json=confirm).json()
    assert (confirmed["status"], confirmed["confirmed_on"], confirmed["expected_on"]) == ("confirmed", day, day)
    stale = {"id": clock.uuid7(), "version": draft["version"], "confirmed_on": day}
    assert api.post(f"{path}/confirm", json=stale).status_code == 409
    assert api.get("/api/v1/orders?show=confirmed").json()["items"][0]["number"] == draft["number"]
