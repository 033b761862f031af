"""The ease of repair page: what the procedure says of each unit, and the index with its parts, sources and limits."""

from collections.abc import Callable
from typing import Any

import pytest

from app.platform.db import Database
from app.rules.ease_of_repair import LIMITS
from tests.jobs.bench_shop import publish, stock_catalogue
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]
PAGE = "/procedures/field-recorder/ease"


@pytest.fixture
def recorder(db: Database) -> Database:
    """The field recorder's procedure, published."""
    with db.write() as session:
        stock_catalogue(session)
        publish(session)
    return db


def _row(page: object, name: str) -> list[str]:
    rows = page.soup.select("table tbody tr")  # type: ignore[attr-defined]
    row = next(r for r in rows if r.find("th").get_text(" ", strip=True).startswith(name))
    return [cell.get_text(" ", strip=True) for cell in row.find_all("td")]


def test_each_unit_shows_depth_fixings_by_class_and_tools(recorder: Database, visit: Visit) -> None:
    page = visit("technician").open(PAGE)
    # Cell: warm, back, plug, cell. Warming takes nothing off, so the depth is 3: score 4. Screws 4 and plug 1 are
    # reusable, the seal and two strips come off once.
    steps, depth, reusable, removable, neither, tools, poorest = _row(page, "Cell pack")
    assert (steps, depth, reusable, removable, neither[0]) == ("4", "3 score 4", "5", "3", "0")
    assert "Driver T5 (A)" in tools
    assert "Warming pad (C)" in tools
    assert poorest == "C"
    assert "No index yet" in page.words
    assert LIMITS in page.words
    assert "Save these facts" not in page.words


def test_the_index_shows_its_parts_and_says_that_it_is_provisional(recorder: Database, visit: Visit) -> None:
    supervisor = visit("supervisor")
    form = supervisor.open(PAGE).form("/ease")
    facts: dict[str, Any] = {"part-cell": "battery", "part-speaker": "speakers", "spare_parts": "4", "updates": "3"}
    page = form.submit(**facts, information="2,5")
    assert page.status == 200, page.words[:600]
    # Weights .30 and .05: depth (.30 × 4 + .05 × 3) / .35 = 3.86; fasteners and tools 1 each, as the poorest count.
    # R = .25 × 3.857 + .15 × (1 + 1 + 4 + 3 + 2.5) = 2.69: class C. (EU 2023/1669, Annex IV.5, 2nd)
    assert _row(page, "Disassembly depth")[0] == "3.86"
    assert "2.69" in page.words
    assert "Provisional: between" in page.words
    assert "stands for: battery" in page.words
    assert "Facts entered by Ruth Okonjo-Lind" in page.words
    assert _row(page, "Display")[0] == "none: left out"


def test_a_score_outside_the_table_is_refused_with_the_input_kept(recorder: Database, visit: Visit) -> None:
    form = visit("supervisor").open(PAGE).form("/ease")
    facts: dict[str, Any] = {"part-cell": "battery"}
    page = form.submit(**facts, spare_parts="7", updates="3", information="2")
    assert page.status == 409
    assert page.soup.find(id="f-spare_parts-error") is not None
    assert page.form("/ease").values["spare_parts"] == ["7"]


def test_facts_from_a_page_that_is_out_of_date_are_not_kept(recorder: Database, visit: Visit) -> None:
    supervisor = visit("supervisor")
    scores: dict[str, Any] = {"part-cell": "battery", "spare_parts": "4", "updates": "3", "information": "2"}
    early, late = supervisor.open(PAGE).form("/ease"), supervisor.open(PAGE).form("/ease")
    assert early.submit(**scores).status == 200
    assert late.submit(**{**scores, "updates": "5"}).status == 409


def test_only_a_supervisor_enters_facts(recorder: Database, visit: Visit) -> None:
    technician = visit("technician")
    values = technician.open("/jobs/new").form("/jobs/new").values
    assert technician.post(PAGE, {**values, "spare_parts": "5"}).status == 403
