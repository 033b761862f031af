"""No part made or lost: jobs and stock driven at random through the actions, duplicates and stale writes among them.

After every step the books are closed: what was received is on the shelf, with a job, fitted, spoilt or scrapped;
all projections say what the facts say; a closed job balances or carries an override.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import initialize, invariant, precondition, rule, run_state_machine_as_test
from sqlmodel import Session, col, func, select

from app.jobs.actions import (
    bench,
    book_in,
    choose_targets,
    close,
    extend_plan,
    hold,
    issue_kit,
    make_safe,
    places,
    quote,
    spares,
    trouble,
)
from app.jobs.models import BenchEvent, Coverage, DataWish, Job, KitLot, Stage
from app.jobs.queries import jobs as queries
from app.jobs.queries.bench import REPORT_KINDS, pocket_numbers, state_of
from app.jobs.queries.faults import bench_faults
from app.jobs.queries.kit import to_hand_out
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Conflict, Forbidden, Refused, Stale
from app.platform.settings import Settings
from app.rules import bench as rules
from app.rules.counting import BenchState
from app.rules.sheet import ReuseClass
from app.rules.taps import marks
from app.stores import actions as stores
from app.stores import queries as shelf
from app.stores.models import Lot, LotBalance, Movement, Part, ReservationEntry, StockLevel
from tests.conftest import _admin, _named
from tests.jobs.bench_shop import CLERK, PRICES, SECOND, START, SUPERVISOR, TECHNICIAN, picks_for, set_up
from tests.jobs.sheets import ORIGINALS, PARTS, placed, placed_file
from tests.jobs.tablets_at_random import TabletsAtRandom

SHEET = placed()
PLACES = [(f"{s.id}/{f.id}", n) for s in SHEET.steps for f in s.releases for n in range(1, len(f.places) + 1)]
TARGETS = (("cell",), ("speaker",), ("cell", "speaker"))
PEOPLE = (TECHNICIAN, SECOND)
SPARES = [
    (s.id, f.part) for s in SHEET.steps for f in s.releases if f.reuse is ReuseClass.SINGLE_USE and f.part is not None
]
MISHAPS = ("damage", "absent", "lost", "spoiled", "leftover")
GOING_ON = ("work on", "undo", "take back", "hand over", "finish")
SITE = Settings()
MODEL = 1
OPENING = 4
"""Pieces of every part on the shelf at the start: enough for a job and a half, so that jobs do compete."""

Action = Callable[[Session], Any]
index = st.integers(min_value=0, max_value=7)
person = st.sampled_from(PEOPLE)


class Workshop(TabletsAtRandom):
    """Jobs and stock. ``make`` gives a fresh database with catalogue, stock and procedure, and disposes of it."""

    make: Callable[[], tuple[Database, Callable[[], None]]]

    def __init__(self) -> None:
        super().__init__()
        self.db, self._dispose = type(self).make()
        self.now = START + timedelta(hours=1)
        self.jobs: list[str] = []
        self.sent: list[tuple[Action, Action | None]] = []
        self.came = dict.fromkeys(PARTS, OPENING)
        self.corrected = dict.fromkeys(PARTS, 0)
        self.scrapped = dict.fromkeys(PARTS, 0)

    def teardown(self) -> None:
        """Put the database away."""
        self._dispose()

    # How anything is done -------------------------------------------------------------------------------------

    def at(self, minutes: int = 1) -> datetime:
        """Let time pass."""
        self.now += timedelta(minutes=minutes)
        return self.now

    def read(self, query: Callable[[Session], Any]) -> Any:
        """Read something."""
        with self.db.read() as session:
            found = query(session)
            session.expunge_all()
            return found

    def attempt(self, action: Action) -> tuple[bool, Any]:
        """Do something in one transaction; (False, the refusal) when it is refused."""
        try:
            with self.db.write() as session:
                return True, action(session)
        except (Refused, Stale, Forbidden) as refusal:
            return False, refusal

    def send(self, make: Callable[[str], Action], other: Callable[[str], Action] | None = None) -> bool:
        """Do something under a fresh id, and keep it so that it can come again; ``other`` is other content."""
        event_id = clock.uuid7(self.at())
        done, _outcome = self.attempt(make(event_id))
        # An open of a job that is open already leaves no entry, so there is nothing that could come again.
        if done and self.read(lambda s: s.exec(select(BenchEvent).where(BenchEvent.event_id == event_id)).first()):
            self.sent.append((make(event_id), other(event_id) if other else None))
        return done

    def job(self, n: int) -> str:
        """Return one of the jobs."""
        return self.jobs[n % len(self.jobs)]

    def row(self, number: str) -> Job:
        """Return a job's row."""
        found: Job = self.read(lambda s: s.exec(select(Job).where(Job.number == number)).one())
        return found

    def state(self, number: str) -> BenchState:
        """Return where a job stands at the bench."""
        return state_of(self.row(number))

    @initialize(
        who=person,
        most=st.integers(0, 14),
        kind=st.sampled_from(MISHAPS),
        pick=index,
        then=st.sampled_from(GOING_ON),
    )
    def open_the_day(self, who: int, most: int, kind: str, pick: int, then: str) -> None:
        """Two jobs wait, and at one something goes wrong: a short run is spent on work, not on the way to it."""
        self.take_in(Coverage.WARRANTY, ("cell", "speaker"))
        self.take_in(Coverage.OWNER, ("cell",))
        self.a_mishap_at_work(0, who, most, kind, pick, then)

    # Stores ---------------------------------------------------------------------------------------------------

    @rule(part=st.sampled_from(PARTS), quantity=st.integers(1, 5), lot=st.integers(1, 3))
    def receive(self, part: str, quantity: int, lot: int) -> None:
        cost = Decimal(PRICES[part]) + lot
        expires = (START + timedelta(days=300)).date() if part in ("F-310", "F-320") else None
        done, _ = self.attempt(
            lambda s: stores.receive_loose(
                s, part, f"R{lot}", expires, quantity, cost, None, "more stock",
                entry_id=clock.uuid7(), at=self.at(), who=CLERK,
            )
        )  # fmt: skip
        assert done
        self.came[part] += quantity
        if quantity > 2:
            self.attempt(lambda s: hold.retry_reservations(s, self.at(), CLERK))

    def lot_on_shelf(self, n: int) -> tuple[int, int, int, str] | None:
        """Return one (lot, place, quantity, part number) on the shelf."""
        rows = self.read(
            lambda s: s.exec(
                select(LotBalance.lot_id, LotBalance.location_id, LotBalance.on_hand, Part.number)
                .join(Lot, col(Lot.id) == col(LotBalance.lot_id))
                .join(Part, col(Part.id) == col(Lot.part_id))
                .order_by(col(LotBalance.lot_id))
            ).all()
        )
        return rows[n % len(rows)] if rows else None

    @rule(n=st.integers(0, 30), difference=st.integers(-2, 2))
    def correct_the_book(self, n: int, difference: int) -> None:
        found = self.lot_on_shelf(n)
        if found is None:
            return
        lot, place, _there, part = found
        done, _ = self.attempt(
            lambda s: stores.adjust(
                s, lot, place, difference, "counted again", entry_id=clock.uuid7(), at=self.at(), who=CLERK
            )
        )
        if done:
            self.corrected[part] += difference

    @rule(n=st.integers(0, 30), quantity=st.integers(1, 2))
    def scrap_on_the_shelf(self, n: int, quantity: int) -> None:
        found = self.lot_on_shelf(n)
        if found is None:
            return
        lot, place, _there, part = found
        done, _ = self.attempt(
            lambda s: stores.scrap_stock(
                s, lot, place, quantity, "dropped", entry_id=clock.uuid7(), at=self.at(), who=CLERK
            )
        )
        if done:
            self.scrapped[part] += quantity

    @rule(n=st.integers(0, 1), off=st.lists(st.integers(-1, 1), min_size=12, max_size=12))
    def count_a_place(self, n: int, off: list[int]) -> None:
        def count(session: Session) -> dict[str, int]:
            place = shelf.locations(session)[n].id
            take = stores.open_stocktake(session, place, entry_id=clock.uuid7(), at=self.at(), who=CLERK)
            rows = session.exec(
                select(LotBalance.lot_id, LotBalance.on_hand, Part.number)
                .join(Lot, col(Lot.id) == col(LotBalance.lot_id))
                .join(Part, col(Part.id) == col(Lot.part_id))
                .where(LotBalance.location_id == place, LotBalance.on_hand > 0)
                .order_by(col(LotBalance.lot_id))
            ).all()
            changed: dict[str, int] = {}
            counts = {}
            for k, (lot, there, part) in enumerate(rows):
                counted = max(there + (off[k % len(off)] if k % 4 == 0 else 0), 0)
                counts[lot] = stores.Count(counted, there, "found so")
                changed[part] = changed.get(part, 0) + counted - there
            stores.post_stocktake(session, take, counts, entry_id=clock.uuid7(), at=self.at(), who=CLERK)
            return changed

        done, changed = self.attempt(count)
        assert done, changed
        for part, difference in changed.items():
            self.corrected[part] += difference

    # The front office -----------------------------------------------------------------------------------------

    @rule(coverage=st.sampled_from((Coverage.WARRANTY, Coverage.OWNER)), units=st.sampled_from(TARGETS))
    @precondition(lambda self: len(self.jobs) < 4)
    def take_in(self, coverage: Coverage, units: tuple[str, ...]) -> None:
        serial = f"FR-{len(self.jobs)}"
        wish = book_in.Booking(MODEL, serial, "No sound", "Scratched", "Harbour office", coverage, DataWish.KEEP, True)
        done, number = self.attempt(
            lambda s: book_in.book_in(s, wish, at=self.at(), who=TECHNICIAN, event_id=clock.uuid7())
        )
        assert done
        self.jobs.append(number)
        answers = make_safe.SafetyAnswers("sound", cautions=True, strap=True, mat=True)
        version = self.row(number).version
        self.send(
            lambda e: lambda s: make_safe.make_safe(
                s, number, version, answers, at=self.now, who=TECHNICIAN, event_id=e
            )
        )  # fmt: skip
        self.use_plan(number, units)
        self.agree(number)

    def use_plan(self, number: str, targets: tuple[str, ...]) -> bool:
        """Use a plan; returns whether it was taken."""
        version = self.row(number).version
        return self.send(
            lambda e: lambda s: choose_targets.use_plan(
                s, number, version, targets, at=self.now, who=TECHNICIAN, event_id=e
            )
        )  # fmt: skip

    def agree(self, number: str) -> None:
        """Quote and approve where the owner pays."""
        version = self.row(number).version
        amount = Decimal("99.00")
        self.send(
            lambda e: lambda s: quote.send_quote(
                s, number, version, amount, SITE, at=self.now, who=SUPERVISOR, event_id=e
            )
        )  # fmt: skip
        again = self.row(number).version
        answer = quote.Answer(True, "Owner", "by telephone", self.now.date())
        self.send(
            lambda e: lambda s: quote.answer_quote(
                s, number, again, answer, SITE, at=self.now, who=SUPERVISOR, event_id=e
            )
        )  # fmt: skip

    @rule(n=index, units=st.sampled_from(TARGETS))
    @precondition(lambda self: self.jobs)
    def plan_again(self, n: int, units: tuple[str, ...]) -> None:
        number = self.job(n)
        if self.use_plan(number, units):
            self.agree(number)

    @rule(n=index, units=st.sampled_from(TARGETS), agreed=st.booleans(), most=st.integers(0, 14), who=person)
    @precondition(lambda self: self.jobs)
    def plan_again_in_mid_work(self, n: int, units: tuple[str, ...], agreed: bool, most: int, who: int) -> None:
        """What is done stays done, whatever was done: the invariants hold with the plan that comes on top."""
        number = self.job(n)
        self.hand_out_all(n)
        self.work_on(n, who, most)
        version = self.row(number).version
        if agreed:  # A late addition; otherwise anything, such as a unit left out.
            units = tuple(sorted({*units, *self.state(number).targets}))
        said = extend_plan.Agreement("Owner", "by telephone", Decimal("12.00")) if agreed else None
        fewer = units[:1] if len(units) > 1 else ("cell", "speaker")

        def extended(targets: tuple[str, ...]) -> Callable[[str], Action]:
            return lambda e: (
                lambda s: extend_plan.extend_plan(
                    s, number, version, targets, SITE,
                    at=self.now, who=SUPERVISOR, event_id=e, supervisor=True, agreement=said,
                )
            )  # fmt: skip

        before = self.state(number)
        if self.send(extended(units), extended(fewer)):
            self.hand_out_all(n)
            now = self.state(number)
            again = set(before.down) - set(now.down)
            assert all(
                now.items[key] == count
                for key, count in before.items.items()
                if key in now.items and key.partition("/")[0] not in again
            )

    @rule(place=st.sampled_from(SPARES), percent=st.sampled_from((0, 5, 50, 100)))
    def plan_spares(self, place: tuple[str, str], percent: int) -> None:
        """Spares are planned or withdrawn; the jobs planned later carry them, whatever becomes of those."""
        key = (SHEET.code, *place)
        stamp: dict[str, Any] = {"at": self.at(), "who": SUPERVISOR, "entry_id": clock.uuid7()}
        if percent:
            self.attempt(
                lambda s: spares.decide_spares(s, key, Decimal(percent) / 100, "It folds when laid", "", **stamp)
            )
        else:
            self.attempt(lambda s: spares.withdraw_spares(s, key, "The jig holds it", **stamp))

    @rule(n=index, part=st.sampled_from(PARTS), most=st.integers(1, 9))
    @precondition(lambda self: self.jobs)
    def hand_out_some(self, n: int, part: str, most: int) -> None:
        self.hand_out(self.job(n), {part: most})

    @rule(n=index)
    @precondition(lambda self: self.jobs)
    def hand_out_all(self, n: int) -> None:
        self.hand_out(self.job(n), None)

    def hand_out(self, number: str, only: dict[str, int] | None) -> None:
        """Hand out what the job needs and was promised; all of it, or up to ``only``."""

        def wants(session: Session) -> dict[str, int]:
            waits = to_hand_out(session, queries.find_job(session, number).id)
            promised = shelf.reserved_for(session, f"job:{number}")
            asked = {part: min(count, promised.get(part, 0)) for part, count in waits.items()}
            return asked if only is None else {p: min(n, asked.get(p, 0)) for p, n in only.items()}

        asked = {part: count for part, count in self.read(wants).items() if count}
        if not asked:
            return
        try:
            picks = self.read(lambda s: picks_for(s, number, asked, self.now.date()))
        except Refused:
            return
        fewer = picks[:-1]
        self.send(
            lambda e: lambda s: issue_kit.hand_out_kit(s, number, picks, at=self.now, who=CLERK, event_id=e),
            lambda e: lambda s: issue_kit.hand_out_kit(s, number, fewer, at=self.now, who=CLERK, event_id=e),
        )

    @rule(n=index, kind=st.sampled_from(("safety", "owner's answer")))
    @precondition(lambda self: self.jobs)
    def hold(self, n: int, kind: str) -> None:
        number = self.job(n)
        version = self.row(number).version
        self.send(
            lambda e: (
                lambda s: hold.put_on_hold(
                    s, number, version, kind, "something is wrong", at=self.now, who=TECHNICIAN, event_id=e
                )
            )
        )

    @rule(n=index)
    @precondition(lambda self: self.jobs)
    def end_hold(self, n: int) -> None:
        number = self.job(n)
        version = self.row(number).version
        self.send(
            lambda e: (
                lambda s: hold.end_hold(
                    s, number, version, "looked at and well", at=self.now, who=SUPERVISOR, event_id=e, supervisor=True
                )
            )
        )

    @rule(n=index)
    @precondition(lambda self: len(self.jobs) > 2)
    def return_unrepaired(self, n: int) -> None:
        number = self.job(n)
        version = self.row(number).version
        self.send(
            lambda e: (
                lambda s: quote.return_unrepaired(
                    s, number, version, "not worth the money", SITE, at=self.now, who=SUPERVISOR, event_id=e
                )
            )
        )

    # The bench ------------------------------------------------------------------------------------------------

    @rule(n=index, who=person)
    @precondition(lambda self: self.jobs)
    def open(self, n: int, who: int) -> None:
        number = self.job(n)
        self.send(lambda e: lambda s: bench.open_job(s, number, at=self.now, who=who, event_id=e))

    @rule(n=index, who=person)
    @precondition(lambda self: self.jobs)
    def pause(self, n: int, who: int) -> None:
        number = self.job(n)
        self.send(
            lambda e: lambda s: bench.pause(s, number, "lunch", at=self.now, who=who, event_id=e),
            lambda e: lambda s: bench.pause(s, number, "dinner", at=self.now, who=who, event_id=e),
        )

    def tick(self, number: str, side: str, step: str, who: int) -> bool:
        """Tick a step."""
        return self.send(
            lambda e: lambda s: bench.tick(s, number, side, step, at=self.now, who=who, event_id=e),
            lambda e: lambda s: bench.tick(s, number, side, step, at=self.now, who=who, event_id=e, old_serial="X"),
        )

    @rule(n=index, side=st.sampled_from(("down", "turn", "up", "over")), step=st.sampled_from(SHEET.steps), who=person)
    @precondition(lambda self: self.jobs)
    def tick_anything(self, n: int, side: str, step: Any, who: int) -> None:
        self.tick(self.job(n), side, "" if side == "turn" else step.id, who)

    def tap(self, number: str, item: str, place: int, side: str, on: bool, who: int) -> bool:
        """Count one place, or take it back."""
        return self.send(
            lambda e: lambda s: places.set_place(s, number, item, place, side, on, at=self.now, who=who, event_id=e),
            lambda e: (
                lambda s: places.set_place(s, number, item, place, side, not on, at=self.now, who=who, event_id=e)
            ),
        )

    @rule(
        n=index, which=st.sampled_from(PLACES), side=st.sampled_from(("down", "up", "over")), on=st.booleans(),
        who=person,
    )  # fmt: skip
    @precondition(lambda self: self.jobs)
    def tap_anything(self, n: int, which: tuple[str, int], side: str, on: bool, who: int) -> None:
        self.tap(self.job(n), *which, side, on, who)

    @rule(n=index, who=person, numbers=st.lists(st.integers(1, 4), max_size=6), on=st.sampled_from((True, True, False)))
    @precondition(lambda self: self.jobs)
    def tap_in_the_step_in_hand(self, n: int, who: int, numbers: list[int], on: bool) -> None:
        """Count places of the step that is next, or take some of them back."""
        number = self.job(n)
        self.send(lambda e: lambda s: bench.open_job(s, number, at=self.now, who=who, event_id=e))
        self.recount_rightly(number, who)
        focus = rules.focus(SHEET, self.state(number))
        for item, place in PLACES:
            if focus is not None and item.startswith(f"{focus[1]}/") and place in numbers:
                self.tap(number, item, place, focus[0], on, who)

    @rule(n=index, who=person, most=st.integers(1, 12))
    @precondition(lambda self: self.jobs)
    def work_on(self, n: int, who: int, most: int) -> None:
        number = self.job(n)
        self.send(lambda e: lambda s: bench.open_job(s, number, at=self.now, who=who, event_id=e))
        self.recount_rightly(number, who)
        for _ in range(most):
            state = self.state(number)
            focus = rules.focus(SHEET, state)
            self.at(40)
            if focus is not None:
                if not self.tick(number, *focus, who):
                    return
            elif not state.turned and state.torn_down:
                self.tick(number, "turn", "", who)
            else:
                return

    @rule(n=index, who=person)
    @precondition(lambda self: self.jobs)
    def undo(self, n: int, who: int) -> None:
        number = self.job(n)
        ticks = self.state(number).ticks
        if ticks:
            last = ticks[-1].event_id
            self.send(lambda e: lambda s: bench.undo(s, number, last, at=self.now, who=who, event_id=e))

    @rule(
        n=index,
        kind=st.sampled_from(MISHAPS),
        item=st.integers(0, 30),
        count=st.sampled_from((1, 1, 1, 2, 4)),
        part=st.sampled_from((None, None, *ORIGINALS)),
        who=person,
    )
    @precondition(lambda self: self.jobs)
    def report(self, n: int, kind: str, item: int, count: int, part: str | None, who: int) -> None:
        number = self.job(n)
        keys = list(self.state(number).items) or [""]
        key = keys[item % len(keys)]
        self.send(
            lambda e: (
                lambda s: trouble.report(
                    s, number, kind, item=key, count=count, part=part, at=self.now, who=who, event_id=e
                )
            ),
            lambda e: (
                lambda s: trouble.report(
                    s, number, kind, item=key, count=count + 1, part=part, at=self.now, who=who, event_id=e
                )
            ),
        )

    @rule(n=index, inspection=st.sampled_from(("shield/flat", "back/flush")))
    @precondition(lambda self: self.jobs)
    def reject(self, n: int, inspection: str) -> None:
        number = self.job(n)
        self.send(
            lambda e: (
                lambda s: trouble.report(
                    s, number, "reject", inspection=inspection, at=self.now, who=TECHNICIAN, event_id=e
                )
            )
        )

    @rule(
        n=index,
        who=person,
        most=st.integers(1, 12),
        kind=st.sampled_from(MISHAPS),
        pick=index,
        then=st.sampled_from(GOING_ON),
    )
    @precondition(lambda self: self.jobs)
    def a_mishap_at_work(self, n: int, who: int, most: int, kind: str, pick: int, then: str) -> None:
        """Something goes wrong where it can, and work goes on in one way or another."""
        number = self.job(n)
        self.hand_out_all(n)
        self.work_on(n, who, most)
        counts = self.state(number).items
        may = {
            "damage": [k for k, c in counts.items() if c.waiting > 0],
            "lost": [k for k, c in counts.items() if c.waiting > 0],
            "absent": [k for k, c in counts.items() if c.baseline > c.out + c.absent],
            "spoiled": [k for k, c in counts.items() if c.baseline > c.refitted + c.new],
        }.get(kind, list(counts))
        if not may:
            return
        key = may[pick % len(may)]
        self.report(n, kind, list(counts).index(key), 1, ORIGINALS[pick % len(ORIGINALS)], who)
        other = SECOND if who == TECHNICIAN else TECHNICIAN
        if then == "undo":
            self.undo(n, who)
            self.undo(n, who)
        elif then == "take back":
            self.take_report_back(n, 0, who)
        elif then == "hand over":
            self.open(n, other)
            self.recount(n, pick % 3, other)
        elif then == "finish":
            self.finish(n, who)
        else:
            self.hand_out_all(n)
            self.work_on(n, who, most)

    @rule(n=index, which=index, who=person)
    @precondition(lambda self: self.jobs)
    def take_report_back(self, n: int, which: int, who: int) -> None:
        number = self.job(n)
        ids = self.reports(number)
        if ids:
            chosen = ids[which % len(ids)]
            self.send(lambda e: lambda s: trouble.take_report_back(s, number, chosen, at=self.now, who=who, event_id=e))

    def reports(self, number: str) -> list[str]:
        """Return the ids of a job's reports, newest first, those taken back too."""
        found: list[str] = self.read(
            lambda s: s.exec(
                select(BenchEvent.event_id)
                .join(Job, col(Job.id) == col(BenchEvent.job_id))
                .where(Job.number == number, col(BenchEvent.kind).in_(REPORT_KINDS))
                .order_by(col(BenchEvent.sequence).desc())
            ).all()
        )
        return found

    @rule(n=index, short=st.integers(0, 3), who=person)
    @precondition(lambda self: self.jobs)
    def recount(self, n: int, short: int, who: int) -> None:
        number = self.job(n)
        counted = self.in_tray(number)
        if counted and short < 2:
            first = min(counted)
            counted[first] = (counted[first] or 0) - short
        self.send(lambda e: lambda s: bench.recount(s, number, counted, at=self.now, who=who, event_id=e))

    def in_tray(self, number: str) -> dict[int, int | None]:
        """Return what waits in each tray pocket by the book."""
        state = self.state(number)
        pockets = pocket_numbers(SHEET, state.teardown)
        return {n: state.items[key].waiting for key, n in pockets.items() if state.items[key].waiting > 0}

    def recount_rightly(self, number: str, who: int) -> None:
        """Recount where it is due, with nothing missing."""
        if self.state(number).recount_due:
            counted = self.in_tray(number)
            self.send(lambda e: lambda s: bench.recount(s, number, counted, at=self.now, who=who, event_id=e))

    # The end --------------------------------------------------------------------------------------------------

    @rule(n=index, who=person)
    @precondition(lambda self: self.jobs)
    def sign(self, n: int, who: int) -> None:
        number = self.job(n)
        version = self.row(number).version
        self.at(60)
        self.send(lambda e: lambda s: close.sign_count(s, number, version, at=self.now, who=who, event_id=e))

    @rule(n=index, scope=st.sampled_from(("cover", "final")))
    @precondition(lambda self: self.jobs)
    def override(self, n: int, scope: str) -> None:
        number = self.job(n)
        self.at(60)
        self.send(
            lambda e: (
                lambda s: close.override(
                    s, number, scope, "cannot be found anywhere", SUPERVISOR, at=self.now, who=TECHNICIAN, event_id=e
                )
            )
        )

    @rule(n=index, passes=st.sampled_from((True, True, False)), name=st.sampled_from(("power", "leak")), who=person)
    @precondition(lambda self: self.jobs)
    def test(self, n: int, passes: bool, name: str, who: int) -> None:
        self.record_test(self.job(n), passes, name, who)

    def record_test(self, number: str, passes: bool, name: str, who: int) -> None:
        """Record a release test."""
        second = SECOND if who == TECHNICIAN else TECHNICIAN

        def with_outcome(outcome: bool) -> Callable[[str], Action]:
            more: dict[str, Any] = {"accepted": outcome}
            if name == "leak":
                more = {"reading": Decimal("2.0") if outcome else Decimal("9"), "second": second}
            return lambda e: lambda s: close.record_test(s, number, name, **more, at=self.now, who=who, event_id=e)

        self.send(with_outcome(passes), with_outcome(not passes))

    @rule(n=index, who=person)
    @precondition(lambda self: self.jobs)
    def close(self, n: int, who: int) -> None:
        number = self.job(n)
        version = self.row(number).version
        self.send(lambda e: lambda s: close.close_job(s, number, version, SITE, at=self.now, who=who, event_id=e))

    @rule(n=index, who=person)
    @precondition(lambda self: self.jobs)
    def finish(self, n: int, who: int) -> None:
        """Everything that brings a job to its end when the shelf gives what it needs."""
        self.hand_out_all(n)
        self.work_on(n, who, 30)
        self.override(n, "cover")
        self.work_on(n, who, 12)
        self.sign(n, who)
        self.override(n, "final")
        for name in ("power", "leak"):
            self.record_test(self.job(n), True, name, who)
        self.close(n, who)

    # The wire -------------------------------------------------------------------------------------------------

    @rule(n=st.integers(0, 400))
    @precondition(lambda self: self.sent)
    def the_same_comes_again(self, n: int) -> None:
        again, _other = self.sent[-1 - n % len(self.sent)]
        before = self.fingerprint()
        done, outcome = self.attempt(again)
        assert done, outcome
        assert self.fingerprint() == before

    @rule(n=st.integers(0, 400))
    @precondition(lambda self: self.sent)
    def other_content_under_the_same_id(self, n: int) -> None:
        others = [other for _again, other in self.sent if other is not None]
        if not others:
            return
        before = self.fingerprint()
        with pytest.raises(Conflict), self.db.write() as session:
            others[-1 - n % len(others)](session)
        assert self.fingerprint() == before

    @rule(n=index, behind=st.integers(1, 4))
    @precondition(lambda self: self.jobs)
    def a_stale_page(self, n: int, behind: int) -> None:
        number = self.job(n)
        version = self.row(number).version - behind
        before = self.fingerprint()
        for action in (
            lambda s: close.sign_count(s, number, version, at=self.now, who=TECHNICIAN, event_id=clock.uuid7()),
            lambda s: close.close_job(s, number, version, SITE, at=self.now, who=TECHNICIAN, event_id=clock.uuid7()),
            lambda s: choose_targets.use_plan(
                s, number, version, ("cell",), at=self.now, who=TECHNICIAN, event_id=clock.uuid7()
            ),
        ):
            done, outcome = self.attempt(action)
            assert not done
            assert isinstance(outcome, Stale), outcome
        assert self.fingerprint() == before

    def fingerprint(self) -> Any:
        """Return what must not change when nothing happens."""

        def take(session: Session) -> Any:
            counts = [session.exec(select(func.count()).select_from(t)).one() for t in _FACTS]
            jobs = session.exec(select(Job).order_by(col(Job.id))).all()
            return counts, [(job.number, job.version, job.stage, job.hold, job.chain, job.bench) for job in jobs]

        return self.read(take)

    # What always holds ----------------------------------------------------------------------------------------

    @invariant()
    def no_part_is_made_or_lost(self) -> None:
        def books(session: Session) -> tuple[dict[str, tuple[int, int]], dict[str, tuple[int, int, int]]]:
            levels = session.exec(
                select(Part.number, StockLevel.on_hand, StockLevel.reserved).join(
                    StockLevel, col(StockLevel.part_id) == col(Part.id)
                )
            ).all()
            lots = session.exec(select(KitLot)).all()
            with_jobs: dict[str, tuple[int, int, int]] = {}
            for lot in lots:
                held, fitted, spoiled = with_jobs.get(lot.part_number, (0, 0, 0))
                used = lot.fitted + lot.spoiled
                with_jobs[lot.part_number] = (
                    held + lot.issued - used - lot.returned, fitted + lot.fitted, spoiled + lot.spoiled
                )  # fmt: skip
            return {number: (on_hand, reserved) for number, on_hand, reserved in levels}, with_jobs

        levels, with_jobs = self.read(books)
        for part in PARTS:
            on_hand, reserved = levels[part]
            held, fitted, spoiled = with_jobs.get(part, (0, 0, 0))
            came = self.came[part] + self.corrected[part] - self.scrapped[part]
            assert min(on_hand, reserved, held, fitted, spoiled) >= 0
            assert reserved <= on_hand, f"{part}: more is promised than there is"
            assert came == on_hand + held + fitted + spoiled, f"{part}: a part was made or lost"

    @invariant()
    def facts_and_projections_agree(self) -> None:
        with self.db.read() as session:
            assert shelf.stock_faults(session) == []
            assert bench_faults(session) == []

    @invariant()
    def every_count_is_possible(self) -> None:
        for job in self.read(lambda s: s.exec(select(Job)).all()):
            state = BenchState.from_json(job.bench)
            assert [key for key, count in state.items.items() if count.fault()] == []
            assert state.leftover >= 0
            for key, taps in state.places.items():
                count, borne = state.items[key], marks(state.items[key], taps)
                assert len(taps.out) <= count.out, key
                assert len(taps.back) <= count.refitted + count.new, key
                assert all(borne[n - 1] == "back" for n in taps.back), (key, borne)
                assert all(borne[n - 1] != "open" for n in taps.out), (key, borne)
            assert (job.stage in (Stage.COUNTED, Stage.TESTED, Stage.CLOSED)) <= state.counted, job.stage
            assert job.hold.value == "none" or job.stage not in (Stage.CLOSED, Stage.RETURNED)

    @invariant()
    def a_closed_job_balances_or_carries_an_override(self) -> None:
        for job in self.read(lambda s: s.exec(select(Job).where(Job.stage == Stage.CLOSED)).all()):
            state = BenchState.from_json(job.bench)
            open_ones = {
                key: count
                for key, count in state.items.items()
                if count.out != count.refitted + count.scrapped or count.baseline != count.refitted + count.new
            }
            assert job.overridden or (not open_ones and not state.leftover), (job.number, open_ones)
            if not job.overridden:
                assert set(state.down) == set(state.teardown)
                assert set(state.up) == set(state.refit)


_FACTS = (BenchEvent, Movement, ReservationEntry)


@pytest.fixture
def prepared(database_kind: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[[], Any]]:
    """Return a function that makes a fresh workshop's database and says how to put it away."""
    if database_kind == "sqlite":
        ready = tmp_path / "ready.db"
        shutil.copyfile(request.getfixturevalue("sqlite_template"), ready)
        _fill(Database(f"sqlite:///{ready}"))

        def on_sqlite() -> tuple[Database, Callable[[], None]]:
            path = tmp_path / "run.db"
            shutil.copyfile(ready, path)
            db = Database(f"sqlite:///{path}")

            def away() -> None:
                db.dispose()
                for tail in ("", "-wal", "-shm"):
                    Path(f"{path}{tail}").unlink(missing_ok=True)

            return db, away

        yield on_sqlite
        return
    server = request.getfixturevalue("postgres_server")
    template = f"ready_{os.getpid()}_{clock.uuid7()[-12:]}"
    _admin(server, f"CREATE DATABASE {template} TEMPLATE template_cb")
    _fill(Database(_named(server, template)))

    def on_postgres() -> tuple[Database, Callable[[], None]]:
        name = f"run_{os.getpid()}_{clock.uuid7()[-12:]}"
        _admin(server, f"CREATE DATABASE {name} TEMPLATE {template}")
        db = Database(_named(server, name))

        def away() -> None:
            db.dispose()
            _admin(server, f"DROP DATABASE {name} WITH (FORCE)")

        return db, away

    yield on_postgres
    _admin(server, f"DROP DATABASE {template} WITH (FORCE)")


def _fill(db: Database) -> None:
    with db.write() as session:
        assert set_up(session, OPENING, file=placed_file()) == MODEL
    db.dispose()


@pytest.mark.slow
def test_no_part_is_made_or_lost_whatever_happens(
    prepared: Callable[[], tuple[Database, Callable[[], None]]], request: pytest.FixtureRequest
) -> None:
    """Short by default; with ``--long`` as many runs as COUNTBACK_EXAMPLES says, 400 by default."""
    long = bool(request.config.getoption("--long"))
    examples = int(os.environ.get("COUNTBACK_EXAMPLES", "400")) if long else 12

    class OnThisDatabase(Workshop):
        make = staticmethod(prepared)

    run_state_machine_as_test(
        OnThisDatabase,
        settings=settings(
            max_examples=examples,
            stateful_step_count=60 if long else 25,
            deadline=None,
            derandomize=not long,
            database=None,
            phases=(Phase.generate, Phase.shrink),
            suppress_health_check=list(HealthCheck),
        ),
    )
