"""A job's way from its kit to its end, by actions, for the tests of the count, the release tests and closing."""

from collections.abc import Collection
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from sqlmodel import Session

from app.jobs.actions import bench, close
from app.jobs.actions.trouble import report
from app.jobs.models import Coverage
from app.jobs.queries import closing as reads
from app.jobs.queries import jobs as queries
from app.jobs.queries.closing import Entry
from app.jobs.queries.jobs import JobDetail
from app.platform.clock import uuid7
from app.platform.db import Database
from app.procedures import queries as procedures
from tests.jobs.bench_shop import SECOND, TECHNICIAN, BenchShop, set_up


@dataclass
class BenchWork:
    """One job at the bench, a minute an action."""

    shop: BenchShop
    number: str
    who: int = TECHNICIAN

    @property
    def session(self) -> Session:
        """The open write session."""
        return self.shop.session

    @property
    def job(self) -> JobDetail:
        """The job as it stands."""
        return queries.find_job(self.session, self.number)

    def stamp(self, who: int | None = None, minutes: float = 1) -> dict[str, Any]:
        """Return time, person and id of the next entry."""
        return {"at": self.shop.at(minutes), "who": who or self.who, "event_id": uuid7()}

    def open(self, who: int | None = None) -> None:
        """Open, resume or take over."""
        bench.open_job(self.session, self.number, **self.stamp(who))

    def pause(self) -> None:
        """Stop the bench time."""
        bench.pause(self.session, self.number, "Break", **self.stamp())

    def teardown(self) -> None:
        """Tick all steps down and turn."""
        for step in self.job.state.teardown:
            bench.tick(self.session, self.number, "down", step, **self.stamp())
        bench.tick(self.session, self.number, "turn", "", **self.stamp())

    def refit(self, but: Collection[str] = ()) -> None:
        """Tick all steps up, waiting out what cures, but not those named and what comes after them."""
        sheet = procedures.sheet(self.session, self.job.revision_id)
        for step in self.job.state.refit:
            if step in but:
                return
            bench.tick(self.session, self.number, "up", step, **self.stamp())
            refit = sheet.step(step).refit
            if refit and (refit.cure_s or refit.press_s):
                self.shop.at((refit.cure_s or refit.press_s) / 60)

    def report(self, kind: str, item: str = "", **more: Any) -> tuple[str, ...]:
        """Report trouble."""
        return report(self.session, self.number, kind, item=item, **more, **self.stamp())

    def sign(self) -> None:
        """Sign the closing count."""
        close.sign_count(self.session, self.number, self.job.version, **self.stamp())

    def test(self, name: str, **more: Any) -> bool:
        """Record a release test."""
        return close.record_test(self.session, self.number, name, **more, **self.stamp())

    def pass_tests(self) -> None:
        """Pass both release tests of the field recorder."""
        self.test("power", accepted=True)
        self.test("leak", reading=Decimal(2), second=SECOND)


def kitted_work(
    session: Session, targets: Collection[str] = ("cell",), coverage: Coverage = Coverage.WARRANTY
) -> BenchWork:
    """Set the small workshop up with one job, its kit handed out, and open it at the bench."""
    shop = BenchShop(session, set_up(session))
    work = BenchWork(shop, shop.kitted(targets, coverage=coverage))
    work.open()
    return work


def job_of(db: Database, number: str) -> JobDetail:
    """Return a job as it stands in the database."""
    with db.read() as session:
        return queries.find_job(session, number)


def entries_of(db: Database, number: str, kind: str) -> tuple[Entry, ...]:
    """Return a job's entries of one kind, in order."""
    with db.read() as session:
        return reads.entries(session, queries.find_job(session, number).id, kinds=(kind,))
