"""The JSON API of the bench: the record, entries, the count, an override, release tests, closing."""

from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.jobs.models import Stage
from app.people import queries as people
from app.people.actions import make_token
from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from tests.jobs.bench_shop import SUPERVISOR, BenchShop, set_up
from tests.jobs.bench_work import BenchWork, entries_of, job_of

PASSPHRASE = "seven quiet lighthouses"
BOSS = "Ruth Okonjo-Lind"


def token(app: FastAPI, db: Database, role: Role) -> TestClient:
    """A program with a token of a role; it acts for the supervisor who made it."""
    with db.write() as session:
        boss = next(p for p, name in people.names(session).items() if name == BOSS)
        made = make_token(session, f"test {role.value}", role, clock.now(), boss)
    client = TestClient(app)
    client.headers["authorization"] = f"Bearer {made}"
    return client


class Program:
    """A program that works on one job through the API."""

    def __init__(self, client: TestClient, number: str) -> None:
        self.client = client
        self.base = f"/api/v1/jobs/{number}"

    def send(self, what: str, status: int = 200, **body: Any) -> dict[str, Any]:
        """POST a body with a fresh id, unless one is given."""
        answer = self.client.post(f"{self.base}/{what}", json={"id": clock.uuid7(), **body})
        assert answer.status_code == status, answer.text
        found: dict[str, Any] = answer.json()
        return found

    def event(self, kind: str, status: int = 200, **body: Any) -> dict[str, Any]:
        """Store one entry."""
        return self.send("events", status, kind=kind, **body)

    def get(self, what: str) -> dict[str, Any]:
        """GET something of the job."""
        answer = self.client.get(f"{self.base}/{what}")
        assert answer.status_code == 200, answer.text
        found: dict[str, Any] = answer.json()
        return found

    def through(self) -> None:
        """Open the job and tick everything down and up; the cell's job cures nothing."""
        self.event("open")
        job = self.client.get(self.base).json()
        for step in job["teardown"]:
            self.event("tick", side="down", step=step)
        self.event("turn")
        for step in job["refit"]:
            self.event("tick", side="up", step=step)


@pytest.fixture
def number(db: Database) -> str:
    """A job with its kit, the cell to exchange."""
    with db.write() as session:
        return BenchShop(session, set_up(session)).kitted(("cell",))


@pytest.fixture
def pressed(db: Database) -> str:
    """A job that the supervisor has put together, its seal pressed long ago."""
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
        work = BenchWork(shop, shop.kitted(("cell",)), SUPERVISOR)
        work.open()
        work.teardown()
        work.refit()
        return work.number


def test_a_job_is_worked_from_the_opening_to_the_last_tick(app: FastAPI, db: Database, number: str) -> None:
    program = Program(token(app, db, Role.TECHNICIAN), number)
    program.through()
    found = job_of(db, number)
    assert found.state.refitted
    count = program.get("count")
    assert count["balanced"]
    assert not count["ready"]
    assert "press still runs" in count["not_yet"]
    row = next(r for r in count["rows"] if r["item"] == "back/screws")
    assert (row["baseline"], row["out"], row["refitted"], row["missing"], row["pocket"]) == (4, 4, 4, 0, 1)


def test_an_entry_sent_again_gives_the_first_outcome(app: FastAPI, db: Database, number: str) -> None:
    program = Program(token(app, db, Role.TECHNICIAN), number)
    program.event("open")
    sent: dict[str, Any] = {"id": clock.uuid7(), "side": "down", "step": "warm"}
    first = program.event("tick", **sent)
    again = program.event("tick", **sent)
    assert first["event"] == again["event"]
    assert first["event"]["person"] == BOSS
    assert len(entries_of(db, number, "tick")) == 1
    other = program.event("tick", 409, **{**sent, "step": "back"})
    assert other["status"] == 409


def test_trouble_is_reported_and_taken_back(app: FastAPI, db: Database, number: str) -> None:
    program = Program(token(app, db, Role.TECHNICIAN), number)
    program.event("open")
    told = program.event("report", report="damage", item="back/screws", count=2, note="Heads stripped")
    assert told["said"] == []
    assert job_of(db, number).state.items["back/screws"].damaged == 2
    program.event("take_back", undoes=told["event"]["id"])
    assert job_of(db, number).state.items["back/screws"].damaged == 0
    unknown = program.event("report", 409, report="damage", item="back/screws", part="X-999")
    assert "not in the catalogue" in unknown["detail"]


def test_a_tick_is_taken_back_and_the_job_paused(app: FastAPI, db: Database, number: str) -> None:
    program = Program(token(app, db, Role.TECHNICIAN), number)
    program.event("open")
    tick = program.event("tick", side="down", step="warm")
    assert tick["down"] == ["warm"]
    assert program.event("undo", undoes=tick["event"]["id"])["down"] == []
    assert program.event("pause", 409)["detail"].startswith("Say why")
    program.event("pause", reason="Break")
    assert job_of(db, number).state.paused == "Break"


def test_the_record_is_paged_by_key_in_order(app: FastAPI, db: Database, number: str) -> None:
    program = Program(token(app, db, Role.TECHNICIAN), number)
    program.event("open")
    program.event("tick", side="down", step="warm")
    whole = program.get("events")
    assert whole["next"] is None
    seen: list[dict[str, Any]] = []
    after = ""
    while after is not None:
        part = program.get(f"events?limit=2&after={after}")
        seen += part["items"]
        after = part["next"]
    assert seen == whole["items"]
    assert [e["sequence"] for e in seen] == list(range(1, len(seen) + 1))
    assert seen[-1]["step"] == "warm"


def test_count_tests_and_close_through_the_api(app: FastAPI, db: Database, pressed: str) -> None:
    program = Program(token(app, db, Role.TECHNICIAN), pressed)
    count = program.get("count")
    assert count["ready"]
    stale = program.send("count", 409, version=count["version"] - 1)
    assert stale["status"] == 409
    assert stale["changes"]
    assert program.send("count", version=count["version"])["stage"] == "counted"
    assert program.send("tests", test="power", accepted=True)["waiting"] == ["leak"]
    own = program.send("tests", 409, test="leak", reading="2.0", second_name=BOSS, second_secret=PASSPHRASE)
    assert "somebody else" in own["detail"]
    last = program.send("tests", test="leak", reading="2.0", second_name="Tomo Brandsma", second_secret="935164")
    assert (last["passed"], last["stage"], last["waiting"]) == (True, "tested", [])
    closed = program.send("close", version=last["version"])
    assert closed["stage"] == "closed"
    # Cell 31.80, seal 1.845 → 1.85, two strips 1.28, wipe 0.155 → 0.16.
    assert {p["part_number"]: p["cost"] for p in closed["parts"]} == {
        "F-100": "31.80", "F-310": "1.85", "F-320": "1.28", "F-330": "0.16",
    }  # fmt: skip
    assert closed["parts_beyond"] == "0.00"
    assert closed["bench_s"] == job_of(db, pressed).bench_s


def test_a_failed_test_opens_the_job_again(app: FastAPI, db: Database, pressed: str) -> None:
    program = Program(token(app, db, Role.TECHNICIAN), pressed)
    program.send("count", version=program.get("count")["version"])
    failed = program.send("tests", test="power", accepted=False)
    assert (failed["passed"], failed["stage"]) == (False, "made safe")


def test_an_override_needs_a_supervisors_token_and_passphrase(app: FastAPI, db: Database, pressed: str) -> None:
    technician = Program(token(app, db, Role.TECHNICIAN), pressed)
    technician.event("report", report="leftover", count=1)
    assert technician.get("count")["problems"] == [
        "1 piece left over on the bench. Find where it belongs before anything is closed."
    ]
    sent: dict[str, Any] = {"name": BOSS, "secret": PASSPHRASE, "reason": "Screw of another device on the mat"}
    technician.send("override", 403, **sent)
    supervisor = Program(token(app, db, Role.SUPERVISOR), pressed)
    wrong = supervisor.send("override", 409, **{**sent, "secret": "wrong horse"})
    assert wrong["type"] == "about:blank"
    assert supervisor.send("override", **sent)["stage"] == "counted"
    found = job_of(db, pressed)
    assert (found.stage, found.overridden) == (Stage.COUNTED, True)


def test_errors_are_problem_details(app: FastAPI, db: Database, number: str) -> None:
    client = token(app, db, Role.TECHNICIAN)
    missing = client.get("/api/v1/jobs/J999999/count")
    assert missing.status_code == 404
    assert missing.headers["content-type"] == "application/problem+json"
    invalid = client.post(f"/api/v1/jobs/{number}/events", json={"id": clock.uuid7(), "kind": "dance"})
    assert invalid.status_code == 422
    assert invalid.json()["errors"][0]["where"] == "body.kind"
    assert token(app, db, Role.STORES).get(f"/api/v1/jobs/{number}/events").status_code == 403
    assert TestClient(app).get(f"/api/v1/jobs/{number}/events").status_code == 401
