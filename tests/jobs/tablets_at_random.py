"""Tablets in the random workshop: entries tapped without a network, delivered late, in any order, twice."""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule
from sqlmodel import select

from app.jobs.actions import outbox, questions
from app.jobs.forms import OutboxEntry
from app.jobs.models import BenchEvent
from app.people.models import Role
from app.people.queries import Tapper
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.rules.tablets import TapStanding
from tests.jobs.bench_shop import SECOND, START, TECHNICIAN
from tests.jobs.sheets import placed

SHEET = placed()
PLACES = [(f"{s.id}/{f.id}", n) for s in SHEET.steps for f in s.releases for n in range(1, len(f.places) + 1)]
PEOPLE = (TECHNICIAN, SECOND)
TABLETS = {who: str(UUID(int=who)) for who in PEOPLE}
OTHERS = ("undo", "pause", "report", "take_back", "recount", "place")
index = st.integers(min_value=0, max_value=7)
person = st.sampled_from(PEOPLE)


def tapper_of(who: int, at: datetime) -> Tapper:
    """Return a person of the cast as the one who tapped, on a tablet that is not enrolled."""
    standing = TapStanding(True, True, False, False, None, at + timedelta(hours=1))
    return Tapper(who, f"Person {who}", Role.TECHNICIAN, 0, None, "", standing, True, "", at, None, 0)


class TabletsAtRandom(RuleBasedStateMachine):
    """What the tablets do; the workshop around them has the jobs, the clock and the database."""

    db: Database
    now: datetime
    jobs: list[str]
    at: Callable[..., datetime]
    job: Callable[[int], str]
    read: Callable[..., Any]
    send: Callable[..., bool]
    state: Callable[[str], Any]
    reports: Callable[[str], list[str]]
    in_tray: Callable[[str], dict[int, int | None]]
    fingerprint: Callable[[], Any]

    def __init__(self) -> None:
        super().__init__()
        self.waiting: list[tuple[int, dict[str, Any]]] = []
        self.delivered: list[tuple[int, dict[str, Any], str]] = []
        self.numbers: dict[str, int] = {}

    def tapped(self, number: str, who: int, kind: str, side: str = "", step: str = "", **data: Any) -> None:
        """Tap something on a person's tablet; it waits there until it is delivered."""
        device = TABLETS[who]
        self.numbers[device] = self.numbers.get(device, 0) + 1
        entry = {
            "id": clock.uuid7(self.now), "device": device, "seq": self.numbers[device], "job": number, "kind": kind,
            "side": side, "step": step, "data": data, **self.clocks(),
        }  # fmt: skip
        self.waiting.append((who, entry))

    def clocks(self) -> dict[str, Any]:
        """Return what every tablet's clocks show now."""
        passed = int((self.now - START) / timedelta(milliseconds=1))
        return {"wall_ms": 1_770_000_000_000 + passed, "mono_ms": passed, "life": str(UUID(int=7))}

    @rule(n=index, who=person, side=st.sampled_from(("down", "up")), step=st.sampled_from(SHEET.steps))
    @precondition(lambda self: self.jobs)
    def tap_anything(self, n: int, who: int, side: str, step: Any) -> None:
        self.at()
        self.tapped(self.job(n), who, "tick", side, step.id)

    @rule(n=index, who=person, most=st.integers(1, 9))
    @precondition(lambda self: self.jobs)
    def tap_on(self, n: int, who: int, most: int) -> None:
        """Work on without a network, as the sheet has it."""
        number = self.job(n)
        state = self.state(number)
        ahead = [("tick", "down", s) for s in state.teardown if s not in state.down]
        ahead += [] if state.turned else [("turn", "", "")]
        ahead += [("tick", "up", s) for s in state.refit if s not in state.up]
        self.tapped(number, who, "open")
        for kind, side, step in ahead[:most]:
            self.at(40)
            self.tapped(number, who, kind, side, step)

    @rule(n=index, who=person, what=st.sampled_from(OTHERS), k=index, side=st.sampled_from(("down", "up")))
    @precondition(lambda self: self.jobs)
    def tap_something_else(self, n: int, who: int, what: str, k: int, side: str) -> None:
        number = self.job(n)
        self.at()
        if what in ("undo", "take_back"):
            ids = [e["id"] for _who, e in self.waiting if e["job"] == number] + self.reports(number)
            ids += [tick.event_id for tick in self.state(number).ticks[-1:]]
            if ids:
                self.tapped(number, who, what, undoes=ids[-1 - k % len(ids)])
        elif what == "report":
            keys = list(self.state(number).items) or [""]
            self.tapped(number, who, what, report=("damage", "lost", "leftover")[k % 3], item=keys[k % len(keys)])
        elif what == "recount":
            self.tapped(number, who, what, counted=self.in_tray(number))
        elif what == "place":
            item, place = PLACES[k % len(PLACES)]
            self.tapped(number, who, what, side, item=item, place=place, on=bool(k % 3))
        else:
            self.tapped(number, who, what, reason="dinner")

    @rule(which=st.integers(0, 40), most=st.integers(1, 12), twice=st.booleans())
    @precondition(lambda self: self.waiting)
    def deliver(self, which: int, most: int, twice: bool) -> None:
        """Deliver some of what waits, from anywhere in it, and some of it again: one row an entry, and none lost."""
        self.at()
        start = which % len(self.waiting) if which > 20 else 0
        chosen = self.waiting[start : start + most]
        del self.waiting[start : start + most]
        for who, entry in chosen:
            first = self.take(who, entry)
            self.delivered.append((who, entry, first))
            if twice:
                self.comes_again(who, entry, first)

    @rule(n=st.integers(0, 400))
    @precondition(lambda self: self.delivered)
    def what_was_delivered_comes_again(self, n: int) -> None:
        self.at()
        self.comes_again(*self.delivered[-1 - n % len(self.delivered)])

    def comes_again(self, who: int, entry: dict[str, Any], first: str) -> None:
        """Deliver an entry once more: the first outcome, and nothing changes."""
        before = self.fingerprint()
        assert self.take(who, entry) == first
        assert self.fingerprint() == before

    def take(self, who: int, sent: dict[str, Any]) -> str:
        """Take an entry as the route does; returns its outcome."""
        entry = OutboxEntry.model_validate({**sent, "sent": self.clocks()})
        tapper = tapper_of(who, self.now)
        try:
            with self.db.write() as session:
                answer = outbox.book(session, entry, tapper, self.now)
        except Refused as refusal:
            with self.db.write() as session:
                answer = outbox.keep(session, entry, tapper, self.now, refusal.reason)
        rows = self.read(lambda s: s.exec(select(BenchEvent.kind).where(BenchEvent.event_id == sent["id"])).all())
        assert len(rows) == 1
        assert (rows[0] if rows[0] in ("also", "question") else "stored") == answer.outcome
        return answer.outcome

    @rule(n=index, k=index, aside=st.booleans(), who=person)
    @precondition(lambda self: self.jobs)
    def settle_a_question(self, n: int, k: int, aside: bool, who: int) -> None:
        number = self.job(n)
        asked = self.state(number).questions
        if not asked:
            return
        chosen = asked[k % len(asked)]

        def settle(event_id: str) -> Callable[[Any], Any]:
            stamp: dict[str, Any] = {"at": self.now, "who": who, "event_id": event_id}
            if aside:
                return lambda s: questions.set_aside(s, number, chosen, "looked at", **stamp)
            return lambda s: questions.book_question(s, number, chosen, **stamp)

        self.send(settle)
