"""Recall: from a lot to every job and device, and back; one action stops its use at all places."""

from collections.abc import Callable

import pytest

from app.platform.db import Database
from app.rules.scan_codes import lot_code
from app.stores import actions as stores
from app.stores import queries as stock
from tests.jobs.bench_work import BenchWork, job_of, kitted_work
from tests.jobs.front import CELL_SERIAL, hand_out, planned_job, stamp
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def row_of(page: object, job: str) -> list[str]:
    """Return the cells of a job's row."""
    for row in page.soup.select("tbody tr"):  # type: ignore[attr-defined]
        if job in row.get_text():
            return [cell.get_text(" ", strip=True) for cell in row.find_all("td")]
    raise AssertionError(page.words[:800])  # type: ignore[attr-defined]


def test_a_label_leads_to_every_job_that_had_the_lot(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    clerk = visit("stores")
    hand_out(clerk, number, CELL_SERIAL)
    page = clerk.open("/stores/recall").form("/stores/recall").submit(q=lot_code("DK-TAPE", "T1"))
    assert "Lot T1 of DK-TAPE" in page.words
    cells = row_of(page, number)
    assert cells[3:7] == ["0", "2", "0", "0"]
    assert "2 pieces lie in kits: fetch them from the bench." in page.words
    assert "All accounted for Yes" in page.words


def test_a_job_a_serial_and_a_part_lead_back_to_the_lots(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    clerk = visit("stores")
    hand_out(clerk, number, CELL_SERIAL)
    serial = job_of(front, number).serial
    for asked in (number, serial):
        page = clerk.open(f"/stores/recall?q={asked}")
        assert "Lots that went into it" in page.words
        assert {"C1", "T1", "S1", "EARLY"} <= set(page.words.split())
    assert "Lots found" in clerk.open("/stores/recall?q=DK-SEAL").words
    assert "Nothing found" in clerk.open("/stores/recall?q=nowhere").words


def test_stopping_a_lot_sets_it_aside_at_all_places_at_once(front: Database, visit: Visit) -> None:
    clerk = visit("stores")
    with front.write() as session:
        lot = next(row for row in stock.lots_of(session, ["DK-SEAL"]) if row.code == "LATE")
        stores.transfer(session, lot.lot_id, lot.location_id, "B-01", 2, **stamp())
    page = clerk.open(f"/stores/recall?lot={lot.lot_id}")
    bare = page.form("/stop").submit(reason="  ")
    assert bare.status == 409
    assert "Say why the lot is set aside." in bare.words
    done = bare.form("/stop").submit(reason="Maker's notice 14")
    assert "Set aside everywhere: Maker's notice 14" in done.words
    with front.read() as session:
        assert lot.lot_id in stock.quarantined(session)
        seal = stock.shelf(session, ["DK-SEAL"], lot.received_on)["DK-SEAL"]
        assert (seal.on_hand, seal.usable) == (6, 1)
        picks = stock.propose_picks(session, {"DK-SEAL": 6}, lot.received_on)
        assert {pick.lot_code for pick in picks} == {"EARLY"}
    freed = done.form("/release").submit(reason="Checked, sound")
    assert "Set aside everywhere" not in freed.words


def test_a_technician_reads_and_does_not_stop(front: Database, visit: Visit) -> None:
    with front.read() as session:
        lot = stock.lots_of(session, ["DK-SEAL"])[0]
    page = visit("technician").open(f"/stores/recall?lot={lot.lot_id}")
    assert "Stop use" not in page.words


@pytest.fixture
def work(db: Database) -> str:
    """A device with new parts in it."""
    with db.write() as session:
        found: BenchWork = kitted_work(session)
        found.teardown()
        found.refit()
        return found.number


def test_fitted_pieces_are_found_in_their_device(db: Database, visit: Visit, work: str) -> None:
    page = visit("stores").open(f"/stores/recall?q={work}")
    fitted = [row.find_all("td") for row in page.soup.select("tbody tr")]
    pieces = [int(cells[3].get_text()) for cells in fitted]
    assert sum(pieces) > 0
    link = next(c[2].find("a")["href"] for c, n in zip(fitted, pieces, strict=True) if n)  # type: ignore[index]
    lot = visit("stores").open(str(link))
    assert work in lot.words
    assert "in 1 device." in lot.words
