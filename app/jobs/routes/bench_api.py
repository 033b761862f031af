"""JSON API of the bench: a job's record, its count, its release tests, and closing.

Each write carries an id made by the caller (UUIDv7) and calls the action that the page calls: the same again
gives the first outcome, the same id with other content is a conflict.
"""

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from sqlmodel import Session

from app.jobs.actions import bench, close
from app.jobs.actions.places import set_place
from app.jobs.actions.sign import second_signs, supervisor_signs
from app.jobs.actions.trouble import report, take_report_back
from app.jobs.pages.closing import CountPage, count_page
from app.jobs.queries import closing as reads
from app.jobs.queries import jobs as queries
from app.jobs.queries.closing import Entry
from app.jobs.routes.bench_bodies import (
    AccountBody,
    CountBody,
    CountRowBody,
    EventItem,
    EventList,
    NewEvent,
    NewOverride,
    NewTestResult,
    PartCostBody,
    Scope,
    Signature,
    Standing,
    TestResult,
)
from app.people import queries as people
from app.people.access import ApiBench, ApiSupervisor
from app.platform import clock
from app.platform.errors import Refused
from app.platform.forms import blank
from app.platform.submissions import valid_id
from app.platform.web import Db, SiteSettings, client_address
from app.procedures import queries as procedures
from app.rules.closing import still_to_test
from app.stores.queries import known_numbers

router = APIRouter(prefix="/api/v1/jobs/{number}", tags=["bench"])


@router.get("/events")
def list_events(
    db: Db,
    _caller: ApiBench,
    number: str,
    after: Annotated[str, Query(max_length=12)] = "",
    limit: Annotated[int, Query(ge=1, le=200)] = 50,
) -> EventList:
    """Return a job's record in order, from behind the sequence ``after`` on."""
    last = int(after) if after.isascii() and after.isdigit() else 0
    with db.read() as session:
        job = queries.find_job(session, number)
        names = people.names(session)
        found = reads.entries(session, job.id, after=last, limit=limit + 1)
    items = [_item(entry, names) for entry in found[:limit]]
    return EventList(items=items, next=str(items[-1].sequence) if len(found) > limit else None)


def _item(entry: Entry, names: dict[int, str]) -> EventItem:
    return EventItem(
        id=entry.event_id,
        sequence=entry.sequence,
        kind=entry.kind,
        pass_no=entry.pass_no,
        step=entry.step,
        person=names.get(entry.person_id or 0, ""),
        at=entry.at,
        data=dict(entry.data),
        undoes=entry.undoes,
    )


@router.post("/events")
def add_event(db: Db, caller: ApiBench, number: str, body: NewEvent) -> Standing:
    """Store one entry of bench work."""
    event_id, at, who = valid_id(body.id), clock.now(), caller.person_id
    with db.write() as session:
        said = _WRITES[body.kind](session, number, body, {"at": at, "who": who, "event_id": event_id})
    with db.read() as session:
        return Standing(**_standing(session, number, event_id, said))


def _standing(session: Session, number: str, event_id: str, said: tuple[str, ...] = ()) -> dict[str, Any]:
    job = queries.find_job(session, number)
    entry = reads.find_entry(session, job.id, event_id)
    return {
        "number": number,
        "stage": job.stage,
        "version": job.version,
        "pass_no": job.state.pass_no,
        "down": list(job.state.down),
        "up": list(job.state.up),
        "turned": job.state.turned,
        "event": _item(entry, people.names(session)) if entry else None,
        "said": list(said),
    }


Stamp = dict[str, Any]
Write = Callable[[Session, str, NewEvent, Stamp], tuple[str, ...]]


def _open(session: Session, number: str, _body: NewEvent, stamp: Stamp) -> tuple[str, ...]:
    bench.open_job(session, number, **stamp)
    return ()


def _pause(session: Session, number: str, body: NewEvent, stamp: Stamp) -> tuple[str, ...]:
    if not body.reason:
        raise Refused("Say why the job is paused.", "reason")
    bench.pause(session, number, body.reason, **stamp)
    return ()


def _tick(session: Session, number: str, body: NewEvent, stamp: Stamp) -> tuple[str, ...]:
    scanned = [(s.part, s.lot) for s in body.scanned]
    bench.tick(session, number, body.side, body.step, old_serial=body.old_serial, scanned=scanned, **stamp)
    return ()


def _turn(session: Session, number: str, _body: NewEvent, stamp: Stamp) -> tuple[str, ...]:
    bench.tick(session, number, "turn", "", **stamp)
    return ()


def _undo(session: Session, number: str, body: NewEvent, stamp: Stamp) -> tuple[str, ...]:
    bench.undo(session, number, body.undoes, **stamp)
    return ()


def _report(session: Session, number: str, body: NewEvent, stamp: Stamp) -> tuple[str, ...]:
    if body.report is None:
        raise Refused("Say what happened: damage, absent, lost, spoiled, leftover or reject.", "report")
    if body.part and body.part not in known_numbers(session):
        raise Refused(f"{body.part} is not in the catalogue. Look the number up under Parts.", "part")
    return report(
        session,
        number,
        body.report,
        item=body.item,
        count=body.count,
        part=body.part or None,
        inspection=body.inspection,
        note=body.note,
        **stamp,
    )


def _take_back(session: Session, number: str, body: NewEvent, stamp: Stamp) -> tuple[str, ...]:
    take_report_back(session, number, body.undoes, **stamp)
    return ()


def _recount(session: Session, number: str, body: NewEvent, stamp: Stamp) -> tuple[str, ...]:
    return bench.recount(session, number, dict(body.counted), **stamp)


def _place(session: Session, number: str, body: NewEvent, stamp: Stamp) -> tuple[str, ...]:
    set_place(session, number, body.item, body.place, body.side, body.on, **stamp)
    return ()


_WRITES: dict[str, Write] = {
    "open": _open, "pause": _pause, "tick": _tick, "turn": _turn, "undo": _undo, "report": _report,
    "take_back": _take_back, "recount": _recount, "place": _place,
}  # fmt: skip


@router.get("/count")
def get_count(db: Db, caller: ApiBench, number: str, scope: Scope = "final") -> CountBody:
    """Return the count as it stands: at the end, or before the cover in focus."""
    with db.read() as session:
        shown = count_page(session, number, blank(), who=caller.person_id, at=clock.now(), scope=scope)
    return _count_body(shown, scope)


def _count_body(shown: CountPage, scope: Scope) -> CountBody:
    own = {"item", "step"}
    names = [name for name in CountRowBody.model_fields if name not in own]
    rows = [
        CountRowBody(item=line.key, step=line.step_id, **{name: getattr(line, name) for name in names})
        for line in shown.lines
    ]
    return CountBody(
        scope=scope,
        balanced=shown.balanced,
        ready=shown.ready,
        not_yet=shown.not_yet,
        signed=shown.signed,
        problems=[problem.words for problem in shown.problems],
        rows=rows,
        version=shown.job.version,
    )


@router.post("/count")
def sign_count(db: Db, caller: ApiBench, number: str, body: Signature) -> Standing:
    """Sign the closing count."""
    event_id = valid_id(body.id)
    with db.write() as session:
        close.sign_count(session, number, body.version, at=clock.now(), who=caller.person_id, event_id=event_id)
    with db.read() as session:
        return Standing(**_standing(session, number, event_id))


@router.post("/override")
def override_count(request: Request, db: Db, caller: ApiSupervisor, number: str, body: NewOverride) -> Standing:
    """Let a job go on though its count does not balance: a supervisor's name, passphrase and reason."""
    event_id, at = valid_id(body.id), clock.now()
    with db.write() as session:
        signed = supervisor_signs(session, body.name, body.secret, at=at, address=client_address(request))
        close.override(
            session, number, body.scope, body.reason, signed.id, at=at, who=caller.person_id, event_id=event_id
        )
    with db.read() as session:
        return Standing(**_standing(session, number, event_id))


@router.post("/tests")
def record_test(request: Request, db: Db, caller: ApiBench, number: str, body: NewTestResult) -> TestResult:
    """Record a release test; a failed one opens the job again for a new plan."""
    event_id, at, who = valid_id(body.id), clock.now(), caller.person_id
    with db.write() as session:
        second = None
        if body.second_name or body.second_secret:
            second = second_signs(
                session, body.second_name, body.second_secret, tester=who, at=at, address=client_address(request)
            ).id
        passed = close.record_test(
            session,
            number,
            body.test,
            accepted=body.accepted,
            reading=body.reading,
            second=second,
            note=body.note,
            at=at,
            who=who,
            event_id=event_id,
        )
    with db.read() as session:
        job = queries.find_job(session, number)
        waiting = [t.id for t in still_to_test(procedures.sheet(session, job.revision_id), job.state)]
        return TestResult(**_standing(session, number, event_id), passed=passed, waiting=waiting)


@router.post("/close")
def close_job(db: Db, settings: SiteSettings, caller: ApiBench, number: str, body: Signature) -> AccountBody:
    """Close a job: unused kit back to its shelf, cost and bench time fixed, the record sealed."""
    event_id = valid_id(body.id)
    with db.write() as session:
        close.close_job(
            session, number, body.version, settings, at=clock.now(), who=caller.person_id, event_id=event_id
        )
    with db.read() as session:
        job = queries.find_job(session, number)
        found = reads.account(session, job, settings, job.closed_at or clock.now())
        standing = _standing(session, number, event_id)
    return AccountBody(
        **standing,
        parts=[
            PartCostBody(part_number=line.part, planned=line.planned, quantity=line.quantity, cost=line.cost)
            for line in found.parts.lines
        ],
        parts_planned=found.parts.planned,
        parts_beyond=found.parts.beyond_plan,
        labour=found.labour,
        total=found.total,
        bench_s=found.bench.total_s,
        currency=settings.currency,
    )
