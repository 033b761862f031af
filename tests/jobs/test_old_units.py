"""Old units of a job: repaired or owed ones go to the stores when the job closes, and are told apart from scrap."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

from sqlmodel import Session

from app.jobs.actions import bench
from app.jobs.actions.close import close_job
from app.jobs.queries.faults import bench_faults
from app.platform.clock import uuid7
from app.platform.db import Database
from app.review.queries.record import scrap
from app.review.queries.totals import discards
from app.rules.stores.units import UnitKind, UnitState
from app.stores import actions as stores
from app.stores import queries as stock
from tests.jobs.bench_shop import START, TECHNICIAN, BenchShop, set_up
from tests.jobs.bench_work import BenchWork, entries_of
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def at_the_end(session: Session, kind: UnitKind, part: str = "F-110", target: str = "speaker") -> BenchWork:
    """A job with its count signed and its tests passed, the part's old one of this kind."""
    shop = BenchShop(session, set_up(session))
    stores.save_unit_terms(session, part, kind, Decimal("45.00"), 21, at=START)
    work = BenchWork(shop, shop.kitted((target,)))
    work.open()
    for step in work.job.state.teardown:
        serial = "OLD-77" if target in step else ""
        bench.tick(session, work.number, "down", step, old_serial=serial, **work.stamp())
    bench.tick(session, work.number, "turn", "", **work.stamp())
    work.refit()
    work.sign()
    work.pass_tests()
    return work


def close(work: BenchWork) -> None:
    """Close the job."""
    close_job(
        work.session, work.number, work.job.version, work.shop.settings,
        at=work.shop.at(), who=TECHNICIAN, event_id=uuid7(),
    )  # fmt: skip


def sound(session: Session) -> None:
    """The project's own checks find no fault."""
    assert bench_faults(session) == []
    assert stock.stock_faults(session) == []


def test_a_rotable_waits_in_the_stores_and_is_no_scrap(db: Database, visit: Visit) -> None:
    with db.write() as session:
        work = at_the_end(session, UnitKind.ROTABLE)
    page = visit("technician").open(f"/jobs/{work.number}/close")
    assert "Is repaired" in page.words
    assert "Speaker" not in page.soup.select_one("section[aria-labelledby=scrap] table").get_text()  # type: ignore[union-attr]
    with db.write() as session:
        work.shop.session = session
        close(work)
        unit = stock.open_units(session)[0]
        assert (unit.part_number, unit.state, unit.source_ref) == ("F-110", UnitState.WAITS, f"job:{work.number}")
        assert unit.core_charge == 0
        sound(session)
    assert entries_of(db, work.number, "closed")[0].data["old_units"] == ["U000001"]
    record = visit("supervisor").open(f"/review/jobs/{work.number}")
    assert "Old unit kept in the stores: U000001." in record.words
    assert "Kept, not scrapped: Part F-110, serial OLD-77 , old unit U000001 , for repair" in record.words
    assert "Speaker" not in record.soup.select_one("section[aria-labelledby=scrap] table").get_text()  # type: ignore[union-attr]
    with db.read() as session:
        whole = sum(row.quantity for row in scrap(session, work.job.id or 0) if not row.struck)
        ended = START - timedelta(days=1), START + timedelta(days=400)
        assert sum(row.quantity for row in discards(session, *ended)) == whole - 1


def test_an_exchanged_unit_is_owed_with_its_charge_apart_from_the_cost(db: Database, visit: Visit) -> None:
    with db.write() as session:
        work = at_the_end(session, UnitKind.EXCHANGE)
    page = visit("technician").open(f"/jobs/{work.number}/close")
    assert "45.00 is charged only if the cores do not come back. It is no part of the cost above." in page.words
    with db.write() as session:
        work.shop.session = session
        before = stock.shelf(session, ["F-110"], work.shop.now.date())["F-110"]
        close(work)
        unit = stock.open_units(session)[0]
        assert (unit.state, unit.core_charge) == (UnitState.OWED, Decimal("45.00"))
        assert unit.due_on is not None
        assert (unit.due_on - work.shop.now.date()).days == 21
        # An old unit is no stock.
        after = stock.shelf(session, ["F-110"], work.shop.now.date())["F-110"]
        assert after.on_hand == before.on_hand
        sound(session)


def test_a_consumed_part_leaves_nothing_behind(db: Database) -> None:
    with db.write() as session:
        work = at_the_end(session, UnitKind.CONSUMED)
        close(work)
        assert stock.open_units(session) == ()
        sound(session)


def test_the_core_of_a_damaged_cell_never_goes_by_air(db: Database, visit: Visit) -> None:
    """Source: 49 CFR 173.185(f); ADR special provision 376."""
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
        stores.save_unit_terms(session, "F-100", UnitKind.EXCHANGE, Decimal(30), 30, at=START)
        work = BenchWork(shop, shop.kitted(("cell",)))
        work.open()
        cell = next(key for key in work.job.state.items if key.endswith("/unit:cell"))
        step = cell.partition("/")[0]
        for name in work.job.state.teardown:
            bench.tick(session, work.number, "down", name, old_serial="C-OLD" if name == step else "", **work.stamp())
        bench.tick(session, work.number, "turn", "", **work.stamp())
        work.refit()
        work.sign()
        work.pass_tests()
        close(work)
        unit = stock.open_units(session)[0]
        assert (unit.serial, unit.defective_cell) == ("C-OLD", False)
        more = stores.take_in_units(
            session, "by hand", [stores.CameOut("F-100", "BAD-1", True)], entry_id=uuid7(), at=START, who=None,
            today=START.date(),
        )  # fmt: skip
    page = visit("stores").open(f"/stores/units/{more[0]}")
    assert "Never by air (49 CFR 173.185(f))" in page.words
    refused = page.form("/send").submit(words="Parcel 7", by_air="yes")
    assert refused.status == 409
    assert "A damaged or defective lithium cell never goes by air." in refused.words
    sent = refused.form("/send").submit(by_air=None)
    assert "On its way" in sent.words
