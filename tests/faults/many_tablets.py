"""Many tablets tick each second, on loopback, and how long each tick took.

    python -m tests.faults.many_tablets --tablets 200 --seconds 60

Each tablet has its technician, its connection and its jobs, and taps once a second from a moment of its own on. A
tick's time counts from the moment it was due. As on a bench, nobody taps again before the page has moved on, so a
server that falls behind shows in long times and in fewer ticks a second.
"""

import argparse
import asyncio
import json
import tempfile
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any
from uuid import uuid4

from app.platform import clock
from app.platform.db import Database
from tests.faults import workshop
from tests.faults.kill_cycles import fresh, passing_postgres
from tests.faults.served import Served
from tests.faults.workshop import Bench, Work

TICKS_A_JOB = 9
Say = Callable[[str], None]


@dataclass
class Load:
    """What a run came to: each tick's time in seconds, and what went wrong, in words."""

    seconds: float
    each_s: list[float] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def within_ms(self, share: float) -> float:
        """Return the time within which this share of the ticks was answered, in milliseconds."""
        return 1000 * sorted(self.each_s)[int(share * (len(self.each_s) - 1))] if self.each_s else 0.0

    def line(self) -> str:
        """Return the figures in one line."""
        return (
            f"{len(self.each_s)} ticks in {self.seconds:.0f} s ({len(self.each_s) / self.seconds:.0f}/s): "
            f"p50 {self.within_ms(0.5):.1f} ms, p99 {self.within_ms(0.99):.1f} ms, most {self.within_ms(1):.0f} ms, "
            f"{len(self.errors)} errors"
        )


@dataclass
class Ticker:
    """One tablet of the load: what it taps next, and its connection."""

    bench: Bench
    port: int
    load: Load
    device: str = field(default_factory=lambda: str(uuid4()))
    life: str = field(default_factory=lambda: str(uuid4()))
    seq: int = 0

    async def work(self, first: float, until: float) -> None:
        """Tap once a second from ``first`` on, both times of the loop's clock, until the time or the jobs are over."""
        reader, writer = await asyncio.open_connection("127.0.0.1", self.port)
        due = first
        try:
            for job in self.bench.jobs:
                for kind, side, step in taps_of(job):
                    await asyncio.sleep(due - time.monotonic())
                    if due >= until:
                        return
                    status, body = await self._post(reader, writer, self._entry(job.number, kind, side, step))
                    self.load.each_s.append(time.monotonic() - due)
                    if status != 200 or json.loads(body)["outcome"] != "stored":
                        self.load.errors.append(f"{job.number} {kind} {step}: {status} {body[:200]!r}")
                    # One who is late does not make up for it in a burst.
                    due = max(due + 1, time.monotonic())
        except (OSError, asyncio.IncompleteReadError) as error:
            self.load.errors.append(repr(error))
        finally:
            writer.close()

    def _entry(self, job: str, kind: str, side: str, step: str) -> bytes:
        self.seq += 1
        clocks = {"wall_ms": int(time.time() * 1000), "mono_ms": int(time.perf_counter() * 1000), "life": self.life}
        entry: dict[str, Any] = {
            "id": clock.uuid7(), "device": self.device, "seq": self.seq, "job": job, "kind": kind, "side": side,
            "step": step, "base": 1, "data": {}, **clocks, "sent": clocks, "waiting": 1,
            "waiting_since_ms": clocks["wall_ms"],
        }  # fmt: skip
        return json.dumps(entry).encode()

    async def _post(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, body: bytes) -> tuple[int, bytes]:
        head = (
            f"POST /bench/outbox HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
            f"Content-Length: {len(body)}\r\nX-Countback-Tap: {self.bench.right}\r\nSec-Fetch-Site: same-origin\r\n"
            f"Cookie: countback={self.bench.cookie}; countback-tablet={self.bench.tablet}\r\n\r\n"
        )
        writer.write(head.encode() + body)
        lines = (await reader.readuntil(b"\r\n\r\n")).lower().split(b"\r\n")
        length = next(int(line.split(b":")[1]) for line in lines if line.startswith(b"content-length:"))
        return int(lines[0].split()[1]), await reader.readexactly(length)


def taps_of(job: Work) -> list[tuple[str, str, str]]:
    """Return the taps of a job from its opening to its last step back."""
    down = [("tick", "down", step) for step in job.teardown]
    return [("open", "", ""), *down, ("turn", "", ""), *(("tick", "up", step) for step in job.refit)]


async def drive(benches: Sequence[Bench], port: int, seconds: float, seed: int) -> Load:
    """Let all tablets tick; returns what came of it."""
    load, chance, began = Load(seconds), Random(seed), time.monotonic() + 1
    tickers = [Ticker(bench, port, load) for bench in benches]
    await asyncio.gather(*(one.work(began + chance.random(), began + seconds) for one in tickers))
    return load


def measure(db: Database, server: Served, tablets: int, seconds: float, seed: int, say: Say) -> Load:
    """Prepare a workshop in an empty database with the cast, serve it, and drive the tablets."""
    jobs_each = int(seconds) // TICKS_A_JOB + 1
    say(f"{db.server_version()}: preparing {tablets * jobs_each} jobs for {tablets} tablets")
    benches = workshop.benches(db, tablets, jobs_each)
    server.start()
    try:
        # In a thread of its own: a browser test of the same process leaves its loop running in this one.
        with ThreadPoolExecutor(1) as apart:
            return apart.submit(lambda: asyncio.run(drive(benches, server.port, seconds, seed))).result()
    finally:
        server.stop()


def main() -> None:
    """Read the command line, run, print the figures; exit status 1 when anything went wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults.many_tablets", description=__doc__.split("\n")[0])
    parser.add_argument("--tablets", type=int, default=200)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--database", choices=("sqlite", "postgres"), default="sqlite")
    given = parser.parse_args()

    def run(db: Database, folder: Path) -> None:
        workshop.make(db)
        server = Served(folder, "" if db.is_sqlite else db.url)
        load = measure(db, server, given.tablets, given.seconds, given.seed, print)
        db.dispose()
        print(f"{given.tablets} tablets, {load.line()}")
        for error in load.errors[:10]:
            print(f"  {error}")
        if load.errors:
            raise SystemExit(1)

    with tempfile.TemporaryDirectory(prefix="countback-load-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        if given.database == "sqlite":
            run(Database(f"sqlite:///{folder / 'countback.db'}"), folder)
        else:
            with passing_postgres(folder) as server:
                run(fresh(server, "load"), folder)


if __name__ == "__main__":
    main()
