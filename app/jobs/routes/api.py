"""JSON API: jobs, their plan and their kit. Each write calls the action that the page calls.

Bench events, the count and closing stand in ``bench_api``.
"""

from collections.abc import Callable
from datetime import date, datetime
from decimal import Decimal
from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field
from sqlmodel import Session

from app.jobs.actions.book_in import Booking, book_in
from app.jobs.actions.choose_targets import use_plan
from app.jobs.actions.close import today
from app.jobs.actions.issue_kit import hand_out_kit
from app.jobs.actions.promising import promise_with
from app.jobs.actions.record import load_job
from app.jobs.forms import OtherDevice
from app.jobs.models import Coverage, DataWish, Hold, Stage
from app.jobs.pages import planning
from app.jobs.queries import jobs as queries
from app.jobs.queries import kit as kit_queries
from app.jobs.queries.jobs import JobDetail, JobFilter, JobRow
from app.jobs.queries.outlook import Outlook
from app.people.access import ApiBench, ApiEverybody, ApiStores, Caller
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import AlreadyDone, Refused
from app.platform.submissions import SubmissionId, claim, settle
from app.platform.web import Db, SiteSettings
from app.procedures import queries as procedures
from app.rules.plan_reasons import reasons
from app.rules.planning import make_plan
from app.rules.promise import Slippage
from app.stores import queries as stores
from app.stores.actions import Pick

router = APIRouter(prefix="/api/v1", tags=["jobs"])
Text = Annotated[str, Field(min_length=1, max_length=500)]


class JobItem(BaseModel):
    """A job in the list."""

    number: str
    device_model: str
    serial: str
    fault: str
    owner_ref: str
    stage: Stage
    hold: Hold
    hold_reason: str
    booked_at: datetime
    promised_on: date | None
    expected_on: date | None = Field(None, description="The day it looks like now, of an open job at work.")
    working_days_late: int | None = Field(None, description="How many working days that is behind the promise.")


class JobList(BaseModel):
    """A part of the list, oldest first; ``next`` is what to send as ``after`` for the part that follows."""

    items: list[JobItem]
    next: str | None


class KitItem(BaseModel):
    """One part of a kit, in stock units; ``spare`` pieces go along beyond what is needed."""

    part_number: str
    needed: int
    spare: int
    reserved: int
    issued: int
    short: int


class JobBody(JobItem):
    """One job whole. ``version`` is sent back with a write that depends on what was read."""

    revision: int
    condition: str
    in_box: str
    coverage: Coverage
    data_wish: DataWish
    targets: list[str]
    pass_no: int
    teardown: list[str]
    refit: list[str]
    down: list[str]
    up: list[str]
    kit: list[KitItem]
    quoted: Decimal | None
    parts_cost: Decimal | None
    labour_cost: Decimal | None
    bench_s: int | None
    median_s: int | None
    p80_s: int | None
    device_value: Decimal | None
    closed_at: datetime | None
    version: int


class NewJob(BaseModel):
    """What is asked when a device is booked in; ``device_model`` is the model's code."""

    id: SubmissionId
    device_model: str
    serial: Annotated[str, Field(min_length=1, max_length=80)]
    fault: Text
    condition: Text
    owner_ref: Annotated[str, Field(min_length=1, max_length=120)]
    coverage: Coverage
    data_wish: DataWish
    consent: bool
    in_box: Annotated[str, Field(max_length=300)] = ""
    promised_on: date | None = None
    device_value: Annotated[Decimal, Field(ge=0, le=1_000_000, decimal_places=4)] | None = None
    another_device: OtherDevice = ""


class PlanPartBody(BaseModel):
    """One part a plan needs against the shelf."""

    part_number: str
    needed: int
    available: int
    short: int
    on_order: int
    expected_on: date | None
    amount: Decimal


class PlanBody(BaseModel):
    """A plan before anything is opened: steps, kit, expected bench time in seconds, cost as a range."""

    targets: list[str]
    teardown: list[str]
    refit: int
    left_closed: int
    median_s: int
    p80_s: int
    wait_s: int
    basis: str
    kit: list[PlanPartBody]
    parts_cost: Decimal
    low: Decimal
    high: Decimal
    currency: str
    in_force: bool
    why: dict[str, str]
    closed_words: str
    earliest: date | None
    ready_by: date | None
    because: list[str]


class NewPlan(BaseModel):
    """Use a plan for these units; ``version`` is the job's as last seen. ``promised_on`` is promised with it."""

    id: SubmissionId
    version: int
    targets: Annotated[list[str], Field(min_length=1, max_length=100)]
    promised_on: date | None = None


class PickBody(BaseModel):
    """One pick: so many of a lot at a location (its code). Serials where the part is tracked."""

    part_number: str
    lot: str
    location: str
    quantity: Annotated[int, Field(ge=1, le=100_000)]
    serials: Annotated[list[str], Field(max_length=1000)] = []


class NewHandOut(BaseModel):
    """Hand out a kit: the picks, or none for what is proposed (first expired, first out).

    Parts whose serials are tracked need picks that name them; what is proposed is listed by GET.
    """

    id: SubmissionId
    picks: Annotated[list[PickBody], Field(max_length=500)] = []


def _once(
    db: Database, caller: Caller, key: str, content: dict[str, Any], act: Callable[[Session, str, datetime], str]
) -> str:
    """Do a write once and return the number of its job; a repeat of the same returns the first outcome's."""
    at = clock.now()
    try:
        with db.write() as session:
            claimed = claim(session, key, content, caller.person_id, at)
            number = act(session, claimed, at)
            settle(session, claimed, f"/api/v1/jobs/{number}")
    except AlreadyDone as done:
        return done.location.rpartition("/")[2]
    return number


@router.post("/jobs", status_code=201)
def create_job(db: Db, settings: SiteSettings, caller: ApiBench, body: NewJob) -> JobBody:
    """Book a device in."""

    def act(session: Session, key: str, at: datetime) -> str:
        model = next((m for m in procedures.device_models(session) if m.code == body.device_model), None)
        if model is None:
            raise Refused(f"There is no device model {body.device_model}.", "device_model")
        given = body.model_dump(exclude={"id", "device_model"})
        return book_in(session, Booking(model.id, **given), at=at, who=caller.person_id, event_id=key)

    number = _once(db, caller, body.id, {"book in": body.model_dump(exclude={"id"})}, act)
    return get_job(db, settings, caller, number)


@router.get("/jobs")
def list_jobs(
    db: Db,
    settings: SiteSettings,
    _caller: ApiEverybody,
    after: Annotated[str, Query(max_length=16)] = "",
    limit: Annotated[int, Query(ge=1, le=200)] = 50,
    stage: Annotated[str, Query(max_length=24)] = "all",
    text: Annotated[str, Query(max_length=80)] = "",
    slipping: Annotated[bool, Query(description="Only jobs whose promise will not be kept as things stand.")] = False,
) -> JobList:
    """List jobs in the order they were booked in."""
    if stage not in {"open", "all", *(s.value for s in Stage)}:
        raise Refused(f"There is no stage {stage}.", "stage")
    with db.read() as session:
        models = {model.id: model.code for model in procedures.device_models(session)}
        last = int(after) if after.isascii() and after.isdigit() else 0
        outlook = Outlook(session, settings, clock.now())
        ids = tuple(outlook.slipping()) if slipping else None
        found = queries.jobs_from(session, JobFilter(stage=stage, text=text, ids=ids), last, limit + 1)
        any_open = any(row.promised_on and row.stage in queries.OPEN_STAGES for row in found)
        promises = outlook.promises if any_open else {}
    return JobList(
        items=[_item(row, models[row.device_model_id], promises.get(row.id)) for row in found[:limit]],
        next=str(found[limit - 1].id) if len(found) > limit else None,
    )


def _item(row: JobRow, model: str, slipped: Slippage | None) -> JobItem:
    return JobItem(
        number=row.number,
        device_model=model,
        serial=row.serial,
        fault=row.fault,
        owner_ref=row.owner_ref,
        stage=row.stage,
        hold=row.hold,
        hold_reason=row.hold_reason,
        booked_at=row.booked_at,
        promised_on=row.promised_on,
        expected_on=slipped.now if slipped else None,
        working_days_late=slipped.days if slipped and slipped.now else None,
    )


@router.get("/jobs/{number}")
def get_job(db: Db, settings: SiteSettings, _caller: ApiEverybody, number: str) -> JobBody:
    """Return one job whole."""
    with db.read() as session:
        job = queries.find_job(session, number)
        rows = kit_queries.kit(session, job, today(clock.now(), settings))
        model = procedures.device_model(session, job.device_model_id)
        revision = procedures.revision_info(session, job.revision_id)
        slipped = Outlook(session, settings, clock.now()).slippage(job.id)
    kit = [KitItem.model_validate(row, from_attributes=True) for row in rows]
    return _body(job, model.code, revision.number, kit, slipped)


def _body(job: JobDetail, model: str, revision: int, kit: list[KitItem], slipped: Slippage | None) -> JobBody:
    names = ("teardown", "refit", "down", "up")
    plain = {name: getattr(job, name) for name in JobBody.model_fields if hasattr(job, name)}
    steps = {name: list(getattr(job.state, name)) for name in names}
    own = {"device_model": model, "revision": revision, "kit": kit, "pass_no": job.state.pass_no}
    if slipped and slipped.now:
        own |= {"expected_on": slipped.now, "working_days_late": slipped.days}
    return JobBody(**{**plain, **steps, **own, "targets": list(job.targets)})


@router.get("/jobs/{number}/plan")
def get_plan(
    db: Db,
    settings: SiteSettings,
    _caller: ApiEverybody,
    number: str,
    targets: Annotated[list[str] | None, Query()] = None,
) -> PlanBody:
    """Return the plan for these units, or the one in force when none are named."""
    with db.read() as session:
        job = queries.find_job(session, number)
        wanted = tuple(targets or job.targets)
        outlook = Outlook(session, settings, clock.now())
        view = planning.plan_view(session, job, wanted, settings, outlook.today)
        sheet = procedures.sheet(session, job.revision_id)
        in_force = bool(job.targets) and set(job.targets) == set(view.targets)
        promise = planning.promise_view(outlook, job, None if in_force else view)
    steps = make_plan(sheet, wanted)
    kit = [
        PlanPartBody(
            part_number=part.number,
            needed=part.needed,
            available=part.free,
            short=part.short,
            on_order=part.on_order,
            expected_on=part.expected_on,
            amount=part.amount,
        )
        for part in view.parts
    ]
    return PlanBody(
        targets=list(view.targets),
        teardown=list(steps.teardown),
        refit=view.refit_count,
        left_closed=len(view.closed),
        median_s=view.time.median_s,
        p80_s=view.time.p80_s,
        wait_s=view.wait_s,
        basis=view.time.basis,
        kit=kit,
        parts_cost=view.parts_cost,
        low=view.low,
        high=view.high,
        currency=settings.currency,
        in_force=in_force,
        why={reason.step: reason.words for reason in reasons(sheet, steps)},
        closed_words=view.closed_words,
        earliest=promise.earliest if promise else None,
        ready_by=promise.day if promise else None,
        because=list(promise.because) if promise else [],
    )


@router.post("/jobs/{number}/plan")
def use_this_plan(db: Db, settings: SiteSettings, caller: ApiBench, number: str, body: NewPlan) -> JobBody:
    """Use a plan: its kit is reserved; what is short puts the job on a parts hold."""

    def act(session: Session, key: str, at: datetime) -> str:
        use_plan(
            session,
            number,
            body.version,
            body.targets,
            at=at,
            who=caller.person_id,
            event_id=key,
            today=today(at, settings),
        )
        promise_with(
            session, load_job(session, number), body.promised_on, settings,
            at=at, who=caller.person_id, event_id=key, why="With the plan",
        )  # fmt: skip
        return number

    _once(db, caller, body.id, {"plan": number, **body.model_dump(mode="json", exclude={"id"}, exclude_none=True)}, act)
    return get_job(db, settings, caller, number)


@router.post("/jobs/{number}/kit")
def hand_out(db: Db, settings: SiteSettings, caller: ApiStores, number: str, body: NewHandOut) -> JobBody:
    """Hand the kit out, as picked or as proposed."""

    def act(session: Session, key: str, at: datetime) -> str:
        day = today(at, settings)
        picks = _picks(session, number, body, day)
        hand_out_kit(session, number, picks, at=at, who=caller.person_id, event_id=key, today=day)
        return number

    _once(db, caller, body.id, {"hand out": number, **body.model_dump(exclude={"id"})}, act)
    return get_job(db, settings, caller, number)


def proposed_picks(session: Session, number: str, day: date) -> tuple[stores.ProposedPick, ...]:
    """Return what of the kit can be handed out now, first expired first; serials are the picker's to name."""
    rows = kit_queries.kit(session, queries.find_job(session, number), day)
    wants = {r.part_number: min(r.outstanding, r.reserved + r.available) for r in rows if r.outstanding}
    return stores.propose_picks(session, wants, day)


def _picks(session: Session, number: str, body: NewHandOut, day: date) -> list[Pick]:
    if not body.picks:
        return list(proposed_picks(session, number, day))
    lots = stores.lots_of(session, {pick.part_number for pick in body.picks})
    known = {(lot.part_number, lot.code, lot.location): lot for lot in lots}
    picks = []
    for pick in body.picks:
        lot = known.get((pick.part_number, pick.lot, pick.location))
        if lot is None:
            raise Refused(f"There is nothing of {pick.part_number}, lot {pick.lot}, at {pick.location}.", "picks")
        picks.append(Pick(pick.part_number, lot.lot_id, lot.location_id, pick.quantity, tuple(pick.serials)))
    return picks
