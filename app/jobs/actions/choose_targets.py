"""Use a plan: the steps to the targets, the counts they begin with, and the kit reserved for them."""

from collections.abc import Collection, Mapping
from datetime import date, datetime

from sqlmodel import Session

from app.jobs.actions.hold import put_down, reserve_missing, show_shortage
from app.jobs.actions.record import known_event, load_job, record
from app.jobs.actions.take_alternate import give_up_planned, stood_in
from app.jobs.models import Hold, Job, KitLine, Stage
from app.jobs.queries.bench import state_of
from app.jobs.queries.kit import kit_lines, outstanding, planned_of_passes, source_ref, spares_of_passes, standing_of
from app.jobs.queries.past import expected_time
from app.jobs.queries.spares import spares_for
from app.platform.submissions import content_hash
from app.procedures import queries as procedures
from app.rules import job_flow
from app.rules.counting import BenchState, items_of, next_pass
from app.rules.planning import Plan, make_plan
from app.rules.sheet import Sheet
from app.stores import actions as stores


def use_plan(
    session: Session,
    number: str,
    version: int,
    targets: Collection[str],
    *,
    at: datetime,
    who: int,
    event_id: str,
    today: date | None = None,
) -> Mapping[str, int]:
    """Plan a job for these units and reserve its kit; returns what is short, by part number.

    A plan before anything came out replaces the one before it: its kit is released and reserved anew. After a
    failed release test a plan begins the next pass, and its kit comes on top. Raises Refused or Stale.
    """
    digest = content_hash(["plan", number, sorted(targets)])
    job = load_job(session, number)
    if known_event(session, event_id, digest):
        return {}
    job = load_job(session, number, version)
    before = standing_of(job, state_of(job), {})
    job_flow.check_plan(before)
    plan = make_plan(procedures.sheet(session, job.revision_id), targets)
    agreed = set(job.targets) == set(plan.targets) and job.stage in (Stage.APPROVED, Stage.KITTED)
    return put_plan(session, job, plan, agreed, at=at, who=who, event_id=event_id, today=today, digest=digest)


def put_plan(
    session: Session,
    job: Job,
    plan: Plan,
    agreed: bool,
    *,
    at: datetime,
    who: int,
    event_id: str,
    today: date | None = None,
    digest: str | None = None,
) -> Mapping[str, int]:
    """Put a plan on a locked job whose flow lets it; ``agreed`` when the owner's approval covers it."""
    state = state_of(job)
    sheet = procedures.sheet(session, job.revision_id)
    put_down(session, job, "a new plan", at=at, who=who, event_id=event_id)
    data = _planned(sheet, plan, state) | spares_for(session, job.revision_id, plan.kit)
    record(session, job, kind="planned", at=at, who=who, event_id=event_id, data=data, digest=digest)
    job.targets = list(plan.targets)
    if state_of(job).pass_no == 1:
        # What a forecast is judged by later is what was expected before anything was opened.
        time = expected_time(session, job.revision_id, plan)
        job.median_s, job.p80_s = time.median_s, time.p80_s
    give_up_planned(
        session, job, planned_of_passes(session, job.id or 0), at=at, who=who, event_id=event_id
    )  # fmt: skip
    write_kit(session, job)
    if job.hold is Hold.OWNER and job.stage is Stage.QUOTED:
        job.hold, job.hold_reason = Hold.NONE, ""  # The quote that was out is for another plan.
    short = reserve_anew(session, job, at=at, who=who, entry_id=event_id, today=today)
    standing = standing_of(job, state_of(job), outstanding(session, job.id or 0))
    job.stage = Stage(job_flow.stage_after_plan(standing, agreed=agreed))
    show_shortage(session, job, short, at=at, who=who, event_id=event_id)
    session.add(job)
    session.flush()
    return short


def _planned(sheet: Sheet, plan: Plan, state: BenchState) -> dict[str, object]:
    items = items_of(sheet, plan.teardown, plan.targets)
    return {
        "pass_no": next_pass(state),
        "targets": list(plan.targets),
        "teardown": list(plan.teardown),
        "refit": list(plan.refit),
        "baseline": {key: item.baseline for key, item in items.items()},
        "kit": {line.part: line.count for line in plan.kit},
    }


def write_kit(session: Session, job: Job) -> None:
    """Write what all passes planned, and their spares, into the kit lines; what was added on the way stays."""
    planned = stood_in(session, job.id or 0, planned_of_passes(session, job.id or 0))
    spares = spares_of_passes(session, job.id or 0)
    lines = kit_lines(session, job.id)
    for part in sorted({*planned, *lines}):
        line = lines.get(part) or KitLine(job_id=job.id or 0, part_number=part)
        line.planned, line.spare = planned.get(part, 0), spares.get(part, 0)
        session.add(line)
    session.flush()


def reserve_anew(
    session: Session, job: Job, *, at: datetime, who: int, entry_id: str, today: date | None
) -> dict[str, int]:
    """Release what a locked job is promised and reserve what it needs now; returns what is short, by part number."""
    stores.lock(session, list(kit_lines(session, job.id)))
    stores.release(session, source_ref(job.number), None, entry_id=entry_id, at=at, who=who)
    return reserve_missing(session, job, at=at, who=who, entry_id=entry_id, today=today)
