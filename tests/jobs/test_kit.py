"""The kit: picked in walk order, the oldest expiry first, handed out with its movements."""

from collections.abc import Callable
from typing import Any

from sqlmodel import select

from app.jobs.actions.record import load_job
from app.jobs.actions.trouble import add_to_kit
from app.jobs.models import BenchEvent, Job, KitLine, KitLot
from app.platform import clock
from app.platform.db import Database
from app.stores import queries as stock
from tests.jobs.front import AT, CELL_SERIAL, hand_out, level, planned_job, receive
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def _stage(db: Database, number: str) -> str:
    with db.read() as session:
        return session.exec(select(Job).where(Job.number == number)).one().stage.value


def test_the_pick_list_goes_by_walk_order_with_the_oldest_expiry_first(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    page = visit("stores").open(f"/jobs/{number}/kit")
    places = [cell.get_text(strip=True) for cell in page.soup.select("td.place")]
    assert places == ["B-01", "C-01", "C-01", "C-01"]
    seal = page.soup.find("select", attrs={"aria-label": "Lot of Lid seal"})
    assert seal is not None
    chosen = seal.find("option", selected=True)
    assert chosen is not None
    assert chosen.get_text().startswith("EARLY, use by 30 Jun 2099: 1 at C-01")


def test_handing_out_posts_movements_at_lot_cost_and_kits_the_job(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    page = hand_out(visit("stores"), number, CELL_SERIAL)
    assert "All of the kit is handed out" in page.words
    assert _stage(front, number) == "kitted"
    with front.read() as session:
        moved = {
            (m.part_number, m.lot_code): (m.kind, m.quantity, str(m.unit_cost))
            for m in stock.movements_of(session, f"job:{number}")
        }
        assert moved == {
            ("DK-CELL", "C1"): ("issue", -1, "22.0000"),
            ("DK-SEAL", "EARLY"): ("issue", -1, "2.1000"),
            ("DK-SCRW", "S1"): ("issue", -4, "0.0317"),
            ("DK-TAPE", "T1"): ("issue", -2, "1.1500"),
        }
        assert stock.reserved_for(session, f"job:{number}") == {}
        lots = {lot.part_number: (lot.lot_code, lot.issued, lot.serials) for lot in session.exec(select(KitLot)).all()}
        assert lots["DK-CELL"] == ("C1", 1, ["CP-0001"])
        data = session.exec(select(BenchEvent).where(BenchEvent.kind == "kit issued")).one().data
        assert ["DK-CELL", "C1", 1, ["CP-0001"]] in [[r[0], *r[2:]] for r in data["lots"]]
        assert stock.stock_faults(session) == []


def test_a_tracked_unit_is_not_handed_out_without_its_serial(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    page = hand_out(visit("stores"), number)
    assert page.status == 409
    assert "enter 1 serial, one for each piece; 0 entered" in page.words
    assert _stage(front, number) == "planned"
    assert level(front, "DK-SCRW").on_hand == 100


def test_the_clerk_may_take_another_lot(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    stores = visit("stores")
    form = stores.open(f"/jobs/{number}/kit").form("/kit")
    n = next(k.partition("-")[2] for k, v in form.values.items() if v == ["DK-SEAL"])
    page = stores.open(f"/jobs/{number}/kit")
    select_box = page.soup.find("select", attrs={"name": f"place-{n}"})
    assert select_box is not None
    late = next(str(o["value"]) for o in select_box.find_all("option") if "LATE" in o.get_text())
    hand_out(stores, number, CELL_SERIAL, **{f"place-{n}": late})
    with front.read() as session:
        codes = {m.lot_code for m in stock.movements_of(session, f"job:{number}")}
    assert "LATE" in codes
    assert "EARLY" not in codes


def test_a_part_of_the_kit_can_go_out_first(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    stores = visit("stores")
    form = stores.open(f"/jobs/{number}/kit").form("/kit")
    cell = next(k.partition("-")[2] for k, v in form.values.items() if v == ["DK-CELL"])
    nothing: dict[str, Any] = {f"quantity-{cell}": "0"}
    page = form.submit(**nothing)
    assert page.status == 200
    assert _stage(front, number) == "planned"
    hand_out(stores, number, CELL_SERIAL)
    assert _stage(front, number) == "kitted"


def test_no_more_is_handed_out_than_the_job_needs(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    stores = visit("stores")
    form = stores.open(f"/jobs/{number}/kit").form("/kit")
    screws = next(k.partition("-")[2] for k, v in form.values.items() if v == ["DK-SCRW"])
    page = hand_out(stores, number, CELL_SERIAL, **{f"quantity-{screws}": "9"})
    assert page.status == 409
    assert "the job still needs 4, not 9" in page.words
    assert 'value="9"' in page.text
    assert level(front, "DK-SCRW").on_hand == 100


def test_a_double_submit_hands_out_once(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "display")
    form = visit("stores").open(f"/jobs/{number}/kit").form("/kit")
    assert form.submit().path == form.submit().path
    assert level(front, "DK-DISP").on_hand == 1


def test_what_is_short_is_handed_out_when_it_came(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "camera")
    stores = visit("stores")
    page = hand_out(stores, number)
    assert "Short" in page.words
    assert _stage(front, number) == "planned"
    with front.write() as session:
        receive(session, "DK-CAM", 1, "M1", "31.10")
    stores.open(f"/jobs/{number}").form("/kit/reserve").submit()
    assert level(front, "DK-CAM").reserved == 1
    hand_out(stores, number)
    assert _stage(front, number) == "kitted"
    with front.read() as session:
        assert session.exec(select(Job)).one().hold.value == "none"


def test_what_was_added_on_the_way_is_handed_out_the_same_way(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = planned_job(technician, front, "cell")
    stores = visit("stores")
    hand_out(stores, number, CELL_SERIAL)
    with front.write() as session:
        job = load_job(session, number)
        assert add_to_kit(session, job, {"DK-TAPE": 1}, at=AT, who=None, entry_id=clock.uuid7()) == ()
    assert hand_out(stores, number).status == 200
    with front.read() as session:
        line = session.exec(select(KitLine).where(KitLine.part_number == "DK-TAPE")).one()
        assert (line.planned, line.added, line.issued) == (2, 1, 3)


def test_the_pick_list_prints_with_lots_and_a_code(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    page = visit("stores").open(f"/jobs/{number}/kit/list")
    assert "EARLY" in page.words
    assert page.soup.select_one(".sheet-id svg") is not None
    assert len(page.soup.select(".tick-box")) == 4


def test_a_technician_hands_nothing_out(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = planned_job(technician, front, "display")
    kit = technician.open(f"/jobs/{number}/kit").words
    assert "Hand out kit" not in kit
    assert "Stores takes these from the shelf and hands them out." in kit
    values = technician.open("/jobs/new").form("/jobs/new").values
    assert technician.post(f"/jobs/{number}/kit", values).status == 403
