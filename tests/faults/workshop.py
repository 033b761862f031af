"""A small workshop for the rig: stock, the field recorder with its numbered places, technicians, tablets, jobs."""

from dataclasses import dataclass
from datetime import timedelta

from sqlmodel import col, select

from app.jobs.queries.jobs import find_job
from app.people.actions import Attempt, add_person, add_tablet, sign_in
from app.people.models import Role, Tablet
from app.people.secrets import tap_right, token_hash
from app.platform import clock
from app.platform.db import Database
from app.platform.migrations import upgrade
from tests.conftest import CAST
from tests.jobs.bench_shop import SUPERVISOR, BenchShop, set_up
from tests.jobs.sheets import placed_file

PIN = "480217"
CELL = ("cell",)
BOTH = ("cell", "speaker")
AT_ONCE = 25


@dataclass(frozen=True)
class Work:
    """A job with its kit handed out: its steps down and back, in order."""

    number: str
    teardown: tuple[str, ...]
    refit: tuple[str, ...]


@dataclass(frozen=True)
class Bench:
    """One technician on one enrolled tablet, signed in, with the jobs that are theirs.

    ``cookie`` is the sign-in's, ``tablet`` the tablet's, ``right`` what an entry carries.
    """

    name: str
    cookie: str
    tablet: str
    right: str
    jobs: tuple[Work, ...]


def make(db: Database) -> None:
    """Make the tables and the standing cast, for a database that no test fixture made."""
    upgrade(db)
    at = clock.now()
    with db.write() as session:
        for name, role, secret in CAST:
            add_person(session, name, role, secret, at)


def stock(db: Database, quantity: int = 100) -> int:
    """Bring catalogue, stock and the procedure with places in; returns the device model's id."""
    with db.write() as session:
        return set_up(session, quantity=quantity, file=placed_file())


def jobs(db: Database, model_id: int, count: int, targets: tuple[str, ...] = CELL, prefix: str = "FR") -> list[Work]:
    """Bring jobs from the counter to their kit, some in one transaction: a session grows slow with what it holds."""
    found: list[Work] = []
    while len(found) < count:
        with db.write() as session:
            shop = BenchShop(session, model_id)
            for n in range(len(found), min(len(found) + AT_ONCE, count)):
                state = find_job(session, number := shop.kitted(targets, serial=f"{prefix}-{n}")).state
                found.append(Work(number, state.teardown, state.refit))
    return found


def bench(db: Database, name: str, work: tuple[Work, ...]) -> Bench:
    """Hire a technician, enrol a tablet and sign the technician in on it."""
    at = clock.now()
    with db.write() as session:
        person = add_person(session, name, Role.TECHNICIAN, PIN, at)
        tablet = add_tablet(session, f"Tablet of {name}", SUPERVISOR, at)
        tablet_id = session.exec(select(Tablet.id).where(col(Tablet.token_hash) == token_hash(tablet))).one()
        cookie = sign_in(session, Attempt(0, person, ""), at=at, lasts=timedelta(hours=12), tablet_id=tablet_id)
    return Bench(name, cookie, tablet, tap_right(cookie), work)


def benches(db: Database, count: int, jobs_each: int) -> list[Bench]:
    """Stock a workshop and give each of some technicians their jobs."""
    made = jobs(db, stock(db, 10 * count * jobs_each), count * jobs_each)
    return [bench(db, f"Technician {n + 1}", tuple(made[n * jobs_each : (n + 1) * jobs_each])) for n in range(count)]
