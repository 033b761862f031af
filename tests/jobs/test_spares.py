"""Spares: decided with a reason, reserved for later jobs, used up by what is spoilt, brought back when unused."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from fastapi import FastAPI
from sqlmodel import Session, col, select

from app.jobs.actions import bench, close, extend_plan
from app.jobs.actions.choose_targets import use_plan
from app.jobs.actions.hold import retry_reservations
from app.jobs.actions.issue_kit import hand_out_kit
from app.jobs.actions.pick_kit import give_back
from app.jobs.actions.spares import decide_spares, withdraw_spares
from app.jobs.models import BenchEvent, Hold, Job, KitLine, KitLot, SpareDecision, Stage
from app.jobs.queries import jobs as queries
from app.jobs.queries.faults import bench_faults
from app.jobs.queries.kit import outstanding, to_hand_out
from app.jobs.queries.spares import decisions, factors, step_parts
from app.people.models import Role
from app.platform.clock import now, uuid7
from app.platform.db import Database
from app.platform.errors import NotFound
from app.rules.verdict import Refused
from app.stores import queries as shelf
from app.stores.models import Wanted
from tests.jobs.bench_shop import CLERK, START, SUPERVISOR, TECHNICIAN, BenchShop, picks_for, receive, set_up
from tests.jobs.bench_work import BenchWork
from tests.jobs.test_bench_api import token
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]
SEAL = ("field-recorder", "back", "F-310")
PATH = "/spares/field-recorder/back/F-310"


def decide(session: Session, factor: str = "0.1", key: tuple[str, str, str] = SEAL) -> None:
    """Plan spares."""
    decide_spares(
        session, key, Decimal(factor), "The seal folds when laid", "", at=START, who=SUPERVISOR, entry_id=uuid7()
    )


def line(session: Session, number: str, part: str = "F-310") -> KitLine:
    """Return a job's kit line."""
    job = session.exec(select(Job).where(Job.number == number)).one()
    return session.exec(select(KitLine).where(KitLine.job_id == job.id, KitLine.part_number == part)).one()


def planned(shop: BenchShop, serial: str = "FR-1", targets: tuple[str, ...] = ("cell",)) -> str:
    """Bring a job to its plan."""
    number = shop.book(serial)
    shop.safe(number)
    shop.plan(number, targets)
    return number


def hand_out_all(shop: BenchShop, number: str) -> None:
    """Hand out everything that is promised, spares too."""
    promised = shelf.reserved_for(shop.session, f"job:{number}")
    picks = picks_for(shop.session, number, promised, shop.now.date())
    hand_out_kit(shop.session, number, picks, at=shop.at(), who=CLERK, event_id=uuid7())


def close_it(work: BenchWork) -> None:
    """Do the job to its end, nothing going wrong."""
    work.teardown()
    work.refit()
    work.sign()
    work.pass_tests()
    close.close_job(work.session, work.number, work.job.version, work.shop.settings, **work.stamp())


def sound(session: Session) -> None:
    """Every projection says what the facts say."""
    session.flush()
    assert bench_faults(session) == []
    assert shelf.stock_faults(session) == []


def test_a_job_planned_later_gets_the_spare_and_an_unused_one_comes_back(db: Database) -> None:
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
        before = planned(shop, "FR-1")
        decide(session)
        number = planned(shop, "FR-2")
        assert (line(session, before).spare, line(session, number).spare) == (0, 1)
        assert shelf.reserved_for(session, f"job:{number}")["F-310"] == 2
        assert to_hand_out(session, queries.find_job(session, number).id)["F-310"] == 2
        data = session.exec(
            select(BenchEvent.data).where(BenchEvent.kind == "planned").order_by(col(BenchEvent.id).desc())
        ).first()
        assert data is not None
        assert data["spares"] == [["F-310", "back", 1]]
        hand_out_all(shop, number)
        work = BenchWork(shop, number)
        work.open()
        close_it(work)
        seal = line(session, number)
        assert (seal.planned, seal.spare, seal.issued, seal.returned) == (1, 1, 2, 1)
        assert shelf.reserved_for(session, f"job:{number}") == {}
        # Twenty came; one is in the device, and the other job is promised one.
        assert shelf.shelf(session, ["F-310"], shop.now.date())["F-310"].on_hand == 19
        assert work.job.parts_cost == Decimal("35.09")  # 31.80 + 1.85 + 1.28 + 0.16, each rounded half up
        sound(session)


def test_a_spoilt_piece_uses_the_spare_up_and_nobody_waits(db: Database) -> None:
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
        decide(session)
        number = planned(shop)
        hand_out_all(shop, number)
        work = BenchWork(shop, number)
        work.open()
        work.teardown()
        work.refit(but=("back",))
        assert work.report("spoiled", "back/seal", count=1, note="Folded over itself") == ()
        assert outstanding(session, work.job.id) == {}
        assert work.job.hold is Hold.NONE
        # A second one is beyond the spare: it joins the kit as ever.
        work.report("spoiled", "back/seal", count=1, note="Folded again")
        assert outstanding(session, work.job.id) == {"F-310": 1}
        hand_out_all(shop, number)
        bench.tick(session, number, "up", "back", **work.stamp())
        shop.at(1)
        work.sign()
        work.pass_tests()
        close.close_job(session, number, work.job.version, shop.settings, **work.stamp())
        seal = line(session, number)
        assert (seal.planned, seal.spare, seal.added, seal.issued, seal.returned) == (1, 1, 2, 3, 0)
        account = close.account(session, session.exec(select(Job)).one(), shop.settings, shop.now)
        assert account.parts.beyond_plan == Decimal("3.69")  # Both spoilt seals, 2 × 1.845.
        row = step_parts(session, START, shop.now + timedelta(days=1))[SEAL]
        assert (row.jobs, row.sheet, row.used, row.spoiled) == (1, 1, 3, 2)
        assert [one.note for one in row.spoiled_at] == ["Folded again", "Folded over itself"]
        sound(session)


def test_a_spare_that_cannot_be_had_holds_no_job_and_is_ordered(db: Database) -> None:
    with db.write() as session:
        shop = BenchShop(session, set_up(session, quantity=1))
        receive(session, "F-320", 1, "MORE")
        decide(session)
        number = planned(shop)
        job = queries.find_job(session, number)
        assert (job.hold, shelf.reserved_for(session, f"job:{number}")["F-310"]) == (Hold.NONE, 1)
        wanted = session.exec(select(Wanted).where(Wanted.quantity > 0)).all()
        assert [(row.source_ref, row.quantity) for row in wanted] == [(f"job:{number}", 1)]
        hand_out_all(shop, number)
        assert queries.find_job(session, number).stage is Stage.KITTED
        # What comes in meanwhile is promised to it, and can still be handed out.
        receive(session, "F-310", 5, "NEW")
        retry_reservations(session, shop.at(), CLERK)
        assert shelf.reserved_for(session, f"job:{number}") == {"F-310": 1}
        assert session.exec(select(Wanted).where(Wanted.quantity > 0)).all() == []
        hand_out_all(shop, number)
        assert line(session, number).issued == 2
        sound(session)


def test_a_spare_brought_back_early_is_not_wanted_again(db: Database) -> None:
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
        decide(session)
        number = planned(shop)
        hand_out_all(shop, number)
        lot = session.exec(select(KitLot).where(KitLot.part_number == "F-310")).one()
        give_back(
            session, number, lot.lot_id, 1, "Not needed after all", at=shop.at(), who=CLERK, event_id=uuid7(),
            today=shop.now.date(),
        )  # fmt: skip
        assert to_hand_out(session, queries.find_job(session, number).id) == {}
        assert shelf.reserved_for(session, f"job:{number}") == {}
        sound(session)


def test_a_plan_that_is_made_again_carries_the_spares_of_its_own_steps(db: Database) -> None:
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
        decide(session)
        decide(session, "0.5", ("field-recorder", "shield", "F-211"))
        number = planned(shop, targets=("cell",))
        assert (line(session, number).spare, "F-211" in outstanding(session, 1)) == (1, False)
        version = queries.find_job(session, number).version
        use_plan(session, number, version, ["speaker"], at=shop.at(), who=TECHNICIAN, event_id=uuid7())
        assert (line(session, number).spare, line(session, number, "F-211").spare) == (1, 1)
        withdraw_spares(session, SEAL, "The jig holds it now", at=shop.at(), who=SUPERVISOR, entry_id=uuid7())
        version = queries.find_job(session, number).version
        use_plan(session, number, version, ["speaker"], at=shop.at(), who=TECHNICIAN, event_id=uuid7())
        assert (line(session, number).spare, line(session, number, "F-211").spare) == (0, 1)
        assert shelf.reserved_for(session, f"job:{number}")["F-310"] == 1
        sound(session)


def test_a_plan_extended_in_mid_work_brings_the_spares_of_the_steps_it_adds(db: Database) -> None:
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
        decide(session)
        decide(session, "0.5", ("field-recorder", "shield", "F-211"))
        number = planned(shop, targets=("cell",))
        hand_out_all(shop, number)
        work = BenchWork(shop, number)
        work.open()
        bench.tick(session, number, "down", "warm", **work.stamp())
        bench.tick(session, number, "down", "back", **work.stamp())
        extend_plan.extend_plan(
            session, number, work.job.version, ["cell", "speaker"], shop.settings, supervisor=False, **work.stamp()
        )
        assert (line(session, number).spare, line(session, number, "F-211").spare) == (1, 1)
        assert to_hand_out(session, work.job.id)["F-211"] == 3
        hand_out_all(shop, number)
        close_rest(work)
        assert line(session, number, "F-211").returned == 1
        sound(session)


def close_rest(work: BenchWork) -> None:
    """Take what is left down, and do the job to its end."""
    for step in work.job.state.teardown:
        if step not in work.job.state.down:
            bench.tick(work.session, work.number, "down", step, **work.stamp())
    bench.tick(work.session, work.number, "turn", "", **work.stamp())
    work.refit()
    work.sign()
    work.pass_tests()
    close.close_job(work.session, work.number, work.job.version, work.shop.settings, **work.stamp())


def test_decisions_are_kept_and_the_newest_holds(db: Database) -> None:
    with db.write() as session:
        set_up(session)
        decide(session)
        decide(session, "0.2")
        with pytest.raises(Refused, match="planned already"):
            decide(session, "0.2")
        with pytest.raises(NotFound):
            decide(session, "0.2", ("field-recorder", "roof", "F-310"))
        assert factors(session) == {SEAL: Decimal("0.2000")}
        withdraw_spares(session, SEAL, "The jig holds it now", at=START, who=SUPERVISOR, entry_id=uuid7())
        assert factors(session) == {}
        assert [row.factor for row in decisions(session, SEAL)] == [0, Decimal("0.2"), Decimal("0.1")]


def test_a_supervisor_plans_spares_on_the_page_and_the_kit_says_for_which_step(db: Database, visit: Visit) -> None:
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
    boss = visit("supervisor")
    page = boss.open(PATH)
    assert "kits hold what the sheet says" in page.words
    form = page.form(PATH)
    refused = form.submit(percent="10", reason="Folds")
    assert refused.status == 409
    assert "Give the reason in a few words" in refused.words
    assert refused.form(PATH).values["percent"] == ["10"]
    done = refused.form(PATH).submit(percent="10", reason="The seal folds when laid")
    assert done.status == 200
    assert "10 %" in done.words
    again = done.form(PATH).submit(percent="2.05", reason="Fewer fold with the jig")
    assert "2.05 %" in again.words
    assert again.form(PATH).submit(percent="10", reason="The jig went back").status == 200
    with db.write() as session:
        shop.session = session
        shop.now = now()
        number = planned(shop, "FR-9")
        assert len(session.exec(select(SpareDecision)).all()) == 3
    kit = visit("stores").open(f"/jobs/{number}/kit")
    assert "1 spare for step 2, Lift the back" in kit.words
    assert "1 spare for step 2" in visit("stores").open(f"/jobs/{number}/kit/list").words
    back = boss.open(PATH).form(f"{PATH}/withdraw").submit(why="The jig holds it now")
    assert "withdrawn" in back.words
    assert visit("technician").client.get(PATH).status_code == 403
    assert boss.client.get("/spares/field-recorder/roof/F-310").status_code == 404


def test_a_program_reads_the_discards_and_decides_once(app: FastAPI, db: Database) -> None:
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
        shop.now = now() - timedelta(days=3)
        number = planned(shop)
        hand_out_all(shop, number)
        work = BenchWork(shop, number)
        work.open()
        close_it(work)
    client = token(app, db, Role.SUPERVISOR)
    rows = client.get("/api/v1/discards").json()
    seal = next(row for row in rows if row["part"] == "F-310")
    assert (seal["step"], seal["jobs"], seal["sheet"], seal["used"], seal["spoiled"]) == ("back", 1, 1, 1, 0)
    body = {
        "id": uuid7(), "procedure": "field-recorder", "step": "back", "part": "F-310", "spares": "0.1",
        "reason": "The seal folds when laid",
    }  # fmt: skip
    for _ in range(2):
        answer = client.post("/api/v1/spares", json=body)
        assert (answer.status_code, answer.json()["spares"]) == (200, "0.1000")
    assert client.post("/api/v1/spares", json={**body, "spares": "0.2"}).status_code == 409
    gone = client.post("/api/v1/spares", json={**body, "id": uuid7(), "spares": "0"})
    assert gone.json()["spares"] == "0"
    with db.read() as session:
        assert len(session.exec(select(SpareDecision)).all()) == 2
    assert token(app, db, Role.TECHNICIAN).get("/api/v1/discards").status_code == 403


def test_the_closing_page_leads_the_technician_to_put_unused_spares_back(db: Database, visit: Visit) -> None:
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
        decide(session)
        number = planned(shop)
        hand_out_all(shop, number)
        work = BenchWork(shop, number)
        work.open()
        work.teardown()
        work.refit()
        work.sign()
        work.pass_tests()
    technician = visit("technician")
    page = technician.open(f"/jobs/{number}/close")
    verdict = page.soup.select_one(".verdict")
    assert verdict is not None
    assert "Put back first" in verdict.get_text()
    assert "1 × Part F-310, lot L-F-310, to B-01" in " ".join(verdict.get_text().split())
    page.form(f"/jobs/{number}/close").submit()
    closed = technician.open(f"/jobs/{number}/close")
    assert "Went back to its shelf" in closed.words
    assert "Put back first" not in closed.words
    with db.read() as session:
        assert shelf.shelf(session, ["F-310"], START.date())["F-310"].on_hand == 19
