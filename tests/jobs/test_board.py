"""The first page by role, the list of jobs, and the same through the JSON API."""

from collections.abc import Callable
from typing import Any

from fastapi import FastAPI
from sqlmodel import select
from starlette.testclient import TestClient

from app.jobs.models import Job, Stage
from app.people import queries as people
from app.people.actions import make_token
from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from tests.jobs.front import CELL_SERIAL, IMEI, book, hand_out, make_safe, planned_job
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def _sections(visitor: Visitor) -> dict[str, str]:
    page = visitor.open("/")
    found = {}
    for section in page.soup.find_all("section"):
        heading = section.find("h2")
        if heading:
            found[heading.get_text(strip=True)] = section.get_text(" ")
    return found


def test_a_technician_sees_jobs_to_open_with_one_tap(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    ready = planned_job(technician, front, "cell")
    hand_out(visit("stores"), ready, CELL_SERIAL)
    short = planned_job(technician, front, "camera")
    fresh = book(technician, front)
    page = technician.open("/")
    form = page.form(f"/jobs/{ready}/bench/open")
    assert form.method == "post"
    assert "submission_id" in form.values
    found = _sections(technician)
    assert ready in found["Ready to start"]
    assert short in found["On hold"]
    assert "Not on the shelf: 1 × DK-CAM." in found["On hold"]
    assert fresh in found["To make safe and plan"]


def test_a_technicians_own_job_stands_first_with_its_step(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = planned_job(technician, front, "cell")
    with front.write() as session:
        me = next(p for p, name in people.names(session).items() if name == "Ines Aldvik")
        job = session.exec(select(Job)).one()
        job.stage, job.technician_id = Stage.TEARDOWN, me
        session.add(job)
    found = _sections(technician)
    assert number in found["In your hands"]
    assert "Teardown, step 1 of 3" in found["In your hands"]
    assert number in _sections(visit("second"))["With colleagues"]


def test_a_supervisor_sees_counts_holds_approvals_and_what_is_late(front: Database, visit: Visit) -> None:
    technician, supervisor = visit("technician"), visit("supervisor")
    held = book(technician, front)
    make_safe(technician, held, cell="hot")
    quoted = planned_job(technician, front, "cell", coverage="owner pays")
    supervisor.open(f"/jobs/{quoted}/quote").form("/quote").submit()
    late = book(technician, front, promised_on="2026-01-05")
    page = supervisor.open("/")
    assert "3 jobs open, 2 on hold, 1 late" in page.words
    found = _sections(supervisor)
    assert held in found["On hold"]
    assert quoted in found["Waiting for approval"]
    assert late in found["Late"]
    counts = {a.find("span").get_text(): a.find("b").get_text() for a in page.soup.select(".stage-counts a")}  # type: ignore[union-attr]
    assert (counts["Booked in"], counts["Quoted"], counts["Teardown"]) == ("2", "1", "0")


def test_stores_goes_to_the_stores(front: Database, visit: Visit) -> None:
    assert visit("stores").client.get("/", follow_redirects=False).headers["location"] == "/stores"


def test_the_list_is_narrowed_by_the_address(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    first, second = book(technician, front), book(technician, front, owner_ref="Ferry Lomvi, galley")
    make_safe(technician, second)
    assert [first in technician.open("/jobs?stage=booked in").words, second in technician.open("/jobs").words] == [
        True,
        True,
    ]
    words = technician.open("/jobs?text=galley").words
    assert second in words
    assert first not in words
    assert second not in technician.open("/jobs?stage=booked+in").words
    assert "No job fits" in technician.open("/jobs?hold=safety").words
    page = technician.open("/jobs?text=galley&stage=nonsense")
    assert 'value="galley"' in page.text


def test_long_lists_are_paged_by_key(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = book(technician, front)
    with front.write() as session:
        job = session.exec(select(Job).where(Job.number == number)).one()
        values = job.model_dump(exclude={"id", "number"})
        session.add_all([Job(number=f"J{n:06d}", **values) for n in range(2, 122)])
    page = technician.open("/jobs")
    numbers = [a.get_text() for a in page.soup.select("a.row-link")]
    assert (numbers[0], numbers[-1], len(numbers)) == ("J000121", "J000072", 50)
    page = page.link("Older").link("Older")
    numbers = [a.get_text() for a in page.soup.select("a.row-link")]
    assert (numbers[0], numbers[-1]) == ("J000021", "J000001")
    assert "Older" not in page.words.split("21 jobs")[1]
    page = page.link("Newer")
    numbers = [a.get_text() for a in page.soup.select("a.row-link")]
    assert (numbers[0], numbers[-1], len(numbers)) == ("J000071", "J000022", 50)


def _api(app: FastAPI, db: Database, role: Role) -> TestClient:
    with db.write() as session:
        boss = next(p for p, name in people.names(session).items() if name == "Ruth Okonjo-Lind")
        token = make_token(session, f"test {role.value}", role, clock.now(), boss)
    client = TestClient(app)
    client.headers["authorization"] = f"Bearer {token}"
    return client


def _new(**more: Any) -> dict[str, Any]:
    return {
        "id": clock.uuid7(), "device_model": "deckphone", "serial": IMEI, "fault": "Does not last a watch",
        "condition": "Scratched", "owner_ref": "Ferry Alke", "coverage": "warranty", "data_wish": "keep",
        "consent": True, "another_device": "shared label", **more,
    }  # fmt: skip


def test_the_api_books_plans_and_hands_out(front: Database, app: FastAPI, visit: Visit) -> None:
    bench, stores = _api(app, front, Role.TECHNICIAN), _api(app, front, Role.STORES)
    sent = _new()
    made = bench.post("/api/v1/jobs", json=sent)
    assert made.status_code == 201, made.text
    again = bench.post("/api/v1/jobs", json=sent)
    assert again.json()["number"] == made.json()["number"] == "J000001"
    assert bench.post("/api/v1/jobs", json={**sent, "fault": "Other"}).status_code == 409
    make_safe(visit("technician"), "J000001")
    shown = bench.get("/api/v1/jobs/J000001/plan?targets=display").json()
    assert (shown["teardown"], shown["kit"][0]["short"]) == (["lid", "plug", "lift-display"], 0)
    version = bench.get("/api/v1/jobs/J000001").json()["version"]
    plan = {"id": clock.uuid7(), "version": version, "targets": ["display"]}
    assert bench.post("/api/v1/jobs/J000001/plan", json=plan).json()["stage"] == "planned"
    assert bench.post("/api/v1/jobs/J000001/plan", json={**plan, "id": clock.uuid7()}).status_code == 409
    assert bench.post("/api/v1/jobs/J000001/kit", json={"id": clock.uuid7()}).status_code == 403
    job = stores.post("/api/v1/jobs/J000001/kit", json={"id": clock.uuid7()}).json()
    assert job["stage"] == "kitted"
    assert {row["part_number"]: row["issued"] for row in job["kit"]} == {"DK-DISP": 1, "DK-SCRW": 4, "DK-SEAL": 1}


def test_the_api_lists_jobs_by_key_and_names_what_is_wrong(front: Database, app: FastAPI) -> None:
    bench = _api(app, front, Role.TECHNICIAN)
    for _ in range(3):
        bench.post("/api/v1/jobs", json=_new())
    first = bench.get("/api/v1/jobs?limit=2").json()
    assert [item["number"] for item in first["items"]] == ["J000001", "J000002"]
    rest = bench.get(f"/api/v1/jobs?limit=2&after={first['next']}").json()
    assert ([item["number"] for item in rest["items"]], rest["next"]) == (["J000003"], None)
    wrong = bench.post("/api/v1/jobs", json=_new(serial="490154203237519"))
    assert wrong.status_code == 409
    assert wrong.headers["content-type"] == "application/problem+json"
    assert "check digit" in wrong.json()["detail"]
