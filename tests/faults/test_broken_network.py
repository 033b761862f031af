"""Tablets work whole jobs through a network that loses, doubles, delays and answers for itself."""

import threading
from io import BytesIO
from random import Random

import pytest
from PIL import Image

from tests.faults import workshop
from tests.faults.conftest import Rig
from tests.faults.line import line
from tests.faults.served import check
from tests.faults.tablet import Tablet, work
from tests.faults.workshop import Bench, Work

SEED = 20261125


def a_photo() -> bytes:
    """A small photo."""
    out = BytesIO()
    Image.new("RGB", (64, 48), "navy").save(out, "JPEG")
    return out.getvalue()


class Hands(threading.Thread):
    """Somebody at a tablet: taps, sends, taps on whatever the answer is, and in the end sends what is left."""

    def __init__(self, tablet: Tablet, seed: int, share: float = 0.5) -> None:
        super().__init__(daemon=True)
        self.tablet, self.chance, self.share = tablet, Random(seed), share
        self.problem: BaseException | None = None

    def run(self) -> None:
        """Work all jobs of the bench through."""
        try:
            for job in self.tablet.bench.jobs:
                for _ in work(self.tablet, job, self.chance, a_photo()):
                    if self.tablet.outbox and self.chance.random() < self.share:
                        self.tablet.send()
            self.tablet.flush(chance=self.chance)
        except BaseException as error:
            self.problem = error
        finally:
            self.tablet.hang_up()


def all_work(hands: list[Hands]) -> None:
    """Let them all work at the same time, to the end."""
    for one in hands:
        one.start()
    for one in hands:
        one.join(240)
    assert [str(one.problem) for one in hands if one.problem] == []
    assert [one.tablet.attention for one in hands if one.tablet.attention] == []
    assert [len(one.tablet.outbox) for one in hands] == [0] * len(hands)


@pytest.mark.slow
def test_whole_jobs_through_every_fault_lose_nothing_and_count_nothing_twice(
    rig: Rig, pytestconfig: pytest.Config
) -> None:
    jobs_each = 40 if pytestconfig.getoption("--long") else 1
    benches = workshop.benches(rig.db, 4, jobs_each)
    rig.by_command()
    rig.server.start()
    with line(rig.server.port, SEED) as net:
        hands = [Hands(Tablet(bench, rig.ledger, net.port), SEED + n) for n, bench in enumerate(benches)]
        all_work(hands)
        net.settle()
        assert set(net.met) == net.faults | {"pass"}
    found = rig.agrees()
    check(rig.folder, rig.database_url)
    assert found.tapped == found.acknowledged == found.stored > 40 * jobs_each


def tap_it_through(tablet: Tablet, job: Work) -> None:
    """Tap a whole job within one breath while the tablet's clocks go by as at a bench, what cures waited out."""
    for _ in work(tablet, job, Random(SEED)):
        tablet.ahead_ms += 40 * 60_000


def test_a_backlog_of_a_day_and_two_tablets_on_one_job(rig: Rig) -> None:
    """The backlog is booked with its cures; of what both tablets tapped, each step counts once."""
    model = workshop.stock(rig.db)
    day = workshop.bench(rig.db, "Away all day", tuple(workshop.jobs(rig.db, model, 1, workshop.BOTH, "DAY")))
    shared = workshop.bench(rig.db, "On two tablets", tuple(workshop.jobs(rig.db, model, 1, prefix="TWO")))
    rig.server.start()
    with line(rig.server.port, SEED + 1) as net:
        away = Tablet(day, rig.ledger, net.port)
        tap_it_through(away, day.jobs[0])
        both = [PlainHands(Tablet(shared, rig.ledger, net.port), SEED + n) for n in range(2)]
        all_work([Sender(away, SEED), *both])
        net.settle()
    rig.agrees(alone=False)
    outcomes = list(rig.ledger.answers().values())
    assert outcomes.count("question") == 0
    assert outcomes.count("also") == 9
    assert [len(one.outbox) for one in (away, *(h.tablet for h in both))] == [0, 0, 0]


class Sender(Hands):
    """Only sends what was tapped before."""

    def run(self) -> None:
        """Send all of it."""
        try:
            self.tablet.flush(120, self.chance)
        except BaseException as error:
            self.problem = error
        finally:
            self.tablet.hang_up()


class PlainHands(Hands):
    """Ticks one step after the other and nothing else, so that two of them tap the very same."""

    def run(self) -> None:
        """Work the one job through."""
        tablet, job = self.tablet, self.tablet.bench.jobs[0]
        try:
            tablet.tap(job.number, "open")
            for side, steps in (("down", job.teardown), ("turn", ("",)), ("up", job.refit)):
                for step in steps:
                    kind, at = ("turn", "") if side == "turn" else ("tick", side)
                    tablet.tap(job.number, kind, at, step)
                    tablet.send()
            tablet.flush(chance=self.chance)
        except BaseException as error:
            self.problem = error
        finally:
            tablet.hang_up()


def test_what_no_sign_in_ever_tapped_stays_on_the_tablet(rig: Rig) -> None:
    """A real 401, a real 404 and a real 422 keep the entry, with the server's words; the rest goes on."""
    bench = workshop.benches(rig.db, 1, 1)[0]
    rig.server.start()
    stranger = Tablet(Bench("Nobody", "", bench.tablet, "made up", bench.jobs), rig.ledger, rig.server.port)
    stranger.tap(bench.jobs[0].number, "open")
    assert [stranger.send(), len(stranger.outbox)] == ["signin", 1]
    stranger.hang_up()
    own = Tablet(bench, rig.ledger, rig.server.port)
    for job, kind in (("J999999", "open"), (bench.jobs[0].number, "dance"), (bench.jobs[0].number, "open")):
        own.tap(job, kind)
    own.flush()
    own.hang_up()
    assert [words[:3] for _entry, words in own.attention] == ["404", "422"]
    assert list(rig.ledger.answers().values()) == ["stored"]
