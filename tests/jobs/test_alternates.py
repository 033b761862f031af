"""An approved alternate in place of a part that is short: offered, taken, picked, fitted, counted, costed, told."""

from collections.abc import Callable
from decimal import Decimal

import pytest
from fastapi import FastAPI
from sqlmodel import Session, select

from app.jobs.actions import bench
from app.jobs.actions.close import close_job
from app.jobs.actions.issue_kit import hand_out_kit
from app.jobs.actions.take_alternate import give_up_alternate, take_alternate
from app.jobs.actions.trouble import report, take_report_back
from app.jobs.models import Hold, KitLine, PartUse
from app.jobs.queries import closing as reads
from app.jobs.queries.closing import Entry, account
from app.jobs.queries.faults import bench_faults
from app.jobs.queries.jobs import find_job
from app.people.models import Role
from app.platform.clock import uuid7
from app.platform.db import Database
from app.platform.errors import Refused
from app.stores import actions as stores
from app.stores import queries as stock
from app.stores.queries import Pick
from tests.jobs.bench_shop import CLERK, KEEPS_UNTIL, START, SUPERVISOR, TECHNICIAN, BenchShop, receive, set_up
from tests.jobs.bench_work import BenchWork, entries_of, job_of
from tests.jobs.test_bench_api import token
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]
WANTED, OTHER = "F-110", "F-111"


def add_part(session: Session, number: str, **more: str) -> None:
    """Add a part like the speaker to the catalogue."""
    row = {
        "number": number, "name": f"Part {number}", "unit": "each", "supplier": "KLP", "price": "15.00",
        "location": "A-01", "lead_time_days": "5", "serial_tracked": "", "shelf_life_days": "", **more,
    }  # fmt: skip
    report = stores.import_catalogue(session, [], [], [row], entry_id=uuid7(), at=START, who=None)
    assert not report.errors


def approve(session: Session, part: str, alternate: str, **more: object) -> None:
    """Propose a pair as the clerk, approve it as the supervisor."""
    said: dict[str, object] = {"at": START, **more}
    stores.propose_alternate(session, part, alternate, "Same drawing", entry_id=uuid7(), who=CLERK, **said)  # type: ignore[arg-type]
    stores.approve_alternate(
        session, part, alternate, supervisor=True, entry_id=uuid7(), at=START, who=SUPERVISOR
    )  # fmt: skip


def short_of_a_speaker(session: Session, **more: str) -> BenchShop:
    """The small workshop with everything on the shelf but the speaker; another one lies there at its own cost."""
    shop = BenchShop(session, set_up(session))
    add_part(session, OTHER, **more)
    lot = stock.lots_of(session, [WANTED])[0]
    stores.scrap_stock(session, lot.lot_id, lot.location_id, lot.on_hand, "Wet", entry_id=uuid7(), at=START, who=CLERK)
    stores.receive_loose(
        session, OTHER, "ALT-1", None, 3, Decimal("15.25"), None, "opening stock", entry_id=uuid7(), at=START, who=CLERK
    )
    return shop


def planned(shop: BenchShop) -> str:
    """Return a job whose speaker is short."""
    number = shop.book()
    shop.safe(number)
    assert shop.plan(number, ("speaker",)) == {WANTED: 1}
    return number


def take(shop: BenchShop, number: str, quantity: int = 1, alternate: str = OTHER) -> None:
    """Take the alternate in place of the speaker."""
    take_alternate(
        shop.session, number, WANTED, alternate, quantity, "Speaker late", at=shop.at(), who=CLERK, event_id=uuid7(),
        today=shop.now.date(),
    )  # fmt: skip


def sound(session: Session) -> None:
    """The project's own checks find no fault."""
    assert bench_faults(session) == []
    assert stock.stock_faults(session) == []


def to_the_end(shop: BenchShop, number: str) -> BenchWork:
    """Do the whole job, from the bench to its closing."""
    work = BenchWork(shop, number)
    work.open()
    work.teardown()
    work.refit()
    work.sign()
    work.pass_tests()
    close_job(shop.session, number, work.job.version, shop.settings, at=shop.at(), who=TECHNICIAN, event_id=uuid7())
    return work


def test_the_pick_list_offers_what_is_approved_and_free_and_the_bench_fits_it(db: Database, visit: Visit) -> None:
    with db.write() as session:
        shop = short_of_a_speaker(session)
        approve(session, WANTED, OTHER, fits_from="board revision 3")
        number = planned(shop)
    assert job_of(db, number).hold is Hold.PARTS
    clerk = visit("stores")
    page = clerk.open(f"/jobs/{number}/kit")
    assert f"{OTHER} Part {OTHER} in place of {WANTED} · 3 free · fits from board revision 3" in page.words
    bare = page.form("/kit/alternate").submit(alternate_quantity="1", alternate_reason=" ")
    assert bare.status == 422
    done = page.form("/kit/alternate").submit(alternate_quantity="1", alternate_reason="Speaker is late")
    assert done.status == 200
    assert f"{OTHER} {WANTED} 1 1" in done.words
    assert f"1 × {OTHER} in place of {WANTED}: Speaker is late" in clerk.open(f"/jobs/{number}").words
    assert job_of(db, number).hold is Hold.NONE
    with db.read() as session:
        assert stock.reserved_for(session, f"job:{number}")[OTHER] == 1
    handed = done.form("/kit").submit()
    assert "All of the kit is handed out" in handed.words
    with db.write() as session:
        shop.session = session
        work = to_the_end(shop, number)
        use = session.exec(select(PartUse).where(PartUse.part_number == OTHER)).one()
        assert (use.in_place_of, use.quantity) == (WANTED, 1)
        cost = account(session, work.job, shop.settings, shop.now).parts
        line = next(line for line in cost.lines if line.part == OTHER)
        # The alternate's own lot cost, and planned: the plan wanted a speaker.
        assert (line.cost, line.planned) == (Decimal("15.25"), True)
        sound(session)
    assert f"1 × {OTHER} fitted in place of {WANTED}" in visit("technician").open(f"/jobs/{number}/close").words
    card = visit("technician").open(f"/jobs/{number}/card")
    assert f"{OTHER} Part {OTHER} fitted in place of {WANTED}" in card.words
    said = [row for entry in entries_of(db, number, "tick") for row in entry.data.get("in_place", ())]
    assert said == [[WANTED, OTHER, 1]]


def test_an_alternate_that_is_not_approved_is_refused_with_the_reason(db: Database) -> None:
    with db.write() as session:
        shop = short_of_a_speaker(session)
        number = planned(shop)
        with pytest.raises(Refused, match="nobody has proposed it"):
            take(shop, number)
        stores.propose_alternate(session, WANTED, OTHER, "Same drawing", entry_id=uuid7(), at=START, who=CLERK)
        with pytest.raises(Refused, match="it is proposed"):
            take(shop, number)
        stores.approve_alternate(
            session, WANTED, OTHER, supervisor=True, entry_id=uuid7(), at=START, who=SUPERVISOR
        )  # fmt: skip
        stores.withdraw_alternate(session, WANTED, OTHER, "Rattles", entry_id=uuid7(), at=START, who=CLERK)
        with pytest.raises(Refused, match="it is withdrawn"):
            take(shop, number)
        sound(session)


def test_one_way_is_one_way_and_both_ways_is_both(db: Database) -> None:
    with db.write() as session:
        shop = short_of_a_speaker(session)
        approve(session, OTHER, WANTED)
        number = planned(shop)
        with pytest.raises(Refused, match="the other way round only"):
            take(shop, number)
        stores.withdraw_alternate(session, OTHER, WANTED, "One way", entry_id=uuid7(), at=START, who=CLERK)
        approve(session, OTHER, WANTED, both_ways=True)
        take(shop, number)
        sound(session)


def test_set_aside_expired_and_promised_stock_is_never_offered(db: Database) -> None:
    with db.write() as session:
        shop = short_of_a_speaker(session)
        approve(session, WANTED, OTHER)
        number = planned(shop)
        lot = stock.lots_of(session, [OTHER])[0].lot_id
        stores.quarantine_lot(session, lot, "Maker's notice", at=START, who=CLERK)
        assert stock.offers(session, [WANTED], shop.now.date()) == {}
        with pytest.raises(Refused, match=f"None of {OTHER} is free"):
            take(shop, number)
        stores.release_lot(session, lot, "Checked", at=START, who=CLERK)
        got = stores.reserve(session, "job:J9", {OTHER: 3}, entry_id=uuid7(), at=START, who=CLERK)
        assert got == {OTHER: 3}
        assert stock.offers(session, [WANTED], shop.now.date()) == {}
        add_part(session, "F-112", shelf_life_days="30")
        stores.receive_loose(
            session, "F-112", "OLD", START.date(), 2, None, None, "opening", entry_id=uuid7(), at=START, who=CLERK
        )
        approve(session, WANTED, "F-112")
        assert [o.alternate for o in stock.offers(session, [WANTED], START.date())[WANTED]] == ["F-112"]
        assert stock.offers(session, [WANTED], KEEPS_UNTIL) == {}


def test_an_alternate_is_given_up_until_it_is_handed_out(db: Database, visit: Visit) -> None:
    with db.write() as session:
        shop = short_of_a_speaker(session)
        approve(session, WANTED, OTHER)
        number = planned(shop)
        take(shop, number)
        receive(session, WANTED, 1, "NEW")
    clerk = visit("stores")
    back = clerk.open(f"/jobs/{number}/kit").form("/kit/alternate/give-up").submit()
    assert "Alternates in this kit" not in back.words
    with db.read() as session:
        promised = stock.reserved_for(session, f"job:{number}")
        assert (promised.get(OTHER, 0), promised[WANTED]) == (0, 1)
        sound(session)
    with db.write() as session:
        shop.session = session
        stores.release(session, f"job:{number}", {WANTED: 1}, entry_id=uuid7(), at=START, who=CLERK)
        take(shop, number)
        shop.hand_out(number)
        with pytest.raises(Refused, match="handed out or picked"):
            give_up_alternate(
                session, number, WANTED, OTHER, at=shop.at(), who=CLERK, event_id=uuid7(), today=shop.now.date()
            )
        sound(session)


def test_a_serial_tracked_alternate_is_fitted_with_its_serial(db: Database) -> None:
    with db.write() as session:
        shop = short_of_a_speaker(session, serial_tracked="1")
        approve(session, WANTED, OTHER)
        number = planned(shop)
        take(shop, number)
        shop_picks = stock.propose_picks(session, {OTHER: 1}, shop.now.date())
        picks = [Pick(p.part_number, p.lot_id, p.location_id, 1, ("SP-7",)) for p in shop_picks]
        hand_out_kit(session, number, picks, at=shop.at(), who=CLERK, event_id=uuid7())
        shop.hand_out(number)
        to_the_end(shop, number)
        use = session.exec(select(PartUse).where(PartUse.part_number == OTHER)).one()
        assert (use.serial, use.in_place_of) == ("SP-7", WANTED)
        sound(session)


def test_a_scanned_alternate_goes_in_where_the_part_is_wanted(db: Database) -> None:
    with db.write() as session:
        shop = short_of_a_speaker(session)
        approve(session, WANTED, OTHER)
        number = planned(shop)
        take(shop, number)
        shop.hand_out(number)
        work = BenchWork(shop, number)
        work.open()
        work.teardown()
        step = work.job.state.refit[0]
        with pytest.raises(Refused, match="not in this job's hands"):
            bench.tick(session, number, "up", step, scanned=[(WANTED, "ALT-1")], **work.stamp())
        bench.tick(session, number, "up", step, scanned=[(OTHER, "ALT-1")], **work.stamp())
        use = session.exec(select(PartUse).where(PartUse.part_number == OTHER)).one()
        assert use.in_place_of == WANTED
        ticked = work.job.state.ticks[-1].event_id
        bench.undo(session, number, ticked, **work.stamp())
        bench.tick(session, number, "up", step, **work.stamp())
        sound(session)


def test_a_new_plan_lets_the_alternate_of_what_it_needs_no_more_go(db: Database) -> None:
    with db.write() as session:
        shop = short_of_a_speaker(session)
        approve(session, WANTED, OTHER)
        number = planned(shop)
        take(shop, number)
        shop.plan(number, ("cell",))
        lines = {line.part_number: line for line in session.exec(select(KitLine)).all()}
        assert (lines[WANTED].planned, lines[OTHER].planned) == (0, 0)
        assert OTHER not in stock.reserved_for(session, f"job:{number}")
        assert [e.kind for e in find_entries(session, number)] == ["alternate taken", "alternate given up"]
        sound(session)


def find_entries(session: Session, number: str) -> list[Entry]:
    """Return a job's entries about alternates."""
    return list(reads.entries(session, find_job(session, number).id, kinds=("alternate taken", "alternate given up")))


def test_a_report_that_is_taken_back_takes_its_alternate_with_it(db: Database) -> None:
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
        add_part(session, "F-212")
        stores.receive_loose(
            session, "F-212", "S-2", None, 9, None, None, "opening", entry_id=uuid7(), at=START, who=CLERK
        )
        approve(session, "F-210", "F-212")
        work = BenchWork(shop, shop.kitted(("cell",)))
        work.open()
        for lot in stock.lots_of(session, ["F-210"]):
            stores.scrap_stock(
                session, lot.lot_id, lot.location_id, lot.on_hand, "Rust", entry_id=uuid7(), at=START, who=CLERK
            )
        for step in work.job.state.teardown[:2]:
            bench.tick(session, work.number, "down", step, **work.stamp())
        stamp = work.stamp()
        report(session, work.number, "damage", item="back/screws", count=2, **stamp)
        take_alternate(
            session, work.number, "F-210", "F-212", 2, "Rusty", at=shop.at(), who=CLERK, event_id=uuid7(),
            today=shop.now.date(),
        )  # fmt: skip
        assert stock.reserved_for(session, f"job:{work.number}") == {"F-212": 2}
        sound(session)
        take_report_back(session, work.number, stamp["event_id"], **work.stamp())
        assert stock.reserved_for(session, f"job:{work.number}") == {}
        sound(session)


def test_the_same_submission_again_takes_nothing_twice(db: Database) -> None:
    with db.write() as session:
        shop = short_of_a_speaker(session)
        approve(session, WANTED, OTHER)
        number = planned(shop)
        key = uuid7()
        for _n in range(2):
            take_alternate(
                session, number, WANTED, OTHER, 1, "Late", at=START, who=CLERK, event_id=key, today=START.date()
            )  # fmt: skip
        assert stock.reserved_for(session, f"job:{number}")[OTHER] == 1
        with pytest.raises(Refused, match="0 of F-110 are still to hand out"):
            take(shop, number)
        sound(session)


def test_the_api_takes_an_alternate_by_the_same_action(app: FastAPI, db: Database) -> None:
    with db.write() as session:
        shop = short_of_a_speaker(session)
        approve(session, WANTED, OTHER)
        number = planned(shop)
    client = token(app, db, Role.STORES)
    body = {"id": uuid7(), "part": WANTED, "alternate": OTHER, "quantity": 1, "reason": "Late"}
    there = f"/api/v1/jobs/{number}/kit/alternates"
    for _n in range(2):
        answer = client.post(there, json=body)
        assert answer.status_code == 200, answer.text
        assert answer.json() == [{"part": WANTED, "alternate": OTHER, "quantity": 1, "open": 1}]
    assert client.post(there, json={**body, "quantity": 2}).status_code == 409
