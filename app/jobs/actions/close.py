"""The closing count, overrides, release tests and closing."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlmodel import Session, col, select

from app.jobs.actions.bench import Bench, derived, must_be_mine
from app.jobs.actions.record import known_event, record
from app.jobs.actions.step_times import keep_step_times
from app.jobs.models import Hold, Job, KitLine, Stage
from app.jobs.queries.bench import kit_lots, pocket_numbers, state_of
from app.jobs.queries.closing import Account, account, sealed_account
from app.jobs.queries.old_units import old_units_out
from app.platform.errors import Refused
from app.platform.settings import Settings
from app.platform.submissions import content_hash
from app.rules import bench, counting, release
from app.rules.closing import check_count, check_questions, due_after, still_to_test
from app.rules.counting import ClosingCount
from app.rules.sheet import ReleaseTest
from app.stores import actions as stores

__all__ = [
    "Account", "account", "close_job", "count_of", "due_tests", "override", "record_test", "return_unused",
    "sealed_account", "sign_count", "today",
]  # fmt: skip


def count_of(work: Bench) -> ClosingCount:
    """Return the closing count of the present pass as it stands."""
    numbers = bench.step_numbers(work.sheet, work.state.teardown)
    pockets = pocket_numbers(work.sheet, work.state.teardown)
    return counting.closing_count(work.items, work.state, numbers, pockets)


def sign_count(session: Session, number: str, version: int, *, at: datetime, who: int, event_id: str) -> None:
    """Sign the closing count; Refused with every imbalance in words when it does not balance."""
    digest = content_hash(["count", number])
    work = Bench(session, number)
    if known_event(session, event_id, digest):
        return
    work = Bench(session, number, version)
    work.must_be_at_work()
    must_be_mine(work, who)
    check_count(work.state, at)
    found = count_of(work)
    if not found.balanced:
        raise Refused("The count does not balance. " + " ".join(found.problems))
    data = {"scope": "final", "rows": _summary(found)}
    record(session, work.job, kind="count", at=at, who=who, event_id=event_id, data=data, digest=digest)
    work.job.stage = Stage.COUNTED


def _summary(found: ClosingCount) -> dict[str, list[int]]:
    return {
        row.item.key: [
            row.count.baseline, row.count.absent, row.count.out, row.count.refitted,
            row.count.scrapped, row.count.new, row.count.missing,
        ]
        for row in found.rows
    }  # fmt: skip


def override(
    session: Session,
    number: str,
    scope: str,
    reason: str,
    supervisor: int,
    *,
    at: datetime,
    who: int,
    event_id: str,
) -> None:
    """Let a job go on though its count does not balance: by name and with a reason, kept for ever.

    ``scope`` is ``cover`` (before a cavity closes) or ``final``. ``supervisor`` has just given their passphrase;
    the caller has checked that and the role.
    """
    digest = content_hash(["override", number, scope, reason, supervisor])
    work = Bench(session, number)
    if known_event(session, event_id, digest):
        return
    work.must_be_at_work()
    if len(reason.split()) < 3:
        raise Refused("Give the reason in a few words: what is missing, and why the job may go on.", "reason")
    covers: str | None = None
    if scope == "final":
        check_count(work.state, at)
        problems = count_of(work).problems
    else:
        step = bench.focus(work.sheet, work.state)
        cover = None
        if step and step[0] == "up":
            covers = step[1]
            pockets = pocket_numbers(work.sheet, work.state.teardown)
            cover = bench.count_before_cover(work.sheet, work.items, work.state, step[1], pockets)
        problems = cover.problems if cover else ()
    if not problems:
        raise Refused("The count balances; there is nothing to override.")
    data = {"scope": scope, "reason": reason, "supervisor": supervisor, "problems": list(problems)}
    record(
        session, work.job, kind="override", at=at, who=who, event_id=event_id, step=covers, data=data, digest=digest
    )  # fmt: skip
    work.job.overridden = True
    if scope == "final":
        work.job.stage = Stage.COUNTED


def due_tests(work: Bench) -> tuple[ReleaseTest, ...]:
    """Return the release tests that are due after what all passes of this visit disturbed, failed ones with them."""
    return due_after(work.sheet, work.state)


def record_test(
    session: Session,
    number: str,
    test_id: str,
    *,
    accepted: bool | None = None,
    reading: Decimal | None = None,
    second: int | None = None,
    note: str = "",
    at: datetime,
    who: int,
    event_id: str,
) -> bool:
    """Record a release test; returns whether it passed. A failed one opens the job again for a new plan.

    ``second`` is the second person where the procedure asks for one; it must not be the tester.
    """
    shown = None if reading is None else str(reading)
    digest = content_hash(["test", number, test_id, accepted, shown, second, note])
    work = Bench(session, number)
    known = known_event(session, event_id, digest)
    if known:
        return bool(known.data["passed"])
    work.must_be_at_work()
    if work.job.stage not in (Stage.COUNTED, Stage.TESTED):
        raise Refused("Release tests come after the closing count.")
    test = next((t for t in due_tests(work) if t.id == test_id), None)
    if test is None:
        raise Refused("This test is not due on this job.")
    if test.second_person and (second is None or second == who):
        raise Refused("A second person signs this test, by name and with their own code.", "second_name")
    passed, words = _judge(test, accepted, reading)
    data: dict[str, Any] = {"test": test_id, "passed": passed, "words": words, "reading": shown, "note": note}
    if second is not None:
        data["second"] = second
    if passed and all(t.id == test_id for t in still_to_test(work.sheet, work.state)):
        data["complete"] = True
    record(session, work.job, kind="test", at=at, who=who, event_id=event_id, data=data, digest=digest)
    if not passed:
        again = derived(event_id, "reopened")
        record(session, work.job, kind="reopened", at=at, who=who, event_id=again, data={"test": test_id})
        work.job.stage = Stage.SAFE
        work.job.targets = []
    elif not still_to_test(work.sheet, state_of(work.job)):
        work.job.stage = Stage.TESTED
    return passed


def _judge(test: ReleaseTest, accepted: bool | None, reading: Decimal | None) -> tuple[bool, str]:
    if test.kind == "reading":
        if reading is None:
            raise Refused(f"Enter the reading in {test.unit}.", "reading")
        verdict = release.judge_reading(reading, test.low, test.high, test.unit)
        return verdict.passed, verdict.words
    if accepted is None:
        raise Refused("Say whether the test passed.", "accepted")
    return accepted, "Passed." if accepted else "Failed."


def close_job(
    session: Session, number: str, version: int, settings: Settings, *, at: datetime, who: int, event_id: str
) -> Account:
    """Close a job: unused kit returned to stock, costs and bench time fixed, the record sealed."""
    digest = content_hash(["close", number])
    work = Bench(session, number)
    if known_event(session, event_id, digest):
        return account(session, work.job, settings, at)
    work = Bench(session, number, version)
    _ready_to_close(work)
    job = work.job
    returned = return_unused(session, job, at=at, who=who, entry_id=event_id)
    stores.release(session, f"job:{job.number}", None, entry_id=event_id, at=at, who=who)
    kept = _take_in_old(session, work, settings, at=at, who=who, entry_id=event_id)
    found = account(session, job, settings, at)
    record(
        session,
        job,
        kind="closed",
        at=at,
        who=who,
        event_id=event_id,
        data={
            "returned": returned,
            "account": sealed_account(found),
            **({"old_units": list(kept)} if kept else {}),
        },
        digest=digest,
    )
    job.parts_cost, job.labour_cost = found.parts.total, found.labour
    job.bench_s = found.bench.total_s
    job.stage, job.hold, job.hold_reason = Stage.CLOSED, Hold.NONE, ""
    job.closed_at, job.closed_by, job.seal = at, who, job.chain
    session.add(job)
    session.flush()
    keep_step_times(session, job, settings)
    return found


def _ready_to_close(work: Bench) -> None:
    if work.job.stage is Stage.CLOSED:
        raise Refused("This job is already closed.")
    if work.job.stage not in (Stage.COUNTED, Stage.TESTED):
        raise Refused("A job closes after its closing count and its release tests.")
    check_questions(work.state)
    waiting = [t.title for t in still_to_test(work.sheet, work.state)]
    if waiting:
        raise Refused("Still to test: " + "; ".join(waiting) + ".")
    if work.job.hold in (Hold.SAFETY, Hold.OWNER):
        raise Refused(f"The job is on hold ({work.job.hold.value}): {work.job.hold_reason}")


def return_unused(session: Session, job: Job, *, at: datetime, who: int, entry_id: str) -> list[list[Any]]:
    """Put back what of the kit was not used, lot by lot, at the cost it was issued at."""
    found = []
    for rows in kit_lots(session, job.id).values():
        for row in rows:
            unused = row.issued - row.fitted - row.spoiled - row.returned
            if unused:
                found.append((row.lot_id, unused))
                row.returned += unused
                session.add(row)
                line = session.exec(
                    select(KitLine).where(col(KitLine.job_id) == job.id, col(KitLine.part_number) == row.part_number)
                ).one()
                line.returned += unused
                session.add(line)
    if found:
        stores.take_back(session, f"job:{job.number}", found, entry_id=entry_id, at=at, who=who)
    return [[lot_id, count] for lot_id, count in found]


def _take_in_old(
    session: Session, work: Bench, settings: Settings, *, at: datetime, who: int, entry_id: str
) -> tuple[str, ...]:
    """Hand old units that are repaired or owed over to the stores; returns the numbers they get."""
    out = old_units_out(session, work.job.id or 0, work.sheet)
    came = [stores.CameOut(one.part_number, one.serial, one.defective) for one in out]
    if not came:
        return ()
    source = f"job:{work.job.number}"
    return stores.take_in_units(
        session, source, came, entry_id=entry_id, at=at, who=who, today=today(at, settings)
    )  # fmt: skip


def today(at: datetime, settings: Settings) -> date:
    """Return the workshop's date at an instant."""
    return at.astimezone(settings.zone).date()
