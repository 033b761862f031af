"""No part made or lost with alternates: the random workshop, with parts that stand in for others and lots set aside."""

from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule, run_state_machine_as_test
from sqlmodel import Session, col, select

from app.jobs.actions import take_alternate as alternates
from app.jobs.models import KitStandIn
from app.jobs.queries import jobs as queries
from app.jobs.queries.kit import outstanding
from app.platform import clock
from app.platform.db import Database
from app.stores import actions as stores
from app.stores import queries as shelf
from app.stores.models import Lot
from tests.jobs.bench_shop import CLERK, START
from tests.jobs.sheets import PARTS
from tests.jobs.test_alternates import approve
from tests.jobs.test_conservation import Workshop, index, prepared

__all__ = ["prepared"]
PAIRS = (("F-330", "F-340"), ("F-210", "F-211"), ("F-110", "F-230"))
"""Approved both ways. Both of each pair are wanted for their own places too."""


class WithAlternates(Workshop):
    """The workshop, with approved pairs; clerks take alternates, give them up, and set lots aside."""

    def __init__(self) -> None:
        super().__init__()
        with self.db.write() as session:
            for part, other in PAIRS:
                approve(session, part, other, both_ways=True)

    @rule(n=index, which=st.integers(0, 2), turned=st.booleans(), most=st.integers(1, 3))
    @precondition(lambda self: self.jobs)
    def take_an_alternate(self, n: int, which: int, turned: bool, most: int) -> None:
        number = self.job(n)
        wanted, other = PAIRS[which][::-1] if turned else PAIRS[which]
        waits = self.read(lambda s: outstanding(s, queries.find_job(s, number).id))
        quantity = min(most, waits.get(wanted, 1))

        def taking(count: int) -> Callable[[str], Callable[[Session], None]]:
            return lambda e: (
                lambda s: alternates.take_alternate(
                    s, number, wanted, other, count, "Any", at=self.now, who=CLERK, event_id=e, today=self.now.date()
                )
            )

        self.send(taking(quantity), taking(quantity + 1))

    @rule(n=index, which=index)
    @precondition(lambda self: self.jobs)
    def give_an_alternate_up(self, n: int, which: int) -> None:
        number = self.job(n)
        rows = self.read(
            lambda s: s.exec(select(KitStandIn).where(col(KitStandIn.job_id) == queries.find_job(s, number).id)).all()
        )
        if not rows:
            return
        row = rows[which % len(rows)]
        wanted, other = row.part_number, row.alternate
        self.send(
            lambda e: (
                lambda s: alternates.give_up_alternate(
                    s, number, wanted, other, at=self.now, who=CLERK, event_id=e, today=self.now.date()
                )
            )
        )

    @rule(part=st.sampled_from(PARTS), which=index)
    def set_aside_or_release(self, part: str, which: int) -> None:
        """A lot is set aside wherever it is, in kits too; the bench does not fit it until it is released."""

        def act(session: Session) -> None:
            lots = session.exec(select(Lot.id).where(col(Lot.code).contains(part)).order_by(col(Lot.id))).all()
            if not lots:
                return
            lot = lots[which % len(lots)]
            assert lot is not None
            aside = shelf.quarantined(session)
            do = stores.release_lot if lot in aside else stores.quarantine_lot
            do(session, lot, "Any", at=START, who=CLERK)

        self.attempt(act)
        clock.uuid7(self.at())


@pytest.mark.slow
def test_no_part_is_made_or_lost_with_alternates(
    prepared: Callable[[], tuple[Database, Callable[[], None]]], request: pytest.FixtureRequest
) -> None:
    """Short by default; with ``--long`` 200 runs."""
    long = bool(request.config.getoption("--long"))

    class OnThisDatabase(WithAlternates):
        make = staticmethod(prepared)

    run_state_machine_as_test(
        OnThisDatabase,
        settings=settings(
            max_examples=200 if long else 6,
            stateful_step_count=60 if long else 35,
            deadline=None,
            derandomize=not long,
            database=None,
            phases=(Phase.generate, Phase.shrink),
            suppress_health_check=list(HealthCheck),
        ),
    )
