"""The rig itself: what is lost, doubled or counted wrongly in a database is seen, whoever did it."""

import shutil
from collections.abc import Callable
from typing import Any

from sqlalchemy import text
from sqlmodel import col, select

from app.jobs.models import BenchEvent, Job
from app.platform.db import Database
from tests.faults import workshop
from tests.faults.agreement import compare, project_faults
from tests.faults.conftest import Rig
from tests.faults.tablet import Tablet


def a_row_goes(session: Any) -> None:
    """The last tick is gone, as if it had never been committed."""
    last = session.exec(select(BenchEvent).order_by(col(BenchEvent.id).desc())).first()
    session.connection().execute(text("DELETE FROM bench_event WHERE id = :id"), {"id": last.id})


def a_step_counts_twice(session: Any) -> None:
    """The projection has a step twice."""
    job = session.exec(select(Job).where(Job.number == last_job(session))).one()
    job.bench = {**job.bench, "down": [*job.bench["down"], job.bench["down"][-1]]}


def a_screw_counts_twice(session: Any) -> None:
    """The projection has more out than came out."""
    job = session.exec(select(Job).where(Job.number == last_job(session))).one()
    items = {key: list(counts) for key, counts in job.bench["items"].items()}
    items["back/screws"][2] += 1
    job.bench = {**job.bench, "items": items}


def last_job(session: Any) -> str:
    """Return the number of the newest job."""
    return str(session.exec(select(Job.number).order_by(col(Job.id).desc())).first())


HARMS: tuple[tuple[Callable[[Any], None], str], ...] = (
    (a_row_goes, "lost"),
    (a_step_counts_twice, "doubled"),
    (a_screw_counts_twice, "doubled"),
)


def test_harm_done_to_the_database_is_seen(sqlite_rig: Rig) -> None:
    rig = sqlite_rig
    tablet = ticked(rig)
    assert compare(rig.db, rig.ledger, settled=True).sound
    rig.db.dispose()
    for harm, where in HARMS:
        copy = rig.folder / f"{harm.__name__}.db"
        shutil.copyfile(rig.folder / "countback.db", copy)
        db = Database(f"sqlite:///{copy}")
        with db.write() as session:
            harm(session)
        assert getattr(compare(db, rig.ledger, settled=True), where) != []
        assert project_faults(db) != []
        db.dispose()
    # An answer for what is nowhere.
    rig.ledger.answered(tablet.tap(tablet.bench.jobs[0].number, "tick", "down", "plug")["id"], "stored")
    assert len(compare(rig.db, rig.ledger, settled=False).lost) == 1


def ticked(rig: Rig) -> Tablet:
    """Tick two steps of a job over HTTP."""
    bench = workshop.benches(rig.db, 1, 1)[0]
    rig.server.start()
    tablet = Tablet(bench, rig.ledger, rig.server.port)
    tablet.tap(bench.jobs[0].number, "open")
    for step in bench.jobs[0].teardown[:2]:
        tablet.tap(bench.jobs[0].number, "tick", "down", step)
    tablet.flush()
    tablet.hang_up()
    rig.server.stop()
    return tablet
