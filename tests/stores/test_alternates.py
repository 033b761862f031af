"""Alternates on the parts' pages: proposed by the stores, approved by a supervisor, withdrawn, nothing forgotten."""

from collections.abc import Callable

import pytest
from fastapi import FastAPI

from app.people.models import Role
from app.platform.clock import uuid7
from app.platform.db import Database
from app.platform.errors import Refused
from app.stores import actions, queries
from tests.jobs.test_bench_api import token
from tests.stores.shop import TODAY, faults, receive, stamp
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]
PAGE = "/parts/DISP-1/alternates"


def propose(clerk: Visitor, alternate: str = "SCRW-1", **more: str) -> object:
    """Propose an alternate of the display."""
    return clerk.open(PAGE).form("/alternates").submit(alternate=alternate, reason="Same drawing", **more)


def test_the_stores_propose_and_a_supervisor_approves(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        receive(session, "SCRW-1", 40)
    clerk = visit("stores")
    propose(clerk, fits_from="board revision 3")
    page = clerk.open(PAGE)
    assert "A supervisor approves it." in page.words
    assert "from board revision 3" in page.words
    assert "on the shelf" not in page.words
    done = visit("supervisor").open(PAGE).form("/approve").submit()
    assert (
        "40 of approved alternate SCRW-1 on the shelf, free. Orders of DISP-1 are worked out without them."
        in done.words
    )
    assert clerk.open("/parts/SCRW-1/alternates").words.count("Approved") >= 1
    assert faults(shop) == []


def test_a_clerk_cannot_approve(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    propose(clerk)
    values = {"part": "DISP-1", "alternate": "SCRW-1", "submission_id": uuid7()}
    token_field = clerk.open(PAGE).form("/alternates").values["csrf_token"][0]
    assert clerk.post(f"{PAGE}/approve", {**values, "csrf_token": token_field}).status == 403
    with shop.write() as session, pytest.raises(Refused, match="A supervisor approves an alternate"):
        actions.approve_alternate(session, "DISP-1", "SCRW-1", supervisor=False, **stamp())


def test_what_is_wrong_is_said_beside_its_field(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    same = clerk.open(PAGE).form("/alternates").submit(alternate="DISP-1", reason="Any")
    assert (same.status, "A part is no alternate of itself" in same.words) == (409, True)
    bare = clerk.open(PAGE).form("/alternates").submit(alternate="SCRW-1", reason="")
    assert bare.status == 422
    unknown = clerk.open(PAGE).form("/alternates").submit(alternate="NONE-1", reason="Any")
    assert (unknown.status, "There is no part NONE-1. Check the number" in unknown.words) == (409, True)
    assert unknown.form("/alternates").submit(alternate="SCRW-1").status == 200
    gone = clerk.open(PAGE).form("/withdraw").submit(why=" ")
    assert gone.status == 422
    box = gone.soup.find("input", attrs={"name": "why", "aria-invalid": "true"})
    assert box is not None
    assert gone.soup.find(id=box["aria-describedby"]) is not None


def test_a_withdrawn_pair_is_offered_no_more_and_its_history_stays(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        receive(session, "SCRW-1", 4)
    propose(visit("stores"))
    boss = visit("supervisor")
    boss.open(PAGE).form("/approve").submit()
    page = boss.open(PAGE).form("/withdraw").submit(why="Rattles in the frame")
    assert "on the shelf, free" not in page.words
    rows = [row.get_text(" ", strip=True) for row in page.soup.select("section:last-of-type tbody tr")]
    assert [next(w for w in ("Withdrawn", "Approved", "Proposed") if w in row) for row in rows] == [
        "Withdrawn", "Approved", "Proposed",
    ]  # fmt: skip
    with shop.read() as session:
        assert queries.offers(session, ["DISP-1"], TODAY) == {}
    # A withdrawn pair is proposed anew before it can be approved.
    with shop.write() as session, pytest.raises(Refused, match="Propose it anew"):
        actions.approve_alternate(session, "DISP-1", "SCRW-1", supervisor=True, **stamp())
    propose(boss)
    boss.open(PAGE).form("/approve").submit()
    assert faults(shop) == []


def test_the_api_proposes_and_approves_by_the_same_actions(app: FastAPI, shop: Database) -> None:
    clerk, boss = token(app, shop, Role.STORES), token(app, shop, Role.SUPERVISOR)
    body = {"id": uuid7(), "alternate": "SCRW-1", "reason": "Same drawing", "both_ways": True}
    there = "/api/v1/parts/DISP-1/alternates"
    assert clerk.post(there, json=body).json()[0]["state"] == "proposed"
    assert clerk.post(there, json=body).json()[0]["state"] == "proposed"
    decide = {"id": uuid7(), "alternate": "SCRW-1"}
    assert clerk.post(f"{there}/approve", json=decide).status_code == 403
    assert boss.post(f"{there}/approve", json=decide).json()[0]["state"] == "approved"
    found = clerk.get("/api/v1/parts/SCRW-1/alternates").json()
    assert [(r["part"], r["alternate"], r["both_ways"]) for r in found] == [("DISP-1", "SCRW-1", True)]
