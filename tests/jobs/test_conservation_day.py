"""One day with everything in it, step by step, and the books closed after every step.

The random workshop of ``test_conservation`` draws what happens, so a short run may leave some of it out. Here every
operation takes place for certain: receive, reserve, hand out, tick, discard, damage, loss, undo, refit, return,
override, close, stocktake; and at the end all that was sent comes once more, as it was and with other content.
"""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from sqlmodel import col, func, select

from app.jobs.models import BenchEvent, Coverage, Discard, Job, KitLot, Stage
from app.platform.db import Database
from app.stores import queries as shelf
from app.stores.models import Movement
from tests.jobs.bench_shop import SECOND, TECHNICIAN
from tests.jobs.sheets import PARTS
from tests.jobs.test_conservation import OPENING, Workshop, prepared

__all__ = ["prepared"]

Make = Callable[[], tuple[Database, Callable[[], None]]]


class Day(Workshop):
    """The workshop, played by hand."""

    def books(self) -> None:
        """Check all that always holds."""
        self.no_part_is_made_or_lost()
        self.facts_and_projections_agree()
        self.every_count_is_possible()
        self.a_closed_job_balances_or_carries_an_override()

    def counts(self, n: int, item: str) -> Any:
        """Return the counts of an item of a job."""
        return self.state(self.job(n)).items[item]

    def report_on(self, n: int, kind: str, item: str, part: str | None = None, who: int = TECHNICIAN) -> None:
        """Report trouble with one piece of an item, for certain."""
        before = len(self.reports(self.job(n)))
        self.report(n, kind, list(self.state(self.job(n)).items).index(item), 1, part, who)
        assert len(self.reports(self.job(n))) == before + 1, kind
        self.books()

    def on_shelf(self, part: str) -> tuple[int, int]:
        """Return what of a part is on the shelf, and what of that is promised."""
        found = self.read(lambda s: shelf.shelf(s, [part], self.now.date()))[part]
        return found.on_hand, found.reserved

    def stage(self, n: int) -> Stage:
        """Return the stage of a job."""
        return self.row(self.job(n)).stage


@pytest.fixture
def day(prepared: Make) -> Iterator[Day]:
    """A workshop with four of every part on the shelf."""

    class OnThisDatabase(Day):
        make = staticmethod(prepared)

    found = OnThisDatabase()
    yield found
    found.teardown()


def take_apart_and_lose(day: Day) -> None:
    """A job with every kind of mishap, two technicians, and a screw that is never found."""
    day.take_in(Coverage.WARRANTY, ("cell", "speaker"))
    assert day.on_shelf("F-310") == (OPENING + 3, 1)
    day.hand_out_some(0, "F-310", 1)
    assert day.on_shelf("F-310") == (OPENING + 2, 0)
    day.hand_out_all(0)
    day.books()
    assert day.stage(0) is Stage.KITTED
    day.work_on(0, TECHNICIAN, 2)
    assert (day.counts(0, "back/seal").planned, day.counts(0, "back/screws").waiting) == (1, 4)
    day.undo(0, TECHNICIAN)
    day.books()
    assert (day.counts(0, "back/seal").planned, day.counts(0, "back/screws").waiting) == (0, 0)
    day.report_on(0, "absent", "back/screws")
    day.work_on(0, TECHNICIAN, 1)
    assert day.counts(0, "back/screws").out == 3
    day.report_on(0, "damage", "back/screws")
    day.report_on(0, "damage", "back/screws")
    day.hand_out_all(0)
    day.take_report_back(0, 0, TECHNICIAN)  # Its screw was handed out, and goes in for the one that is lost.
    day.books()
    day.report_on(0, "leftover", "back/screws")
    day.take_report_back(0, 0, TECHNICIAN)
    day.books()
    day.open(0, SECOND)
    assert day.state(day.job(0)).recount_due
    day.recount(0, 0, SECOND)
    day.work_on(0, SECOND, 30)
    day.hand_out_all(0)
    assert day.state(day.job(0)).turned
    day.books()


def finish_without_the_screw(day: Day) -> None:
    """New parts spoil in fitting, a screw is lost, and a supervisor lets the job go."""
    assert day.counts(0, "back/seal").new == 1
    for _ in range(2):
        day.undo(0, SECOND)
    day.books()
    assert day.counts(0, "back/seal").new == 0
    day.report_on(0, "spoiled", "back/seal", who=SECOND)
    day.hand_out_all(0)
    day.report_on(0, "lost", "back/screws", who=SECOND)
    day.hand_out_all(0)
    assert day.stage(0) is Stage.REFIT
    day.finish(0, SECOND)
    day.books()
    job = day.row(day.job(0))
    assert (job.stage, job.overridden) == (Stage.CLOSED, True)
    lots = day.read(lambda s: s.exec(select(KitLot).where(KitLot.job_id == job.id)).all())
    assert sum(lot.spoiled for lot in lots) == 1
    assert sum(lot.fitted for lot in lots if lot.part_number == "F-210") == 3
    assert sum(lot.returned for lot in lots) == 0


def other_jobs_of_the_day(day: Day) -> None:
    """One job with a report that was a mistake, and one that goes home as it came."""
    day.receive("F-330", 2, 2)
    day.receive("F-320", 4, 2)
    day.receive("F-210", 1, 2)
    day.take_in(Coverage.OWNER, ("cell",))
    day.hand_out_all(1)
    day.work_on(1, TECHNICIAN, 2)
    day.report_on(1, "damage", "back/screws")
    before = day.on_shelf("F-210")[0]
    day.hand_out_all(1)
    assert day.on_shelf("F-210")[0] == before - 1
    day.take_report_back(1, 0, TECHNICIAN)
    day.finish(1, TECHNICIAN)
    assert day.on_shelf("F-210")[0] == before  # Not used, so it is back at closing.
    day.books()
    job = day.row(day.job(1))
    assert (job.stage, job.overridden) == (Stage.CLOSED, False)
    day.take_in(Coverage.OWNER, ("cell",))
    there, promised = day.on_shelf("F-100")
    day.hand_out_all(2)
    assert day.on_shelf("F-100") == (there - 1, promised - 1)
    day.return_unrepaired(2)
    assert day.stage(2) is Stage.RETURNED
    assert day.on_shelf("F-100") == (there, promised - 1)
    day.books()


def in_the_stores(day: Day) -> None:
    """A place is counted, a piece is dropped, the book is corrected."""
    for n in (0, 1):
        day.count_a_place(n, [-1, 1, 0, 1] * 3)
        day.books()
    day.scrap_on_the_shelf(0, 1)
    day.correct_the_book(3, -1)
    day.correct_the_book(4, 2)
    day.books()
    assert sum(day.scrapped.values()) == 1
    assert any(day.corrected.values())


def test_a_day_with_every_operation_in_it_keeps_the_books(day: Day) -> None:
    day.receive("F-310", 3, 1)
    day.books()
    take_apart_and_lose(day)
    finish_without_the_screw(day)
    other_jobs_of_the_day(day)
    in_the_stores(day)
    for n in range(len(day.jobs)):
        day.a_stale_page(n, 1)
    for n in range(len(day.sent)):
        day.the_same_comes_again(n)
    for n in range(sum(1 for _again, other in day.sent if other is not None)):
        day.other_content_under_the_same_id(n)
    day.books()

    def seen(column: Any) -> dict[str, int]:
        rows = day.read(lambda s: s.exec(select(column, func.count()).group_by(column)).all())
        return {getattr(kind, "value", kind): n for kind, n in rows}

    assert set(seen(col(Movement.kind))) == {"receipt", "issue", "return", "scrap", "count adjustment"}
    assert set(seen(col(BenchEvent.kind))) >= {
        "booked", "safe", "planned", "quoted", "approved", "kit issued", "opened", "tick", "turned", "undo", "damage",
        "absent", "lost", "spoiled", "leftover", "takeover", "recount", "count", "override", "test", "closed",
        "returned",
    }  # fmt: skip
    assert set(seen(col(Discard.reason))) >= {"planned", "damaged", "spoiled"}
    assert set(PARTS) >= {lot.part_number for lot in day.read(lambda s: s.exec(select(KitLot)).all())}
    stages = [job.stage for job in day.read(lambda s: s.exec(select(Job).order_by(col(Job.id))).all())]
    assert stages == [Stage.CLOSED, Stage.CLOSED, Stage.RETURNED]
