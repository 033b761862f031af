"""Jobs told of a newer revision, and moved to it only by a supervisor's decision before work hangs on the old one."""

import json
from collections.abc import Callable

from app.jobs.queries import jobs as queries
from app.platform.db import Database
from app.procedures import actions as procedures
from app.procedures import queries as procedure_queries
from app.procedures.actions import SheetFile
from app.stores import queries as stock
from tests.jobs.front import AT, front_sheet, hand_out, planned_job
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def publish_second(db: Database, without: str = "") -> None:
    """Publish revision 2, in which the plug is undone after a shield; without a unit where one is named."""
    sheet = {**front_sheet(), "revision": 2}
    steps = [dict(s) for s in sheet["steps"] if s.get("frees") != without or not without]
    plug = next(s for s in steps if s["id"] == "plug")
    steps.insert(1, {"id": "cover", "title": "Fold the cover back", "do": "Fold it.", "after": ["lid"], "time_s": 20})
    plug["after"] = ["cover"]
    sheet["steps"] = steps
    sheet["units"] = [u for u in sheet["units"] if u["id"] != without]
    with db.write() as session:
        file = SheetFile("deckphone.yaml", json.dumps(sheet))
        procedures.import_sheets(session, [file], stock.known_numbers(session), AT, None)


def revision_of(db: Database, number: str) -> tuple[int, tuple[str, ...]]:
    """The job's revision and its planned teardown."""
    with db.read() as session:
        job = queries.find_job(session, number)
        return procedure_queries.revision_info(session, job.revision_id).number, tuple(job.state.teardown)


def test_a_job_stays_on_its_revision_until_a_supervisor_moves_it(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    publish_second(front)
    seen = visit("technician").open(f"/jobs/{number}")
    assert "Revision 2 of this procedure is published; this job stays on 1." in seen.words
    assert seen.soup.find("form", action=f"/jobs/{number}/revision") is None
    assert "Step “Fold the cover back” added" not in seen.words
    assert "Fold the cover back" in seen.link("See what changed").words
    assert revision_of(front, number) == (1, ("lid", "plug", "lift-cell"))

    moved = visit("supervisor").open(f"/jobs/{number}").form("/revision").submit()
    assert moved.status == 200
    assert revision_of(front, number) == (2, ("lid", "cover", "plug", "lift-cell"))
    assert "is published; this job stays" not in moved.words
    assert "Moved from revision 1 of the procedure to revision 2" in moved.words


def test_a_job_with_its_kit_handed_out_is_not_moved(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell", coverage="warranty")
    publish_second(front)
    boss = visit("supervisor")
    late = boss.open(f"/jobs/{number}").form("/revision")
    assert hand_out(visit("stores"), number, {"DK-CELL": "S-1"}).status == 200
    assert boss.open(f"/jobs/{number}").soup.find("form", action=f"/jobs/{number}/revision") is None
    fresh = boss.open(f"/jobs/{number}")
    version = queries_version(front, number)
    refused = late.submit(version=version)
    assert refused.status == 409
    assert "Its kit is handed out, so this job stays on revision 1" in refused.words
    assert "this job stays on 1" in fresh.words
    assert revision_of(front, number)[0] == 1


def queries_version(db: Database, number: str) -> int:
    """The job's version."""
    with db.read() as session:
        return queries.find_job(session, number).version


def test_a_revision_that_reaches_the_unit_no_more_is_refused(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    publish_second(front, without="cell")
    refused = visit("supervisor").open(f"/jobs/{number}").form("/revision").submit()
    assert refused.status == 409
    assert "Revision 2 does not reach what this job exchanges" in refused.words
    assert revision_of(front, number)[0] == 1
