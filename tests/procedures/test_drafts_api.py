"""The JSON API of drafts: the same actions as the pages, exactly once, errors as problem details."""

from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.people.actions import add_person, make_token
from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from app.stores import queries as stores
from tests.procedures.examples import LID, PARTS, SHEET

HERE = "/api/v1/drafts"


@pytest.fixture(autouse=True)
def catalogue(monkeypatch: pytest.MonkeyPatch) -> None:
    """A catalogue that has the test radio's parts."""
    monkeypatch.setattr(stores, "known_numbers", lambda _session: PARTS)


def client(app: FastAPI, db: Database, name: str, role: Role = Role.SUPERVISOR) -> TestClient:
    """Return a client with a token of a supervisor of this name."""
    with db.write() as session:
        person = add_person(session, name, Role.SUPERVISOR, f"{name} passphrase for a token", clock.now())
        token = make_token(session, "Test", role, clock.now(), person)
    return TestClient(app, headers={"authorization": f"Bearer {token}"})


@pytest.fixture
def writer(app: FastAPI, db: Database) -> TestClient:
    """The supervisor who writes."""
    return client(app, db, "Edda Korvin")


@pytest.fixture
def checker(app: FastAPI, db: Database) -> TestClient:
    """A second supervisor."""
    return client(app, db, "Jonas Havmand")


def begun(api: TestClient, text: str = SHEET) -> Any:
    """Begin a draft from a procedure file."""
    body = {"id": clock.uuid7(), "name": "radio.yaml", "yaml": text, "drawings": {"drawings/lid.svg": LID}}
    answer = api.post(f"{HERE}/yaml", json=body)
    assert answer.status_code == 201, answer.text
    return answer.json()


def put(api: TestClient, draft: Any, step: dict[str, Any], name: str = "", **more: Any) -> Any:
    body = {"id": clock.uuid7(), "version": draft["version"], "step": step, **more}
    return api.put(f"{HERE}/{draft['id']}/steps/{name or draft['document']['steps'][0]['id']}", json=body)


def test_a_draft_goes_from_a_file_over_a_second_person_to_a_revision(writer: TestClient, checker: TestClient) -> None:
    draft = begun(writer)
    assert draft["state"] == "in writing"
    assert draft["problems"] == []
    first = {**draft["document"]["steps"][0], "title": "Take off the lid carefully"}
    draft = put(writer, draft, first).json()
    assert draft["document"]["steps"][0]["title"] == "Take off the lid carefully"
    there = f"{HERE}/{draft['id']}"
    sent = writer.post(f"{there}/send", json={"id": clock.uuid7(), "version": draft["version"]})
    assert sent.json()["state"] == "to be checked"
    change = {"version": sent.json()["version"]}
    own = writer.post(f"{there}/publish", json={"id": clock.uuid7(), **change})
    assert own.status_code == 409, "a second person checks"
    back = checker.post(f"{there}/send-back", json={"id": clock.uuid7(), **change, "remarks": "Say which lid."})
    assert (back.json()["state"], back.json()["remarks"]) == ("in writing", "Say which lid.")
    again = writer.post(f"{there}/send", json={"id": clock.uuid7(), "version": back.json()["version"]}).json()
    body = {"id": clock.uuid7(), "version": again["version"]}
    published = checker.post(f"{there}/publish", json=body)
    assert published.status_code == 200, published.text
    found = checker.get(published.json()["address"]).json()
    assert found["sheet"]["steps"][0]["title"] == "Take off the lid carefully"
    assert checker.post(f"{there}/publish", json=body).json()["code"] == found["code"], "the first outcome"


def test_a_write_sent_again_does_nothing_twice_and_other_content_is_refused(writer: TestClient) -> None:
    body = {"id": clock.uuid7(), "title": "Deck radio"}
    first, again = writer.post(HERE, json=body), writer.post(HERE, json=body)
    assert first.status_code == 201
    assert again.json()["id"] == first.json()["id"]
    other = writer.post(HERE, json={**body, "title": "Mast lamp"})
    assert other.status_code == 409
    assert other.headers["content-type"] == "application/problem+json"


def test_a_stale_write_is_refused_with_what_changed(writer: TestClient) -> None:
    draft = begun(writer)
    step = draft["document"]["steps"][0]
    assert put(writer, draft, {**step, "title": "Newer words"}).status_code == 200
    stale = put(writer, draft, {**step, "title": "Older words"})
    assert stale.status_code == 409
    assert stale.json()["changes"]


def test_a_step_may_have_gaps_but_must_have_the_shape_of_one(writer: TestClient) -> None:
    draft = begun(writer)
    name = draft["document"]["steps"][0]["id"]
    gaps = put(writer, draft, {"title": "Only a title", "time_s": 30.5, "id": "other-id"})
    assert gaps.status_code == 200, gaps.text
    assert gaps.json()["document"]["steps"][0]["id"] == name, "others wait for it"
    assert any(problem["step"] == name for problem in gaps.json()["problems"])
    for wrong in ({"tittle": "x"}, {"title": ["x"]}, {"releases": {"a": 1}}, {"title": "a\x00b"}):
        refused = put(writer, gaps.json(), wrong)
        assert refused.status_code == 409, (wrong, refused.text)
        assert refused.headers["content-type"] == "application/problem+json"
    assert put(writer, gaps.json(), {"title": "x"}, "no-such-step").status_code in {404, 409}


def test_what_is_no_procedure_is_refused_with_its_line(writer: TestClient) -> None:
    refused = writer.post(f"{HERE}/yaml", json={"id": clock.uuid7(), "yaml": "title: A\nstps: []\n"})
    assert refused.status_code == 422
    assert refused.headers["content-type"] == "application/problem+json"
    assert refused.json()["problems"][0]["line"] == 2
    assert writer.get(HERE).json()["items"] == []


def test_drafts_are_listed_page_by_page_and_by_state(writer: TestClient) -> None:
    made = [writer.post(HERE, json={"id": clock.uuid7(), "title": f"Radio {n}"}).json()["id"] for n in range(3)]
    first = writer.get(f"{HERE}?limit=2").json()
    rest = writer.get(f"{HERE}?limit=2&after={first['next']}").json()
    assert [item["id"] for item in first["items"] + rest["items"]] == made[::-1]
    assert rest["next"] is None
    assert writer.get(f"{HERE}?state=published").json()["items"] == []
    assert writer.get(f"{HERE}?state=lost").status_code == 422


def test_the_next_revision_of_a_published_procedure_is_begun_by_its_code(
    writer: TestClient, checker: TestClient
) -> None:
    draft = begun(writer)
    sent = writer.post(f"{HERE}/{draft['id']}/send", json={"id": clock.uuid7(), "version": draft["version"]}).json()
    change = {"id": clock.uuid7(), "version": sent["version"]}
    code = checker.post(f"{HERE}/{draft['id']}/publish", json=change).json()["code"]
    begun_next = writer.post(HERE, json={"id": clock.uuid7(), "code": code})
    assert begun_next.status_code == 201
    assert [item["base"] for item in writer.get(HERE).json()["items"]] == [f"{code}/1"]
    assert writer.post(HERE, json={"id": clock.uuid7(), "code": "no-such"}).status_code == 404


def test_technicians_read_drafts_and_only_supervisors_write(app: FastAPI, db: Database, writer: TestClient) -> None:
    draft = begun(writer)
    technician = client(app, db, "Lone Tokin", Role.TECHNICIAN)
    assert technician.get(f"{HERE}/{draft['id']}").json()["title"] == draft["title"]
    assert put(technician, draft, {"title": "x"}).status_code == 403
    clerk = client(app, db, "Stine Hylde", Role.STORES)
    assert clerk.get(HERE).status_code == 403
    nobody = TestClient(app).get(HERE)
    assert nobody.status_code == 401
    assert nobody.headers["content-type"] == "application/problem+json"
