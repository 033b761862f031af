"""The JSON API of the stores: the same actions as the pages, exactly once, errors as problem details."""

from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.people.actions import make_token
from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from tests.stores.shop import faults, level, receive


def client(app: FastAPI, db: Database, role: Role) -> TestClient:
    """Return a client with a bearer token of that role, made by the supervisor."""
    with db.write() as session:
        token = make_token(session, "Test", role, clock.now(), 4)
    return TestClient(app, headers={"authorization": f"Bearer {token}"})


@pytest.fixture
def api(app: FastAPI, shop: Database) -> TestClient:
    """A client that acts as stores."""
    return client(app, shop, Role.STORES)


def receipt(**more: Any) -> dict[str, Any]:
    """Return the body of a receipt without an order."""
    body = {"id": clock.uuid7(), "kind": "receipt", "part_number": "DISP-1", "quantity": 3, "reason": "Sample"}
    return {**body, **more}


def test_parts_are_listed_page_by_page_and_shown(shop: Database, api: TestClient) -> None:
    first = api.get("/api/v1/parts?limit=3").json()
    assert [part["number"] for part in first["items"]] == ["CELL-1", "DISP-1", "SCRW-1"]
    rest = api.get(f"/api/v1/parts?limit=3&after={first['next']}").json()
    assert ([part["number"] for part in rest["items"]], rest["next"]) == (["SEAL-1"], None)
    with shop.write() as session:
        receive(session, "SCRW-1", 7, "S1", cost="0.0317")
    shown = api.get("/api/v1/parts/SCRW-1").json()
    assert (shown["available"], shown["lots"][0]["unit_cost"], shown["pack"]) == (7, "0.0317", 50)


def test_a_receipt_is_posted_exactly_once(shop: Database, api: TestClient) -> None:
    body = receipt()
    posted = api.post("/api/v1/movements", json=body)
    assert (posted.status_code, posted.json()["on_hand"]) == (201, 3)
    again = api.post("/api/v1/movements", json=body)
    assert (again.status_code, again.json()["on_hand"]) == (201, 3)
    other = api.post("/api/v1/movements", json={**body, "quantity": 4})
    assert other.status_code == 409
    assert other.headers["content-type"] == "application/problem+json"
    assert level(shop, "DISP-1").on_hand == 3


def test_scrap_and_adjustment_name_their_lot(shop: Database, api: TestClient) -> None:
    api.post("/api/v1/movements", json=receipt())
    lot = api.get("/api/v1/parts/DISP-1").json()["lots"][0]
    where = {"lot_id": lot["lot_id"], "location_id": lot["location_id"]}
    assert api.post("/api/v1/movements", json=receipt(kind="scrap", quantity=1)).status_code == 409
    done = api.post("/api/v1/movements", json=receipt(kind="scrap", quantity=1, **where))
    assert done.json()["on_hand"] == 2
    done = api.post("/api/v1/movements", json=receipt(kind="count adjustment", quantity=-2, **where))
    assert done.json()["on_hand"] == 0
    wrong = api.post("/api/v1/movements", json=receipt(part_number="SCRW-1", kind="scrap", quantity=1, **where))
    assert wrong.status_code == 404
    kinds = [move["kind"] for move in api.get("/api/v1/movements?part_number=DISP-1").json()["items"]]
    assert kinds == ["count adjustment", "scrap", "receipt"]
    assert faults(shop) == []


def test_movements_are_paged_newest_first(shop: Database, api: TestClient) -> None:
    for n in range(1, 6):
        api.post("/api/v1/movements", json=receipt(quantity=n))
    first = api.get("/api/v1/movements?limit=2").json()
    second = api.get(f"/api/v1/movements?limit=2&after={first['next']}").json()
    assert [m["quantity"] for m in first["items"] + second["items"]] == [5, 4, 3, 2]
    assert api.get("/api/v1/movements?kind=issue").json() == {"items": [], "next": None}
    assert api.get("/api/v1/movements?kind=gift").status_code == 422


def test_an_order_is_placed_and_received(shop: Database, api: TestClient) -> None:
    due = {item["part_number"]: item for item in api.get("/api/v1/reorder").json()["items"]}
    assert due["SCRW-1"]["quantity"] == 50
    lines = [{"part_number": n, "quantity": due[n]["quantity"]} for n in ("SCRW-1", "DISP-1")]
    body = {"id": clock.uuid7(), "supplier": "KLP", "lines": lines}
    order = api.post("/api/v1/orders", json=body).json()
    assert api.post("/api/v1/orders", json=body).json()["number"] == order["number"] == "P000001"
    goods = {"id": clock.uuid7(), "version": order["version"], "lines": [{"part_number": "DISP-1", "quantity": 2}]}
    came = api.post("/api/v1/orders/P000001/receive", json=goods)
    assert came.json()["status"] == "part received"
    stale = api.post("/api/v1/orders/P000001/receive", json={**goods, "id": clock.uuid7()})
    assert stale.status_code == 409
    assert any("DISP-1: 2 of 5 received" in change for change in stale.json()["changes"])
    assert api.get("/api/v1/orders?show=open").json()["items"][0]["lines"][0]["outstanding"] == 3
    assert faults(shop) == []


def test_roles_and_tokens_are_asked_for(shop: Database, app: FastAPI) -> None:
    bench = client(app, shop, Role.TECHNICIAN)
    assert bench.get("/api/v1/parts").status_code == 200
    assert bench.get("/api/v1/orders").status_code == 403
    assert bench.post("/api/v1/movements", json=receipt()).status_code == 403
    nobody = TestClient(app)
    assert nobody.get("/api/v1/parts").status_code == 401
    assert nobody.post("/api/v1/movements", json=receipt()).status_code == 401


def test_what_is_missing_or_wrong_is_a_problem_in_words(shop: Database, api: TestClient) -> None:
    assert api.get("/api/v1/parts/NOPE").json()["title"] == "There is no part NOPE."
    assert api.post("/api/v1/movements", json=receipt(part_number="NOPE")).status_code == 404
    assert api.post("/api/v1/movements", json=receipt(quantity="x")).status_code == 422
    assert api.post("/api/v1/movements", json=receipt(id="abc")).status_code == 422
    bad_order = {"id": clock.uuid7(), "supplier": "ZZZ", "lines": [{"part_number": "DISP-1", "quantity": 2}]}
    assert api.post("/api/v1/orders", json=bad_order).status_code == 404
