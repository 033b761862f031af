"""Release tests through HTTP: what is due, readings against limits, the second person, a failed test."""

from collections.abc import Callable

import pytest

from app.jobs.models import Stage
from app.platform.db import Database
from tests.jobs.bench_work import entries_of, job_of, kitted_work
from tests.visitor import FormFiller, Page, Visitor

Visit = Callable[[str], Visitor]


@pytest.fixture
def number(db: Database) -> str:
    """A job whose closing count is signed."""
    with db.write() as session:
        work = kitted_work(session)
        work.teardown()
        work.refit()
        work.sign()
        return work.number


def form_of(page: Page, test: str) -> FormFiller:
    """The form of one release test."""
    found = page.soup.find("form", id=f"test-{test}")
    assert found is not None, page.words[:600]
    return FormFiller(page, found)


def leak(page: Page, reading: str = "2.0", name: str = "Tomo Brandsma", code: str = "935164") -> Page:
    """Send the leak test, a reading with a second person."""
    return form_of(page, "leak").submit(reading=reading, second_name=name, second_secret=code)


def test_the_tests_due_are_shown_with_their_limits(visit: Visit, number: str) -> None:
    page = visit("technician").open(f"/jobs/{number}/tests")
    titles = [h.get_text() for h in page.soup.select(".tests h2")]
    assert titles == ["Powers up", "Leak test"]
    assert "Limits: 1.5 to 2.5 kPa" in page.words
    assert "Go to closing" not in page.words


def test_passing_all_tests_leads_to_closing(db: Database, visit: Visit, number: str) -> None:
    page = visit("technician").open(f"/jobs/{number}/tests")
    page = form_of(page, "power").submit(accepted="true")
    assert page.path == f"/jobs/{number}/tests"
    assert job_of(db, number).stage is Stage.COUNTED
    page = leak(page)
    assert "All release tests passed" in page.words
    assert "2.0 kPa is within 1.5 to 2.5 kPa." in page.words
    assert "with Tomo Brandsma" in page.words
    assert job_of(db, number).stage is Stage.TESTED
    assert page.link("Go to closing").path == f"/jobs/{number}/close"


def test_the_same_result_sent_twice_is_stored_once(db: Database, visit: Visit, number: str) -> None:
    form = form_of(visit("technician").open(f"/jobs/{number}/tests"), "power")
    assert form.submit(accepted="true").status == 200
    assert form.submit(accepted="true").status == 200
    assert len(entries_of(db, number, "test")) == 1
    assert form.submit(accepted="false").status == 409


def test_the_tester_is_not_the_second_person(db: Database, visit: Visit, number: str) -> None:
    page = visit("technician").open(f"/jobs/{number}/tests")
    refused = leak(page, name="Ines Aldvik", code="480217")
    assert refused.status == 409
    error = refused.soup.find(id="ne-leak")
    assert error is not None
    assert "somebody else than the tester" in error.get_text()
    assert form_of(refused, "leak").values["reading"] == ["2.0"]
    assert entries_of(db, number, "test") == ()


def test_a_wrong_code_of_the_second_person_is_refused_beside_it(visit: Visit, number: str) -> None:
    page = visit("technician").open(f"/jobs/{number}/tests")
    refused = leak(page, code="111111")
    assert refused.status == 409
    error = refused.soup.find(id="se-leak")
    assert error is not None
    assert "do not belong together" in error.get_text()
    assert "111111" not in refused.text


def test_a_stores_clerk_is_no_second_person(visit: Visit, number: str) -> None:
    page = visit("technician").open(f"/jobs/{number}/tests")
    refused = leak(page, name="Pia Sundqvay", code="brass kettle under stairs")
    assert refused.status == 409
    assert "A technician or a supervisor signs" in refused.words


def test_a_test_with_a_second_person_is_not_recorded_without_one(visit: Visit, number: str) -> None:
    page = visit("technician").open(f"/jobs/{number}/tests")
    refused = leak(page, name="", code="")
    assert refused.status == 409
    assert "A second person signs this test" in refused.words


def test_a_reading_that_is_no_number_is_refused_beside_its_field(visit: Visit, number: str) -> None:
    page = visit("technician").open(f"/jobs/{number}/tests")
    refused = leak(page, reading="two")
    assert refused.status == 422
    error = refused.soup.find(id="re-leak")
    assert error is not None
    assert "Enter a number" in error.get_text()


def test_a_test_without_an_answer_is_asked_for_one(visit: Visit, number: str) -> None:
    page = visit("technician").open(f"/jobs/{number}/tests")
    refused = form_of(page, "power").submit()
    assert refused.status == 409
    assert "Say whether the test passed." in refused.words


@pytest.mark.parametrize("reading", ["1.4999", "2.5001"])
def test_a_reading_outside_its_limits_opens_the_job_again(
    db: Database, visit: Visit, number: str, reading: str
) -> None:
    page = leak(visit("technician").open(f"/jobs/{number}/tests"), reading=reading)
    assert "Leak test failed. The job is open again." in page.words
    found = job_of(db, number)
    assert (found.stage, found.targets) == (Stage.SAFE, ())
    assert page.link("Choose what to replace").path == f"/jobs/{number}/targets"


@pytest.mark.parametrize("reading", ["1.5", "2.5"])
def test_a_reading_on_its_limit_passes(db: Database, visit: Visit, number: str, reading: str) -> None:
    leak(visit("technician").open(f"/jobs/{number}/tests"), reading=reading)
    assert job_of(db, number).state.tests == {"leak": True}


def test_a_failed_test_opens_the_job_again(db: Database, visit: Visit, number: str) -> None:
    page = form_of(visit("technician").open(f"/jobs/{number}/tests"), "power").submit(accepted="false", note="No light")
    assert "Powers up failed. The job is open again." in page.words
    assert "No light" in page.words
    assert job_of(db, number).stage is Stage.SAFE


def test_tests_wait_for_the_closing_count(db: Database, visit: Visit) -> None:
    with db.write() as session:
        number = kitted_work(session).number
    page = visit("technician").open(f"/jobs/{number}/tests")
    assert "Release tests come after the closing count." in page.words
    assert not page.soup.select(".test-form")
