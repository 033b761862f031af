"""An inspection on the way back that fails a new piece as it is laid: spoilt, paid for, and not back on the shelf."""

from sqlmodel import Session, col, select

from app.jobs.actions import bench, deeds
from app.jobs.actions.deeds import Deed
from app.jobs.actions.trouble import report, take_report_back
from app.jobs.forms import TapData
from app.jobs.models import Discard, KitLot
from app.platform.clock import uuid7
from app.platform.db import Database
from app.procedures.files import SheetFile
from app.stores.models import Part, StockLevel
from tests.jobs.bench_shop import BenchShop, set_up
from tests.jobs.bench_work import BenchWork
from tests.jobs.sheets import TEXT

LAID_AGAIN = TEXT.replace(
    'ask: "Is the back flush all round?", on_reject: {say: Take it off and lay a new seal.}',
    'ask: "Is it straight?", of: seal, on_reject: {say: Lay another., add: [{part: F-310, name: Seal, count: 1}]}',
)


def at_the_seal(session: Session) -> BenchWork:
    """Bring a job to the step that lays the new seal."""
    assert LAID_AGAIN != TEXT
    shop = BenchShop(session, set_up(session, file=SheetFile("field-recorder.yaml", LAID_AGAIN)))
    work = BenchWork(shop, shop.kitted(("cell",)))
    work.open()
    work.teardown()
    work.refit(but=("back",))
    return work


def close_the_back(work: BenchWork) -> None:
    """Tick the step with the seal, and wait until it is pressed."""
    bench.tick(work.session, work.number, "up", "back", **work.stamp())
    work.shop.at(1)


def seals(session: Session) -> tuple[int, int, int]:
    """Return what the job fitted and spoilt of the seal, and what is on the shelf."""
    rows = session.exec(select(KitLot).where(KitLot.part_number == "F-310")).all()
    shelf = session.exec(
        select(StockLevel.on_hand)
        .join(Part, col(Part.id) == col(StockLevel.part_id))
        .where(col(Part.number) == "F-310")
    ).one()
    return sum(row.fitted for row in rows), sum(row.spoiled for row in rows), shelf


def test_the_piece_that_failed_is_spoilt_and_another_is_handed_out(db: Database) -> None:
    with db.write() as session:
        work = at_the_seal(session)
        work.report("reject", inspection="back/flush")
        assert seals(session) == (0, 1, 19)
        discard = session.exec(select(Discard).where(Discard.reason == "spoiled")).one()
        assert (discard.item, discard.quantity, discard.struck) == ("back/seal", 1, False)
        work.shop.hand_out(work.number)
        close_the_back(work)
        assert seals(session) == (1, 1, 18)
        work.sign()


def test_a_tablet_that_reports_it_is_told_the_remedy_and_where_the_new_piece_comes_from(db: Database) -> None:
    with db.write() as session:
        work = at_the_seal(session)
        failed = Deed(work.number, "tick", "up", "back", TapData(rejects=["back/flush"]))
        said = deeds.do(session, failed, **work.stamp())
        assert said == ("Failed inspection recorded. Lay another. The new part is reserved; stores hands it out.",)
        assert "back" not in work.job.state.up


def test_taking_the_report_back_frees_the_piece(db: Database) -> None:
    with db.write() as session:
        work = at_the_seal(session)
        stamp = work.stamp()
        report(session, work.number, "reject", inspection="back/flush", **stamp)
        take_report_back(session, work.number, stamp["event_id"], **{**work.stamp(), "event_id": uuid7()})
        assert seals(session) == (0, 0, 19)
        close_the_back(work)
        assert seals(session) == (1, 0, 19)
        work.sign()
