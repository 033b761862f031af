"""Corrections of a booking, and a serial that is in the workshop already."""

from collections.abc import Callable

from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from app.jobs.models import BenchEvent, Job
from app.jobs.queries.faults import bench_faults
from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from tests.jobs.front import IMEI, book, booking, model_id
from tests.jobs.test_board import _api
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]
OTHER_IMEI = "356938035643809"
WHY = "Read off the label again"


def _correct(visitor: Visitor, number: str, **more: str) -> Page:
    return visitor.open(f"/jobs/{number}/correct").form("/correct").submit(**{"reason": WHY, **more})


def test_the_one_who_booked_in_corrects_serial_and_owner_and_the_old_values_stay(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = book(technician, front)
    page = technician.open(f"/jobs/{number}").link("Correct serial or owner")
    page = page.form("/correct").submit(serial="35-693803-564380-9", owner_ref="Ferry Lomvi, galley", reason=WHY)
    assert page.path == f"/jobs/{number}"
    assert f"Serial corrected to {OTHER_IMEI}; it was written as {IMEI}." in page.words
    with front.read() as session:
        job = session.exec(select(Job)).one()
        booked, corrected = session.exec(select(BenchEvent).order_by(BenchEvent.id)).all()  # type: ignore[arg-type]
        assert (job.serial, job.owner_ref) == (OTHER_IMEI, "Ferry Lomvi, galley")
        assert (booked.kind, booked.data["serial"]) == ("booked", IMEI)
        assert corrected.data == {
            "changes": [["serial", IMEI, OTHER_IMEI], ["owner_ref", "Ferry Alke, bridge", "Ferry Lomvi, galley"]],
            "reason": WHY,
        }
        assert bench_faults(session) == []
    record = visit("supervisor").open(f"/review/jobs/{number}")
    assert f"it was written as {IMEI}" in record.words
    assert f"it was written as {IMEI}" in technician.open(f"/jobs/{number}/correct").words


def test_a_wrong_check_digit_is_refused_beside_the_field_and_what_was_typed_is_kept(
    front: Database, visit: Visit
) -> None:
    technician = visit("technician")
    number = book(technician, front)
    page = _correct(technician, number, serial="356938035643808")
    assert page.status == 409
    error = page.soup.find(id="f-serial-error")
    assert error is not None
    assert "one digit is wrong" in error.get_text()
    assert 'value="356938035643808"' in page.text
    assert "few words" in _correct(technician, number, serial=OTHER_IMEI, reason="Wrong").words


def test_others_ask_a_supervisor(front: Database, visit: Visit) -> None:
    number = book(visit("technician"), front)
    second = visit("second")
    assert "Correct serial or owner" not in second.open(f"/jobs/{number}").words
    assert "or a supervisor" in second.open(f"/jobs/{number}/correct").words
    assert _correct(visit("supervisor"), number, owner_ref="Galley").status == 200


def test_a_sealed_job_is_not_corrected(front: Database, visit: Visit) -> None:
    supervisor = visit("supervisor")
    number = book(visit("technician"), front)
    shown = supervisor.open(f"/jobs/{number}/correct").form("/correct")
    supervisor.open(f"/jobs/{number}/hold").form("/return").submit(reason="Board is corroded")
    assert "record is sealed" in supervisor.open(f"/jobs/{number}/correct").words
    late = shown.submit(owner_ref="Galley", reason=WHY)
    assert late.status == 409
    with front.read() as session:
        assert session.exec(select(Job)).one().owner_ref == "Ferry Alke, bridge"


def test_a_correction_of_a_page_that_is_behind_says_what_came_since(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = book(technician, front)
    shown = technician.open(f"/jobs/{number}/correct").form("/correct")
    _correct(visit("supervisor"), number, owner_ref="Galley")
    page = shown.submit(owner_ref="Engine room", reason=WHY)
    assert page.status == 409
    assert "Booking corrected" in page.words


def test_a_serial_of_an_open_job_is_a_question_at_booking(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    first = book(technician, front)
    asked = technician.open("/jobs/new").form("/jobs/new").submit(**booking(front, another_device=None))
    assert asked.status == 409
    assert f"Job {first} is open with this serial" in asked.words
    assert asked.soup.find("a", href=f"/jobs/{first}") is not None
    assert asked.soup.find("input", attrs={"name": "another_device", "value": "mistyped"}) is not None
    address = f"/jobs/new?part=serial&device_model={model_id(front)}&serial={IMEI}"
    part = technician.open(address, **{"HX-Request-Type": "partial"})
    assert "If it is another device, why do both have the serial?" in part.words
    page = asked.form("/jobs/new").submit(another_device="mistyped", consent="yes")
    assert page.status == 200, page.words[:500]
    with front.read() as session:
        booked = session.exec(select(BenchEvent).order_by(BenchEvent.id.desc())).first()  # type: ignore[union-attr]
        assert booked is not None
        assert (booked.data["another_device"], booked.data["open_jobs"]) == ("mistyped", [first])


def test_a_serial_whose_job_has_ended_is_booked_in_without_a_question(front: Database, visit: Visit) -> None:
    number = book(visit("technician"), front)
    visit("supervisor").open(f"/jobs/{number}/hold").form("/return").submit(reason="Board is corroded")
    page = visit("technician").open("/jobs/new").form("/jobs/new").submit(**booking(front, another_device=None))
    assert page.status == 200


def test_a_correction_to_the_serial_of_another_open_job_is_asked_about_too(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    first, second = book(technician, front), book(technician, front, serial=OTHER_IMEI)
    asked = _correct(technician, second, serial=IMEI)
    assert f"Job {first} is open with this serial" in asked.words
    assert asked.form("/correct").submit(another_device="shared label").status == 200


def test_the_api_asks_and_corrects_the_same(front: Database, app: FastAPI) -> None:
    bench: TestClient = _api(app, front, Role.TECHNICIAN)
    sent = {
        "id": clock.uuid7(), "device_model": "deckphone", "serial": IMEI, "fault": "Silent", "condition": "Scratched",
        "owner_ref": "Ferry Alke", "coverage": "warranty", "data_wish": "keep", "consent": True,
    }  # fmt: skip
    made = bench.post("/api/v1/jobs", json=sent).json()
    twice = bench.post("/api/v1/jobs", json={**sent, "id": clock.uuid7()})
    assert (twice.status_code, made["number"] in twice.json()["detail"]) == (409, True)
    change = {"id": clock.uuid7(), "version": made["version"], "owner_ref": "Ferry Lomvi", "reason": WHY}
    for _again in range(2):
        answer = bench.post(f"/api/v1/jobs/{made['number']}/correct", json=change)
        assert (answer.status_code, answer.json()["owner_ref"]) == (200, "Ferry Lomvi")
