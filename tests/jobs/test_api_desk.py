"""The JSON API at the desk: from booking in over make-safe, quote and answer to the kit, and what is due to test."""

from datetime import timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.jobs.actions import close
from app.jobs.actions.bench import Bench
from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from tests.jobs.bench_shop import BenchShop, set_up
from tests.jobs.test_bench_api import token

SAFE: dict[str, Any] = {"cell": "sound", "cautions": True, "strap": True, "mat": True}


@pytest.fixture
def program(app: FastAPI, db: Database) -> TestClient:
    """A program with a supervisor's token, in a workshop with stock on its shelves."""
    with db.write() as session:
        set_up(session)
    return token(app, db, Role.SUPERVISOR)


def post(client: TestClient, path: str, status: int = 200, **body: Any) -> dict[str, Any]:
    """Send a write twice: both times it has the same outcome."""
    sent = {"id": clock.uuid7(), **body}
    first = client.post(f"/api/v1/{path}", json=sent)
    assert first.status_code == status, first.text
    again = client.post(f"/api/v1/{path}", json=sent)
    assert (again.status_code, again.json()) == (status, first.json())
    found: dict[str, Any] = first.json()
    return found


def booked(client: TestClient, coverage: str = "owner pays") -> dict[str, Any]:
    """Book a device in."""
    model = client.get("/api/v1/procedures").json()["items"][0]["device_model"]
    return post(
        client, "jobs", 201, device_model=model, serial="FR-2001", fault="Dark", condition="Whole",
        owner_ref="Bridge", coverage=coverage, data_wish="keep", consent=True,
    )  # fmt: skip


def test_a_job_comes_from_the_counter_to_its_kit_through_the_api_alone(program: TestClient) -> None:
    job = booked(program)
    here = f"jobs/{job['number']}"
    job = post(program, f"{here}/safe", version=job["version"], **SAFE)
    assert job["stage"] == "made safe"
    job = post(program, f"{here}/plan", version=job["version"], targets=["cell"])
    price = program.get(f"/api/v1/{here}/quote").json()["options"][0]["price"]["total"]
    quote = post(program, f"{here}/quote", version=job["version"], amount=price)
    assert quote["quoted"] is not None
    job = program.get(f"/api/v1/{here}").json()
    assert (job["stage"], job["hold"]) == ("quoted", "owner's answer")
    today = (clock.now() - timedelta(days=1)).date().isoformat()
    job = post(
        program, f"{here}/quote/answer", version=job["version"], approved=True, by="Mate", means="by telephone",
        answered_on=today,
    )  # fmt: skip
    assert (job["stage"], job["hold"]) == ("approved", "none")
    picks = program.get(f"/api/v1/{here}/kit").json()
    for pick in picks:
        pick["serials"] = [f"S-{n}" for n in range(pick.pop("serials_wanted"))]
        pick.pop("expires_on")
    job = post(program, f"{here}/kit", picks=picks)
    assert job["stage"] == "kitted"
    assert all(part["issued"] == part["needed"] for part in job["kit"])


def test_a_cell_that_is_not_sound_puts_the_job_on_a_safety_hold(program: TestClient) -> None:
    job = booked(program, "warranty")
    job = post(program, f"jobs/{job['number']}/safe", version=job["version"], cell="swollen")
    assert (job["stage"], job["hold"]) == ("booked in", "safety")
    job = post(program, f"jobs/{job['number']}/hold/end", version=job["version"], reason="The cell was exchanged.")
    assert job["hold"] == "none"


def test_an_owner_who_declines_ends_the_job(program: TestClient) -> None:
    job = booked(program)
    here = f"jobs/{job['number']}"
    job = post(program, f"{here}/safe", version=job["version"], **SAFE)
    job = post(program, f"{here}/plan", version=job["version"], targets=["cell"])
    post(program, f"{here}/quote", version=job["version"], amount="80.00")
    answer: dict[str, Any] = {"approved": False, "by": "Mate", "means": "at the counter", "answered_on": "2026-01-05"}
    job = post(program, f"{here}/quote/answer", version=job["version"] + 1, **answer)
    assert job["stage"] == "returned unrepaired"


def test_a_job_is_held_and_handed_back(program: TestClient) -> None:
    job = booked(program, "warranty")
    here = f"jobs/{job['number']}"
    job = post(program, f"{here}/hold", version=job["version"], hold="owner's answer", reason="Asks for it tonight")
    assert job["hold"] == "owner's answer"
    job = post(program, f"{here}/return", version=job["version"], reason="The owner took it back as it is.")
    assert (job["stage"], job["hold"]) == ("returned unrepaired", "none")


def test_a_refusal_names_the_field_and_a_stale_version_what_changed(program: TestClient) -> None:
    job = booked(program)
    here = f"/api/v1/jobs/{job['number']}/safe"
    answer = program.post(here, json={"id": clock.uuid7(), "version": job["version"], "cell": "sound"})
    assert (answer.status_code, answer.json()["field"]) == (409, "cautions")
    answer = program.post(here, json={"id": clock.uuid7(), "version": job["version"] - 1, **SAFE})
    assert (answer.status_code, answer.json()["changes"]) == (409, ["Booked in"])
    answer = program.post(here, json={"id": "no number", "version": job["version"], **SAFE})
    assert (answer.status_code, answer.json()["errors"][0]["where"]) == (422, "body.id")


def test_the_same_id_for_another_write_is_refused_in_words_for_programs(program: TestClient) -> None:
    job = booked(program)
    sent = {"id": clock.uuid7(), "version": job["version"], **SAFE}
    here = f"/api/v1/jobs/{job['number']}/safe"
    assert program.post(here, json=sent).status_code == 200
    answer = program.post(here, json={**sent, "note": "another"})
    assert answer.status_code == 409
    assert "an id of its own" in answer.json()["detail"]


def test_the_tests_that_are_due_are_listed_with_their_limits(app: FastAPI, db: Database) -> None:
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
        number = shop.kitted(("cell",))
    client = token(app, db, Role.TECHNICIAN)
    job = client.get(f"/api/v1/jobs/{number}").json()
    events = f"/api/v1/jobs/{number}/events"
    assert client.post(events, json={"id": clock.uuid7(), "kind": "open"}).status_code == 200
    for step in job["teardown"]:
        sent = {"id": clock.uuid7(), "kind": "tick", "side": "down", "step": step}
        assert client.post(events, json=sent).status_code == 200
    due = client.get(f"/api/v1/jobs/{number}/tests").json()
    with db.read() as session:
        assert [test["test"] for test in due] == [test.id for test in close.due_tests(Bench(session, number))]
    assert not any(test["passed"] for test in due)
    assert {"title", "kind", "unit", "low", "high", "second_person"} <= set(due[0])
