"""How fast is a tick? Measured beside a bare one-row durable INSERT through the same stack, in turn, in one run.

Both are posted over HTTP to a server in a process of its own. The tick is what a tablet sends from its outbox, with
everything that belongs to it: the right of who tapped, its clocks, its number and gaps, the contact noted. The bare
INSERT is a form with sign-in, origin and token checks; its route exists only here. Rates belong to a machine; the
ratio does not, so it is the ratio that is printed last.
"""

import http.client
import json
import multiprocessing
import socket
import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from http.cookies import SimpleCookie
from pathlib import Path
from random import Random
from urllib.parse import urlencode
from uuid import uuid4

from fastapi import APIRouter, FastAPI
from fastapi.responses import Response
from sqlalchemy import text
from sqlmodel import Session

from app.demo import bench, visits
from app.demo.seed import sow, stage
from app.demo.visits import Arrival
from app.demo.workshop import Technician, Workshop
from app.jobs.actions import bench as work
from app.jobs.models import Coverage
from app.people.access import COOKIE, TABLET_COOKIE, Bench, Posted, csrf_token
from app.people.actions import add_person, add_tablet
from app.people.models import Role
from app.people.secrets import tap_right
from app.platform import clock
from app.platform.db import Database, make_database
from app.platform.logging import set_up_logging
from app.platform.migrations import upgrade
from app.platform.settings import Settings
from app.platform.submissions import valid_id
from app.platform.web import TAP_HEADER, Db, see_other
from app.stores import actions as stores

MODEL, UNIT = "skarv-h2", "cell"
PIN = "480217"
WALL_MS = 1_790_000_000_000
"""What the tablets' clocks show at the start; any time will do, as only differences count."""
TABLE = "CREATE TABLE measured (id VARCHAR(36) PRIMARY KEY, who INTEGER, at VARCHAR(40), note VARCHAR(64))"
Say = Callable[[str], None]
# A job's number and its ticks, as (side, step), in order.
Jobs = tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
INSERT = text("INSERT INTO measured (id, who, at, note) VALUES (:id, :who, :at, :note)")
router = APIRouter(include_in_schema=False)


@router.post("/measure/insert")
def insert_one(db: Db, caller: Bench, raw: Posted) -> Response:
    """Store one row durably and answer as a tick does: what any write through this stack costs at least."""
    key, at = valid_id(raw.get("submission_id")), clock.now()
    row = {"id": key, "who": caller.person_id, "at": at.isoformat(), "note": raw.get("step")}
    with db.write() as session:
        session.connection().execute(INSERT, row)
    return see_other("/")


@dataclass(frozen=True)
class Lane:
    """One connection: a signed-in technician, their tablet, and their jobs, each with its entries in order."""

    cookie: str
    token: str
    tablet: str
    jobs: Jobs


@dataclass(frozen=True)
class Measured:
    """One run: how many were answered, in how long, and how long each took, in seconds."""

    count: int
    seconds: float
    each_s: tuple[float, ...]

    @property
    def rate(self) -> float:
        """Answers a second."""
        return self.count / self.seconds

    @property
    def p99_ms(self) -> float:
        """The time within which 99 of 100 were answered, in milliseconds."""
        return 1000 * sorted(self.each_s)[int(0.99 * (len(self.each_s) - 1))]


def measure(database_url: str, connections: int, jobs_each: int, rounds: int, say: Say) -> float:
    """Prepare a workshop, run both kinds in turn, print the figures; returns tick rate over insert rate.

    ``database_url`` is an empty PostgreSQL database, or empty for a SQLite file in a passing folder.
    """
    with tempfile.TemporaryDirectory(prefix="countback-bench-") as folder:
        settings = Settings(data_dir=Path(folder), database_url=database_url)
        db = make_database(settings)
        say(f"{db.server_version()}: preparing {connections * jobs_each * rounds} jobs")
        upgrade(db)
        prepared = _prepare(db, settings, connections, jobs_each, rounds)
        tablets = _enrol(db, connections)
        db.dispose()
        with _serving(settings) as address:
            lanes = [[_sign_in(address, n, tablets[n], jobs) for n, jobs in enumerate(one)] for one in prepared]
            return _run(address, lanes, say)


def _run(address: tuple[str, int], rounds: Sequence[Sequence[Lane]], say: Say) -> float:
    ticks: list[Measured] = []
    inserts: list[Measured] = []
    for lanes in rounds:
        for name, found, requests in (("insert", inserts, _inserts), ("tick", ticks, _ticks)):
            one = _all_lanes(address, lanes, requests)
            found.append(one)
            say(f"  {name:<6} {one.rate:7.0f}/s   p99 {one.p99_ms:6.1f} ms   ({one.count} in {one.seconds:.1f} s)")
    ratio = statistics.median(t.rate for t in ticks) / statistics.median(i.rate for i in inserts)
    say(f"  a tick runs at {ratio:.2f} of the rate of a bare one-row durable insert (medians)")
    return ratio


@dataclass(frozen=True)
class Sent:
    """One request as it goes over the wire. ``counted`` is false for what only prepares, such as opening a job."""

    path: str
    body: str
    headers: Mapping[str, str]
    status: int
    counted: bool


def _ticks(lane: Lane) -> Iterator[Sent]:
    """Send a tablet's entries one after the other, as they are tapped."""
    number, life, began = 0, str(uuid4()), time.perf_counter()
    cookies = f"{COOKIE}={lane.cookie}; {TABLET_COOKIE}={lane.tablet}"
    headers = {"Content-Type": "application/json", "Cookie": cookies, "Sec-Fetch-Site": "same-origin"}
    headers[TAP_HEADER] = tap_right(lane.cookie)
    device = str(uuid4())
    for job, entries in lane.jobs:
        for kind, side, step in (("open", "", ""), *(_kind(side, step) for side, step in entries)):
            number += 1
            mono = round(1000 * (time.perf_counter() - began))
            clocks = {"wall_ms": WALL_MS + mono, "mono_ms": mono, "life": life}
            entry = {
                "id": clock.uuid7(), "device": device, "seq": number, "job": job, "kind": kind, "side": side,
                "step": step, "base": 1, "data": {}, **clocks, "sent": clocks, "waiting": 1,
                "waiting_since_ms": clocks["wall_ms"],
            }  # fmt: skip
            yield Sent("/bench/outbox", json.dumps(entry), headers, 200, kind != "open")


def _kind(side: str, step: str) -> tuple[str, str, str]:
    return ("turn", "", "") if side == "turn" else ("tick", side, step)


def _inserts(lane: Lane) -> Iterator[Sent]:
    headers = {
        "Content-Type": "application/x-www-form-urlencoded",
        "Cookie": f"{COOKIE}={lane.cookie}; {TABLET_COOKIE}={lane.tablet}",
        "Sec-Fetch-Site": "same-origin",
    }
    for _number, entries in lane.jobs:
        for side, step in entries:
            fields = {"side": side, "step": step, "submission_id": clock.uuid7(), "csrf_token": lane.token}
            yield Sent("/measure/insert", urlencode(fields), headers, 303, counted=True)


Requests = Callable[[Lane], Iterator[Sent]]


def _all_lanes(address: tuple[str, int], lanes: Sequence[Lane], requests: Requests) -> Measured:
    """Run all connections at once. Opening a job is no tick, but its time counts against the ticks' rate."""
    times: list[float] = []
    problems: list[str] = []
    start = threading.Barrier(len(lanes) + 1)

    def drive(lane: Lane) -> None:
        connection = http.client.HTTPConnection(*address, timeout=60)
        connection.connect()
        connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        mine = []
        start.wait()
        for sent in requests(lane):
            began = time.perf_counter()
            status, words = _post(connection, sent)
            if sent.counted:
                mine.append(time.perf_counter() - began)
            if status != sent.status or b'"outcome":"question"' in words:
                problems.append(f"{sent.path}: {status} {words[:200]!r}")
        connection.close()
        times.extend(mine)

    threads = [threading.Thread(target=drive, args=(lane,)) for lane in lanes]
    for thread in threads:
        thread.start()
    start.wait()
    began = time.perf_counter()
    for thread in threads:
        thread.join()
    seconds = time.perf_counter() - began
    if problems:
        raise RuntimeError(f"{len(problems)} requests were not stored, such as {problems[0]}")
    return Measured(len(times), seconds, tuple(times))


def _post(connection: http.client.HTTPConnection, sent: Sent) -> tuple[int, bytes]:
    connection.request("POST", sent.path, sent.body, dict(sent.headers))
    answer = connection.getresponse()
    return answer.status, answer.read()


def _prepare(db: Database, settings: Settings, connections: int, jobs_each: int, rounds: int) -> list[list[Jobs]]:
    """Make a technician for each connection, and bring their jobs of each round as far as their kit."""
    at = clock.now() - timedelta(hours=1)
    with db.write() as session:
        sow(session, at)
        shop = stage(session, settings, Random(1))  # noqa: S311  Chance of a story, not of a secret.
        shop.staff = replace(shop.staff, technicians=tuple(_hire(session, n, at) for n in range(connections)))
        _stock_up(shop, at, connections * jobs_each * rounds)
        session.connection().execute(text(TABLE))
    found = []
    for _ in range(rounds):
        with db.write() as session:
            shop.session = session
            people = shop.staff.technicians
            found.append([tuple(_kitted(shop, person, at) for _ in range(jobs_each)) for person in people])
    return found


def _hire(session: Session, n: int, at: datetime) -> Technician:
    name = f"Measure {n}"
    return Technician(add_person(session, name, Role.TECHNICIAN, PIN, at), name, 1.0)


def _arrival(shop: Workshop) -> Arrival:
    model = next(m for m in shop.models if m.info.code == MODEL)
    fault = next(f for f in model.faults if f.unit == UNIT)
    return Arrival(model, model.fleet[0], fault, (UNIT,), Coverage.INTERNAL, visits.OWNERS[0])


def _stock_up(shop: Workshop, at: datetime, jobs: int) -> None:
    """Put more on the shelf than all the jobs can use."""
    for part in shop.parts.values():
        expires = shop.today(at) + timedelta(days=300) if part.shelf_life_days else None
        stores.receive_loose(
            shop.session, part.number, "MEASURE", expires, 12 * jobs, part.price, None, "For the measurement",
            entry_id=shop.id(at), at=at, who=shop.staff.clerk,
        )  # fmt: skip


def _kitted(shop: Workshop, person: Technician, at: datetime) -> tuple[str, tuple[tuple[str, str], ...]]:
    """Bring a job as far as its kit; returns its number and its ticks in order."""
    arrival = _arrival(shop)
    number = visits.book(shop, arrival, at)
    visits.secure(shop, number, at, person.id)
    visits.plan(shop, number, arrival.targets, at, person.id)
    bench.hand_out(shop, number, at)
    state = work.Bench(shop.session, number).state
    down = tuple(("down", step) for step in state.teardown)
    return number, (*down, ("turn", ""), *(("up", step) for step in state.refit))


def _enrol(db: Database, connections: int) -> list[str]:
    """Enrol a tablet for each connection, as PINs are taken on enrolled tablets alone; returns their cookies."""
    at = clock.now()
    with db.write() as session:
        lead = add_person(session, "Measure lead", Role.SUPERVISOR, None, at)
        return [add_tablet(session, f"Measure {n}", lead, at) for n in range(connections)]


def _sign_in(address: tuple[str, int], n: int, tablet: str, jobs: Jobs) -> Lane:
    """Sign a technician in as a browser does, and return the lane of their jobs."""
    connection = http.client.HTTPConnection(*address, timeout=60)
    body = urlencode({"name": f"Measure {n}", "secret": PIN})
    headers = {
        "Content-Type": "application/x-www-form-urlencoded",
        "Sec-Fetch-Site": "same-origin",
        "Cookie": f"{TABLET_COOKIE}={tablet}",
    }
    connection.request("POST", "/sign-in", body, headers)
    answer = connection.getresponse()
    answer.read()
    found = SimpleCookie()
    for given in answer.headers.get_all("set-cookie") or ():
        found.load(given)
    connection.close()
    if COOKIE not in found:
        raise RuntimeError(f"the sign-in was answered with {answer.status}")
    cookie = found[COOKIE].value
    return Lane(cookie, csrf_token(cookie), tablet, jobs)


def _build(settings: Settings) -> FastAPI:
    from app.main import build_app  # noqa: PLC0415  Only the server's process needs it.

    app = build_app(settings)
    app.include_router(router)
    return app


def _serve(settings: Settings, taken: socket.socket) -> None:
    import uvicorn  # noqa: PLC0415  Only the server's process needs it.

    set_up_logging("error")
    config = uvicorn.Config(_build(settings), log_config=None, access_log=False, ws="none", proxy_headers=False)
    uvicorn.Server(config).run(sockets=[taken])


@contextmanager
def _serving(settings: Settings) -> Iterator[tuple[str, int]]:
    """Serve in a process of its own, so that the measuring client takes nothing from it."""
    taken = socket.create_server(("127.0.0.1", 0), backlog=512)
    host, port = taken.getsockname()
    process = multiprocessing.get_context("spawn").Process(target=_serve, args=(settings, taken), daemon=True)
    process.start()
    try:
        deadline = time.perf_counter() + 60
        while not _answers(host, port):
            if not process.is_alive() or time.perf_counter() > deadline:
                raise RuntimeError("the server to measure did not start")
            time.sleep(0.1)
        yield host, port
    finally:
        process.terminate()
        process.join(15)
        taken.close()


def _answers(host: str, port: int) -> bool:
    connection = http.client.HTTPConnection(host, port, timeout=5)
    try:
        connection.request("GET", "/healthz")
        return connection.getresponse().status == 200
    except OSError:
        return False
    finally:
        connection.close()
