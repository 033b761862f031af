"""A whole job through the pages, from the counter to the sealed card; stock, cost and bench time worked by hand.

The device is the field recorder of ``sheets``: cell and speaker are exchanged, a back screw breaks, one report is a
mistake, one tick is taken back, lunch is a pause and the bond cures for half an hour.

Bench time, worked by hand (UTC): 10:00 opened to 10:40 paused is 40 min; 11:10 resumed to 11:25, when the cure
starts, is 15 min; it is ready at 11:55 and the last release test passes at 12:15, so 20 min more. Together 75 min.
Labour: 75 min at 54.00 an hour is 67.50.

Parts, each line rounded half up to the cent: F-100 31.80, F-110 12.40, two F-211 at 0.1175 are 0.24, F-310 of the
lot that expires first 1.90, two F-320 at 0.64 are 1.28, F-330 0.155 is 0.16, two F-340 at 0.0333 are 0.07: 47.85 as
planned. Beyond the plan one F-210 at 0.0825 is 0.08. Parts 47.93, and with labour 115.43.
"""

from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from sqlmodel import select

from app.jobs.models import Discard, Job, PartUse
from app.jobs.queries.faults import bench_faults
from app.platform import clock
from app.platform.db import Database
from app.stores import queries as stock
from tests.conftest import CAST
from tests.jobs import front
from tests.jobs.bench_shop import receive, set_up
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]
SERIAL = "FR-2207"
ON_HAND = {
    "F-100": 19, "F-110": 19, "F-210": 19, "F-211": 18, "F-220": 20, "F-230": 20,
    "F-310": 22, "F-320": 18, "F-330": 19, "F-340": 18, "F-400": 20,
}  # fmt: skip
MOVED = {
    ("issue", "F-100"): -1, ("issue", "F-110"): -1, ("issue", "F-211"): -2, ("issue", "F-310"): -1,
    ("issue", "F-320"): -2, ("issue", "F-330"): -1, ("issue", "F-340"): -2, ("issue", "F-210"): -2,
    ("return", "F-210"): 1,
}  # fmt: skip


class Hands:
    """The wall clock in the test's hand, and the people who come to the tablet."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.time = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
        monkeypatch.setattr(clock, "now", lambda: self.time)

    def at(self, hour: int, minute: int = 0) -> None:
        """Set the clock to a time of the day, UTC."""
        self.time = datetime(2026, 3, 2, hour, minute, tzinfo=UTC)


@pytest.fixture
def hands(monkeypatch: pytest.MonkeyPatch) -> Hands:
    """The clock stands at nine in the morning until the test moves it."""
    return Hands(monkeypatch)


@pytest.fixture
def workshop(db: Database) -> Database:
    """Twenty of every part, and three rim seals of an older lot that expires first and cost more."""
    with db.write() as session:
        set_up(session)
        receive(session, "F-310", 3, "EARLY", "1.90", date(2026, 12, 31))
    return db


def ok(page: Page) -> Page:
    """Expect a page that shows no refusal."""
    assert page.status == 200, f"{page.path}: {page.words[:900]}"
    return page


def front_office(visit: Visit, db: Database) -> str:
    """Counter, make safe, plan, quote, approval, kit; returns the job's number."""
    technician, supervisor, clerk = visit("technician"), visit("supervisor"), visit("stores")
    number = front.book(technician, db, serial=SERIAL, fault_word=None, fault="No sound", coverage="owner pays")
    ok(front.make_safe(technician, number))
    ok(front.plan(technician, number, "cell", "speaker"))
    ok(supervisor.open(f"/jobs/{number}/quote").form("/quote").submit(amount="130.00"))
    answer = supervisor.open(f"/jobs/{number}/quote").form("/answer")
    ok(answer.submit(approved="yes", by="Harbour master", means="by telephone"))
    ok(front.hand_out(clerk, number, {"F-100": "CP-0001"}))
    return number


def tick(page: Page, times: int = 1) -> Page:
    """Tick the step in focus, and the next ones."""
    for _ in range(times):
        page = ok(page.form("/bench/tick").submit())
    return page


def open_bench(visitor: Visitor, number: str) -> Page:
    """Open the job at the bench, or resume it."""
    page = visitor.open(f"/jobs/{number}/bench")
    return ok(page.form("/bench/open").submit() if page.soup.select('form[action$="/bench/open"]') else page)


def break_screw(visitor: Visitor, number: str, note: str) -> Page:
    """Report a back screw as broken."""
    form = visitor.open(f"/jobs/{number}/trouble?step=back").form("/trouble")
    return ok(form.submit(kind="damage", item="back/screws", count="1", note=note))


def down(visitor: Visitor, clerk: Visitor, number: str, hands: Hands) -> None:
    """Take the recorder apart: one tick taken back, two screws reported, one of them by mistake."""
    hands.at(10, 0)
    page = open_bench(visitor, number)
    hands.at(10, 5)
    page = tick(page, 2)
    page = ok(page.form("/bench/undo").submit())
    page = tick(page)
    hands.at(10, 10)
    break_screw(visitor, number, "Head stripped.")
    page = break_screw(visitor, number, "The wrong pocket was looked at.")
    ok(front.hand_out(clerk, number))
    ok(visitor.open(f"/jobs/{number}/trouble?step=back").form("/take-back").submit())
    hands.at(10, 35)
    tick(open_bench(visitor, number), 6)
    hands.at(10, 40)
    ok(visitor.open(f"/jobs/{number}/bench/pause").form("/bench/pause").submit())


def up(visitor: Visitor, number: str, hands: Hands) -> None:
    """Turn, fit the speaker, let the bond cure, fit the rest."""
    hands.at(11, 10)
    page = tick(open_bench(visitor, number))
    hands.at(11, 25)
    assert "Bond the speaker in" in page.words
    tick(page)
    hands.at(11, 40)
    early = visitor.open(f"/jobs/{number}/bench")
    assert not early.soup.select('form[action$="/bench/tick"]')
    assert "curing for another 15 min" in early.words
    hands.at(12, 5)
    tick(visitor.open(f"/jobs/{number}/bench"), 6)


def finish(visitor: Visitor, number: str, hands: Hands) -> None:
    """Count, test with a second person, close."""
    hands.at(12, 10)
    count = ok(visitor.open(f"/jobs/{number}/count"))
    ok(count.form("/count").submit())
    hands.at(12, 15)
    name, _role, secret = CAST[1]
    power = visitor.open(f"/jobs/{number}/tests").form("/tests", 0)
    ok(power.submit(accepted="yes"))
    leak = visitor.open(f"/jobs/{number}/tests").form("/tests", 0)
    refused = leak.submit(reading="2.0")
    assert refused.status in (409, 422)
    ok(leak.submit(reading="2.0", second_name=name, second_secret=secret))
    hands.at(12, 20)
    ok(visitor.open(f"/jobs/{number}/close").form("/close").submit())


def test_a_whole_job_from_the_counter_to_the_sealed_card(workshop: Database, visit: Visit, hands: Hands) -> None:
    number = front_office(visit, workshop)
    technician = visit("technician")
    down(technician, visit("stores"), number, hands)
    up(technician, number, hands)
    finish(technician, number, hands)
    with workshop.read() as session:
        job = session.exec(select(Job)).one()
        assert job.stage.value == "closed"
        assert not job.overridden
        assert job.bench_s == 75 * 60
        assert job.labour_cost == Decimal("67.50")
        assert job.parts_cost == Decimal("47.93")
        assert job.seal == job.chain != ""
        shelf = stock.shelf(session, list(ON_HAND), hands.time.date())
        assert {part: found.on_hand for part, found in shelf.items()} == ON_HAND
        assert {part: found.reserved for part, found in shelf.items()} == dict.fromkeys(ON_HAND, 0)
        moved: dict[tuple[str, str], int] = {}
        for move in stock.movements_of(session, f"job:{number}"):
            key = (move.kind, move.part_number)
            moved[key] = moved.get(key, 0) + move.quantity
        assert moved == MOVED
        early = next(lot for lot in stock.lots_of(session, ["F-310"]) if lot.code == "EARLY")
        assert early.on_hand == 2
        uses = session.exec(select(PartUse).where(PartUse.struck.is_(False))).all()  # type: ignore[attr-defined]
        assert sorted((u.item, u.part_number, u.quantity, u.serial) for u in uses) == [
            ("back/screws", "F-210", 1, ""),
            ("back/seal", "F-310", 1, ""),
            ("cell/fit:0", "F-330", 1, ""),
            ("cell/strips", "F-320", 2, ""),
            ("cell/unit:cell", "F-100", 1, "CP-0001"),
            ("shield/locked", "F-211", 2, ""),
            ("speaker/fit:0", "F-340", 2, ""),
            ("speaker/unit:speaker", "F-110", 1, ""),
        ]
        scrap = session.exec(select(Discard).where(Discard.struck.is_(False))).all()  # type: ignore[attr-defined]
        assert sorted((d.item, d.quantity, d.reason, d.waste_stream.value) for d in scrap) == [
            ("back/screws", 1, "damaged", "metal"),
            ("back/seal", 1, "planned", "residual"),
            ("cell/strips", 2, "planned", "residual"),
            ("cell/unit:cell", 1, "planned", "cell"),
            ("shield/locked", 2, "planned", "metal"),
            ("speaker/unit:speaker", 1, "planned", "electronic"),
        ]
        assert bench_faults(session) == []
        assert stock.stock_faults(session) == []
    card = ok(technician.open(f"/jobs/{number}/card"))
    for words in (number, SERIAL, "115.43", "47.93", "67.50", "CP-0001"):
        assert words in card.words
