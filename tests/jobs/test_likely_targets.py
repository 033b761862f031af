"""From the fault to the units: the supervisor's table, and what was really exchanged."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from sqlmodel import Session

from app.jobs.actions import close
from app.jobs.actions.book_in import Booking, book_in
from app.jobs.models import Coverage, DataWish
from app.platform.clock import uuid7
from app.platform.db import Database
from app.platform.settings import Settings
from app.procedures import queries as procedures
from tests.jobs.bench_shop import TECHNICIAN, BenchShop, set_up
from tests.jobs.bench_work import BenchWork
from tests.jobs.front import book
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def _closed(session: Session, shop: BenchShop, n: int, target: str) -> None:
    """A job with the words 'No sound', in which a unit was exchanged."""
    booking = Booking(
        shop.model_id, f"FR-{n}", "No sound", "Scratched", "Harbour office", Coverage.WARRANTY, DataWish.KEEP, True
    )
    number = book_in(session, booking, at=shop.at(), who=TECHNICIAN, event_id=uuid7())
    shop.safe(number)
    shop.plan(number, (target,))
    shop.hand_out(number)
    work = BenchWork(shop, number)
    work.open()
    work.teardown()
    work.refit()
    shop.at(40)
    work.sign()
    work.test("power", accepted=True)
    work.test("leak", reading=Decimal(2), second=2)
    close.close_job(session, number, work.job.version, Settings(), **work.stamp())


def test_units_are_ranked_by_the_table_with_counts_and_ranges_in_words(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = book(technician, front, fault_word=["Does not last a watch"])
    page = technician.open(f"/jobs/{number}/targets")
    rows = [row.get_text(" ", strip=True) for row in page.soup.select(".unit-row")]
    assert rows[0].startswith("Cell pack")
    assert "Likely" in rows[0]
    assert "Named by the fault table; no finished job with this fault yet." in rows[0]
    assert "In about 8 of 10 such jobs (4 to 10 of 10)" in rows[0]
    assert "Not in the fault table" in rows[1]
    assert page.form("/plan").values["targets"] == ["cell"]


def test_a_fault_in_nobodys_words_ranks_nothing(front: Database, visit: Visit) -> None:
    technician = visit("technician")
    number = book(technician, front, fault_word=None, fault="Odd noise")
    page = technician.open(f"/jobs/{number}/targets")
    assert "no unit is likelier than another. Look first." in page.words
    assert "targets" not in page.form("/plan").values


def test_history_outweighs_the_table(db: Database, visit: Visit) -> None:
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
    supervisor = visit("supervisor")
    form = supervisor.open("/procedures/field-recorder/faults").form("/faults")
    page = form.submit(words="No sound", units=["cell"])
    assert "No sound" in page.words
    with db.write() as session:
        shop.session = session
        for n in range(8):
            _closed(session, shop, n, "speaker")
        number = shop.book("FR-99")
    page = visit("technician").open(f"/jobs/{number}/targets")
    rows = [row.get_text(" ", strip=True) for row in page.soup.select(".unit-row")]
    assert rows[0].startswith("Speaker")
    assert "exchanged in 8 of 8 finished jobs with this fault." in rows[0]
    assert "exchanged in 0 of 8 finished jobs with this fault." in rows[1]
    # The steps of the eight jobs are timed, so the plan no longer rests on the standard time alone.
    shop_plan = visit("technician").open(f"/jobs/{number}/plan?targets=speaker")
    assert "steps were timed in 8 finished jobs" in shop_plan.words
    totals = supervisor.open("/review/totals?period=month&first=2026-01-01&last=2026-12-31")
    assert "Expected bench time, and what came of it" in totals.words
    assert "of 8 finished jobs took no longer than their 80 % point" in totals.words
    assert "too few to judge" in totals.words


def test_the_table_is_changed_and_earlier_words_still_count(front: Database, visit: Visit) -> None:
    technician, supervisor = visit("technician"), visit("supervisor")
    number = book(technician, front, fault_word=["Does not last a watch"])
    page = supervisor.open("/procedures/test-sheet/faults").link("Change")
    form = page.form("/faults", _last(page))
    assert form.values["words"] == ["Does not last a watch"]
    changed = form.submit(words="Empty before the watch ends", units=["cell", "camera"], first="camera")
    assert "before: Does not last a watch" in changed.words
    assert "Camera, Cell pack" in changed.words
    assert technician.open(f"/jobs/{number}/targets").form("/plan").values["targets"]
    with front.read() as session:
        word = procedures.faults(session, 1)[0]
    assert (word.units, word.formerly) == (("camera", "cell"), ("Does not last a watch",))


def _last(page: Any) -> int:
    return len([f for f in page.soup.find_all("form") if str(f.get("action")).endswith("/faults")]) - 1


def test_two_faults_with_the_same_words_are_refused_and_one_can_be_taken_out(front: Database, visit: Visit) -> None:
    supervisor = visit("supervisor")
    page = supervisor.open("/procedures/test-sheet/faults")
    assert page.form("/faults").submit(words="glass CRACKED").status == 409
    assert page.form("/faults").submit(words="", submission_id=uuid7()).status == 422
    after = supervisor.open("/procedures/test-sheet/faults").form("/cracked/remove").submit()
    assert "Glass cracked" not in after.words


def test_the_fault_table_is_a_supervisors(front: Database, visit: Visit) -> None:
    assert visit("technician").open("/procedures/test-sheet/faults").status == 403
