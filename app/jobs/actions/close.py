"""The closing count, overrides, release tests and closing."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from sqlmodel import Session, col, select

from app.jobs.actions.bench import Bench, cure_left, derived, must_be_mine
from app.jobs.actions.record import known_event, record
from app.jobs.models import BenchEvent, Hold, Job, KitLine, KitLot, Stage
from app.jobs.queries.bench import as_event, kit_lots, pocket_numbers, state_of
from app.platform.errors import Refused
from app.platform.settings import Settings
from app.platform.submissions import content_hash
from app.rules import bench, counting, release
from app.rules.bench_marks import job_intervals
from app.rules.bench_time import Intervals
from app.rules.costing import PartsCost, PartUse, job_parts_cost, labour_cost
from app.rules.counting import ClosingCount
from app.rules.sheet import ReleaseTest
from app.stores import actions as stores


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
    _ready_for_count(work, at)
    found = count_of(work)
    if not found.balanced:
        raise Refused("The count does not balance. " + " ".join(found.problems))
    data = {"scope": "final", "rows": _summary(found)}
    record(session, work.job, kind="count", at=at, who=who, event_id=event_id, data=data, digest=digest)
    work.job.stage = Stage.COUNTED


def _ready_for_count(work: Bench, at: datetime) -> None:
    if work.state.counted:
        raise Refused("The closing count is already signed.")
    if not work.state.refitted:
        left = len(work.state.refit) - len(work.state.up) if work.state.turned else len(work.state.refit)
        raise Refused(f"{left} refit steps are still to do before the closing count.")
    left_s = cure_left(work.state, at)
    if left_s > timedelta(0):
        raise Refused(f"A cure or press still runs for {int(left_s.total_seconds()) + 1} s. Count when it is done.")


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
        _ready_for_count(work, at)
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
    state = work.state
    due = release.tests_due(work.sheet, {*state.down, *state.disturbed}, {*state.targets, *state.exchanged})
    wanted = {test.id for test in due} | set(state.failed)
    return tuple(test for test in work.sheet.release_tests if test.id in wanted)


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
    record(session, work.job, kind="test", at=at, who=who, event_id=event_id, data=data, digest=digest)
    if not passed:
        again = derived(event_id, "reopened")
        record(session, work.job, kind="reopened", at=at, who=who, event_id=again, data={"test": test_id})
        work.job.stage = Stage.SAFE
        work.job.targets = []
    elif all(state_of(work.job).tests.get(t.id) for t in due_tests(work)):
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


@dataclass(frozen=True)
class Account:
    """What a job cost: parts at lot cost with what went beyond the plan apart, bench time and labour."""

    parts: PartsCost
    bench: Intervals
    labour: Decimal
    total: Decimal


def bench_intervals(events: Iterable[BenchEvent], settings: Settings, until: datetime) -> Intervals:
    """Return the bench time of a job from its events, by the conventions of ``rules.bench_time``."""
    entries = (as_event(event) for event in events)
    return job_intervals(entries, time.fromisoformat(settings.shift_end), settings.zone, until)


def account(session: Session, job: Job, settings: Settings, until: datetime) -> Account:
    """Return what a job cost so far: only parts that were fitted or spoilt, not what waits in the kit."""
    events = session.exec(
        select(BenchEvent).where(col(BenchEvent.job_id) == job.id).order_by(col(BenchEvent.sequence))
    ).all()
    intervals = bench_intervals(events, settings, until)
    lines = session.exec(select(KitLine).where(col(KitLine.job_id) == job.id)).all()
    planned = {line.part_number: line.planned for line in lines}
    rows = [row for found in kit_lots(session, job.id).values() for row in found]
    parts = job_parts_cost(part_uses(rows, planned), settings.currency)
    labour = labour_cost(intervals.total_s, settings.labour_rate, settings.currency)
    return Account(parts, intervals, labour, parts.total + labour)


def part_uses(rows: Iterable[KitLot], planned: Mapping[str, int]) -> list[PartUse]:
    """Split what was used of each lot into planned use, up to the plan's quantity, and use beyond the plan."""
    left = dict(planned)
    uses = []
    for row in rows:
        used = row.fitted + row.spoiled
        as_planned = min(used, left.get(row.part_number, 0))
        left[row.part_number] = left.get(row.part_number, 0) - as_planned
        if as_planned:
            uses.append(PartUse(row.part_number, as_planned, row.unit_cost, True))
        if used > as_planned:
            uses.append(PartUse(row.part_number, used - as_planned, row.unit_cost, False))
    return uses


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
    record(
        session,
        job,
        kind="closed",
        at=at,
        who=who,
        event_id=event_id,
        data={"returned": returned},
        digest=digest,
    )
    found = account(session, job, settings, at)
    job.parts_cost, job.labour_cost = found.parts.total, found.labour
    job.bench_s = found.bench.total_s
    job.stage, job.hold, job.hold_reason = Stage.CLOSED, Hold.NONE, ""
    job.closed_at, job.closed_by, job.seal = at, who, job.chain
    session.add(job)
    session.flush()
    return found


def _ready_to_close(work: Bench) -> None:
    if work.job.stage is Stage.CLOSED:
        raise Refused("This job is already closed.")
    if work.job.stage not in (Stage.COUNTED, Stage.TESTED):
        raise Refused("A job closes after its closing count and its release tests.")
    waiting = [t.title for t in due_tests(work) if not work.state.tests.get(t.id)]
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


def today(at: datetime, settings: Settings) -> date:
    """Return the workshop's date at an instant."""
    return at.astimezone(settings.zone).date()
