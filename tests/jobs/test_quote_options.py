"""Quotes with options, the settings that make a price, what the device is worth, and the choice as it is recorded."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from sqlmodel import select

from app.jobs.models import BenchEvent, Job, KitLine
from app.platform.db import Database
from app.platform.settings import Settings
from app.stores import queries as stock
from tests.jobs.front import planned_job
from tests.visitor import FormFiller, Visitor

Visit = Callable[[str], Visitor]


@pytest.fixture
def settings(tmp_path: Any) -> Settings:
    """A workshop with margins, waste fees and tax."""
    return Settings(
        site_name="Test workshop", data_dir=tmp_path, margin_parts=Decimal("0.25"), margin_labour=Decimal("0.1"),
        tax=Decimal("0.2"), waste_fees="cell=1.50, electronic=0.40", repair_limit=Decimal("0.5"),
    )  # fmt: skip


def _compared(supervisor: Visitor, number: str, **further: Any) -> FormFiller:
    page = supervisor.open(f"/jobs/{number}/quote")
    return page.form("/quote", 1).submit(**further).form("/quote")


def _job(db: Database) -> Job:
    with db.read() as session:
        job = session.exec(select(Job)).one()
        session.expunge(job)
        return job


def test_lines_for_parts_labour_waste_and_tax_add_up(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell", coverage="owner pays")
    page = visit("supervisor").open(f"/jobs/{number}/quote")
    # Parts with 25 %: screws 0.16, seal 3.00, cell 29.69, strips 2.88 = 35.73. 1 240 s at 59.40 an hour = 20.46.
    # A cell to dispose of 1.50. Net 57.69, 20 % tax 11.54 (11.538), together 69.23.
    for words in ("€29.69", "€2.88", "€20.46", "Disposal, cell", "€1.50", "Tax 20 %", "€11.54", "€69.23"):
        assert words in page.words, words


def test_options_stand_side_by_side_with_shared_steps_counted_once(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell", coverage="owner pays")
    supervisor = visit("supervisor")
    form = _compared(supervisor, number, two=["cell", "display"])
    words = form.page.words
    assert "1 step more" in words
    assert "2 steps are shared and counted once" in words
    assert "Option 2: Cell pack, Display" in words
    page = form.submit()
    assert page.status == 200, page.words[:500]
    sheet = supervisor.open(f"/jobs/{number}/quote/sheet")
    assert "You may choose one of 2 options" in sheet.words
    assert "Option 2: Cell pack, Display" in sheet.words


def test_the_owners_choice_is_planned_reserved_and_recorded(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell", coverage="owner pays")
    supervisor = visit("supervisor")
    form = _compared(supervisor, number, two=["cell", "display"], three=["display"])
    second = form.values["amount_2"][0]
    form.submit()
    answer = supervisor.open(f"/jobs/{number}/quote").form("/answer")
    page = answer.submit(approved="true", option="2", by="Chief officer Lind", means="by telephone")
    assert page.path == f"/jobs/{number}", page.words[:600]
    job = _job(front)
    assert (job.stage.value, job.hold.value, job.targets) == ("approved", "none", ["cell", "display"])
    assert job.quoted == Decimal(second)
    assert job.promised_on is not None
    with front.read() as session:
        data = session.exec(select(BenchEvent.data).where(BenchEvent.kind == "approved")).one()
        kit = {line.part_number for line in session.exec(select(KitLine)).all() if line.planned}
        assert stock.stock_faults(session) == []
        assert stock.reserved_for(session, f"job:{number}")["DK-DISP"] == 1
    assert (data["option"], data["names"], data["by"]) == ("2", "Cell pack, Display", "Chief officer Lind")
    assert {"DK-CELL", "DK-DISP"} <= kit
    assert "Option 2: Cell pack, Display" in supervisor.open(f"/jobs/{number}/quote").words


def test_an_option_that_was_not_quoted_is_refused(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell", coverage="owner pays")
    supervisor = visit("supervisor")
    supervisor.open(f"/jobs/{number}/quote").form("/quote").submit()
    answer = supervisor.open(f"/jobs/{number}/quote").form("/answer")
    page = answer.submit(approved="true", option="3", by="Chief officer Lind", means="by telephone")
    assert page.status == 409
    assert _job(front).stage.value == "quoted"


def test_the_same_units_twice_are_named_and_left_out(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell", coverage="owner pays")
    page = _compared(visit("supervisor"), number, two=["cell"]).page
    assert "Two options exchange the same units" in page.words


def test_beyond_economic_repair_is_said_before_anything_is_opened(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell", coverage="owner pays", device_value="100")
    supervisor = visit("supervisor")
    page = supervisor.open(f"/jobs/{number}/quote")
    assert "Beyond economic repair: the quote of 69.23 EUR is 19.23 EUR over the limit of 50.00 EUR" in page.words
    page.form("/quote").submit()
    assert "Beyond economic repair" in supervisor.open(f"/jobs/{number}/quote/sheet").words


def test_a_device_worth_more_is_worth_repairing(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell", coverage="owner pays", device_value="400")
    assert "Worth repairing: 69.23 EUR" in visit("supervisor").open(f"/jobs/{number}/quote").words


def test_the_api_gives_plan_quote_and_promise(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell", coverage="owner pays")
    client = visit("supervisor").client
    plan = client.get(f"/api/v1/jobs/{number}/plan").json()
    assert plan["why"]["lift-cell"] == "Frees what is exchanged: Cell pack."
    assert plan["ready_by"]
    assert plan["because"]
    found = client.get(f"/api/v1/jobs/{number}/quote", params={"two": ["cell", "display"]}).json()
    assert [option["targets"] for option in found["options"]] == [["cell"], ["cell", "display"]]
    assert found["options"][0]["price"]["total"] == "69.23"
    promise = client.get(f"/api/v1/jobs/{number}/promise").json()
    assert promise["ready_by"]
    assert client.get(f"/api/v1/jobs/{number}/replan", params={"targets": ["cell"]}).status_code in (409, 422)
