"""Targets, and the plan before anything is opened."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlmodel import Session

from app.jobs.pages.booking import unit_names
from app.jobs.queries import jobs as queries
from app.jobs.queries import kit as kit_queries
from app.jobs.queries.jobs import JobDetail
from app.jobs.queries.outlook import Outlook
from app.jobs.queries.past import exchanged_for, expected_time
from app.platform.errors import Refused
from app.platform.forms import Form
from app.platform.settings import Settings
from app.procedures import queries as procedures
from app.procedures.queries import FaultWord, ModelInfo, RevisionInfo
from app.rules.costing import labour_cost
from app.rules.expected_time import ExpectedTime
from app.rules.job_flow import Standing, check_plan
from app.rules.likely_targets import LikelyTarget, likely_targets, preselected
from app.rules.money import extend, round_money
from app.rules.plan_reasons import left_closed, reasons
from app.rules.planning import Plan, make_plan
from app.rules.sheet import Sheet
from app.stores import queries as stores
from app.stores.queries import ShelfPart


@dataclass(frozen=True)
class UnitChoice:
    """A unit that can be chosen. ``share`` is how often it is exchanged for the job's fault, in words with its
    interval, and ``why`` what that rests on; both empty where the fault is in no table.
    """

    id: str
    name: str
    part: str
    steps: int
    price: Decimal | None
    available: int
    share: str
    why: str
    likely: bool
    chosen: bool


@dataclass(frozen=True)
class TargetsPage:
    """What to replace, the likeliest unit first. ``words`` are the fault words of the table that the job has."""

    job: JobDetail
    model: ModelInfo
    form: Form[Any]
    units: tuple[UnitChoice, ...]
    words: tuple[str, ...]
    procedure: str


@dataclass(frozen=True)
class PlanStep:
    """One step of the plan. ``no`` counts down the teardown; ``why`` says which targets need it."""

    no: int
    title: str
    tools: str
    releases: str
    why: str
    refit: str
    closes: bool


@dataclass(frozen=True)
class PlanPart:
    """One part of the kit against the shelf. ``free`` is what this job can have, with what it is promised or handed."""

    number: str
    name: str
    unit: str
    needed: int
    free: int
    on_order: int
    expected_on: date | None
    price: Decimal
    amount: Decimal
    use: str

    @property
    def short(self) -> int:
        """Needed and not to be had now."""
        return max(self.needed - self.free, 0)


@dataclass(frozen=True)
class PromiseView:
    """From which day on the job can be handed back: the earliest, the one to promise, and why. None: no day is named.

    ``left_out`` is how many open jobs are not counted, as nobody knows when they go on.
    """

    earliest: date | None
    day: date | None
    because: tuple[str, ...]
    left_out: int = 0


@dataclass(frozen=True)
class PlanView:
    """A plan with its figures. Costs are at catalogue prices and the labour rate, in the site's currency."""

    targets: tuple[str, ...]
    target_names: tuple[str, ...]
    steps: tuple[PlanStep, ...]
    refit_count: int
    closed: tuple[str, ...]
    closed_words: str
    pockets: int
    tools: tuple[str, ...]
    time: ExpectedTime
    wait_s: int
    parts: tuple[PlanPart, ...]
    parts_cost: Decimal
    low: Decimal
    high: Decimal

    @property
    def short(self) -> tuple[PlanPart, ...]:
        """Parts that cannot be had in full."""
        return tuple(part for part in self.parts if part.short)


@dataclass(frozen=True)
class PlanPage:
    """A plan before it is used, or the one in force. ``in_force`` when the job stands on just this plan.

    ``blocked`` says why it cannot be used now; empty when it can.
    """

    job: JobDetail
    model: ModelInfo
    revision: RevisionInfo
    form: Form[Any]
    plan: PlanView
    in_force: bool
    blocked: str
    quote_due: bool
    promise: PromiseView | None
    may_promise: bool


def targets_page(
    session: Session, number: str, form: Form[Any], chosen: Collection[str] | None, today: date
) -> TargetsPage:
    """Build the choice of units, ranked by the fault table and by what was really exchanged for the fault."""
    job = queries.find_job(session, number)
    sheet = procedures.sheet(session, job.revision_id)
    words, ranked = ranked_targets(session, job, sheet)
    likely = {one.unit: one for one in ranked} if words else {}
    ticked = set(chosen if chosen is not None else job.targets or (preselected(ranked) if words else ()))
    by_id = {unit.id: unit for unit in sheet.units}
    units = [by_id[one.unit] for one in ranked]
    shelf = stores.shelf(session, [unit.part for unit in units], today)
    choices = []
    for unit in units:
        part = shelf.get(unit.part)
        rank = likely.get(unit.id)
        choices.append(
            UnitChoice(
                id=unit.id,
                name=unit.name,
                part=unit.part,
                steps=len(make_plan(sheet, (unit.id,)).teardown),
                price=part.price if part else None,
                available=part.available if part else 0,
                share=share_words(rank) if rank else "",
                why=rank.words if rank else "",
                likely=rank is not None and (rank.in_table or rank.share >= 0.5),
                chosen=unit.id in ticked,
            )
        )
    model = procedures.device_model(session, job.device_model_id)
    code = procedures.revision_info(session, job.revision_id).code
    return TargetsPage(job, model, form, tuple(choices), tuple(word.words for word in words), code)


def ranked_targets(
    session: Session, job: JobDetail, sheet: Sheet
) -> tuple[tuple[FaultWord, ...], tuple[LikelyTarget, ...]]:
    """Return the fault words that the job has, and all units that can be reached, the likeliest first."""
    said = job.fault.casefold()
    words = tuple(
        word
        for word in procedures.faults(session, job.device_model_id)
        if any(saying.casefold() in said for saying in word.sayings)
    )
    freed = {step.frees for step in sheet.steps if step.frees}
    units = [unit.id for unit in sheet.units if unit.id in freed]
    sayings = [saying for word in words for saying in word.sayings]
    exchanged, jobs = exchanged_for(session, job.device_model_id, sayings)
    known = {unit: min(n, jobs) for unit, n in exchanged.items() if unit in units}
    return words, likely_targets(units, {unit for word in words for unit in word.units}, known, jobs)


def share_words(found: LikelyTarget) -> str:
    """Return a share with its interval in words, such as 'In about 7 of 10 such jobs (3 to 9 of 10)'."""
    low, middle, high = (round(10 * share) for share in (found.low, found.share, found.high))
    if middle == 0:
        return f"Hardly ever (up to {high} of 10 such jobs)" if high else "Hardly ever"
    return f"In about {middle} of 10 such jobs ({low} to {high} of 10)"


def plan_page(
    session: Session, number: str, targets: Sequence[str], form: Form[Any], settings: Settings, now: datetime
) -> PlanPage:
    """Build the page of a plan for these targets, or of the plan in force when none are given. Raises Refused."""
    job = queries.find_job(session, number)
    wanted = tuple(targets) or job.targets
    outlook = Outlook(session, settings, now)
    view = plan_view(session, job, wanted, settings, outlook.today)
    standing = kit_queries.standing_of(job, job.state, {})
    in_force = bool(job.targets) and set(view.targets) == set(job.targets)
    found = promise_view(outlook, job, None if in_force else view)
    may_promise = not standing.quote_due and job.promise is None
    if may_promise and "promised_on" not in form.values:
        day = job.promised_on or (found.day if found else None)
        form = replace(form, values={**form.values, "promised_on": day.isoformat() if day else ""})
    return PlanPage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        revision=procedures.revision_info(session, job.revision_id),
        form=form,
        plan=view,
        in_force=in_force,
        blocked=_blocked(standing),
        quote_due=standing.quote_due,
        promise=found,
        may_promise=may_promise,
    )


def promise_view(outlook: Outlook, job: JobDetail, view: PlanView | None = None) -> PromiseView | None:
    """Return the day that can be promised for a job as it stands, or as ``view`` would plan it; None when it is over.

    What the shelf lacks comes with the next open order; a part that nobody ordered leaves the day open.
    """
    if view is None:
        found = outlook.of(job.id)
    else:
        short = outlook.short_parts({part.number: part.name for part in view.short})
        found = outlook.with_plan(job.id, view.time, view.wait_s, short)
    return PromiseView(found.earliest, found.p80, found.because, outlook.left_out) if found else None


def _blocked(standing: Standing) -> str:
    try:
        check_plan(standing)
    except Refused as refusal:
        return refusal.reason
    return ""


def plan_view(session: Session, job: JobDetail, targets: Collection[str], settings: Settings, today: date) -> PlanView:
    """Work a plan out against the shelf, the finished jobs and the prices. Raises Refused."""
    sheet = procedures.sheet(session, job.revision_id)
    plan = make_plan(sheet, targets)
    shelf = stores.shelf(session, [line.part for line in plan.kit], today)
    own = _own(session, job, today)
    parts = _plan_parts(sheet, plan, shelf, own, settings)
    time = expected_time(session, job.revision_id, plan)
    cost = sum((part.amount for part in parts), Decimal(0))
    rate, currency = settings.labour_rate, settings.currency
    titles = {step.id: step.title for step in sheet.steps}
    return PlanView(
        targets=plan.targets,
        target_names=unit_names(sheet, plan.targets),
        steps=_plan_steps(sheet, plan),
        refit_count=len(plan.refit),
        closed=tuple(titles[step_id] for step_id in plan.left_closed),
        closed_words=left_closed(sheet, plan).words,
        pockets=len(plan.pockets),
        tools=_tools(sheet, plan),
        time=time,
        wait_s=plan.wait_s,
        parts=parts,
        parts_cost=cost,
        low=cost + labour_cost(time.median_s, rate, currency),
        high=cost + labour_cost(time.p80_s, rate, currency),
    )


def _own(session: Session, job: JobDetail, today: date) -> dict[str, int]:
    """Return what the job has of each part already: promised, or handed out and not spoken for by a report.

    What an earlier pass was handed is used up, so it counts for nothing in the next one.
    """
    first = job.state.pass_no == 1 and not job.state.counted
    rows = kit_queries.kit(session, job, today)
    return {row.part_number: row.reserved + (max(row.issued - row.added, 0) if first else 0) for row in rows}


def _plan_parts(
    sheet: Sheet, plan: Plan, shelf: dict[str, ShelfPart], own: dict[str, int], settings: Settings
) -> tuple[PlanPart, ...]:
    number = {step_id: n for n, step_id in enumerate(plan.teardown, start=1)}
    found = []
    for line in plan.kit:
        part = shelf.get(line.part)
        steps = list(dict.fromkeys(number[use.step] for use in line.uses))
        price = part.price if part else Decimal(0)
        found.append(
            PlanPart(
                number=line.part,
                name=part.name if part else "Not in the catalogue",
                unit=part.unit if part else "each",
                needed=line.count,
                free=(part.available if part else 0) + own.get(line.part, 0),
                on_order=part.on_order if part else 0,
                expected_on=part.expected_on if part else None,
                price=price,
                amount=round_money(extend(price, line.count), settings.currency),
                use=("step " if len(steps) == 1 else "steps ") + ", ".join(str(n) for n in steps),
            )
        )
    return tuple(found)


def _plan_steps(sheet: Sheet, plan: Plan) -> tuple[PlanStep, ...]:
    tools = {tool.id: f"{tool.name} {tool.size}" if tool.size else tool.name for tool in sheet.tools}
    why = {reason.step: reason.words for reason in reasons(sheet, plan)}
    found = []
    for no, step_id in enumerate(plan.teardown, start=1):
        step = sheet.step(step_id)
        found.append(
            PlanStep(
                no=no,
                title=step.title,
                tools=", ".join(tools[tool] for tool in step.tools),
                releases=", ".join(f"{fixing.count} × {fixing.name}" for fixing in step.releases),
                why=why[step_id],
                refit=step.refit.title if step.refit else "",
                closes=bool(step.refit and step.refit.closes),
            )
        )
    return tuple(found)


def _tools(sheet: Sheet, plan: Plan) -> tuple[str, ...]:
    used: set[str] = set()
    for step_id in plan.teardown:
        step = sheet.step(step_id)
        used |= {*step.tools, *(step.refit.tools if step.refit else ())}
    return tuple(f"{tool.name} {tool.size}" if tool.size else tool.name for tool in sheet.tools if tool.id in used)
