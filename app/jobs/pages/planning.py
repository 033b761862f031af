"""Targets, the plan before anything is opened, and the quote."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from sqlmodel import Session

from app.jobs.models import Coverage
from app.jobs.pages.booking import unit_names
from app.jobs.queries import jobs as queries
from app.jobs.queries import kit as kit_queries
from app.jobs.queries.jobs import EventRow, JobDetail
from app.platform.errors import Refused
from app.platform.forms import Form
from app.platform.settings import Settings
from app.procedures import queries as procedures
from app.procedures.queries import ModelInfo, RevisionInfo
from app.rules.costing import labour_cost
from app.rules.expected_time import ExpectedTime, expected_time
from app.rules.job_flow import Standing, check_plan
from app.rules.money import extend, round_money
from app.rules.planning import Plan, make_plan
from app.rules.sheet import Sheet
from app.stores import queries as stores
from app.stores.queries import ShelfPart


@dataclass(frozen=True)
class UnitChoice:
    """A unit that can be chosen. ``likely`` names the fault word that points at it, empty for none."""

    id: str
    name: str
    part: str
    steps: int
    price: Decimal | None
    available: int
    likely: str
    chosen: bool


@dataclass(frozen=True)
class TargetsPage:
    """What to replace."""

    job: JobDetail
    model: ModelInfo
    form: Form[Any]
    units: tuple[UnitChoice, ...]


@dataclass(frozen=True)
class PlanStep:
    """One step of the plan. ``no`` counts down the teardown; ``why`` names the targets that need it."""

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
class PlanView:
    """A plan with its figures. Costs are at catalogue prices and the labour rate, in the site's currency."""

    targets: tuple[str, ...]
    target_names: tuple[str, ...]
    steps: tuple[PlanStep, ...]
    refit_count: int
    closed: tuple[str, ...]
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


@dataclass(frozen=True)
class QuotePage:
    """The quote, the owner's answer, and the sheet. ``answer`` is the recorded answer, None while it is open."""

    job: JobDetail
    model: ModelInfo
    plan: PlanView
    form: Form[Any]
    answer_form: Form[Any]
    quoted: EventRow | None
    answer: EventRow | None
    supervisor: bool
    qr: str = ""


def targets_page(
    session: Session, number: str, form: Form[Any], chosen: Collection[str] | None, today: date
) -> TargetsPage:
    """Build the choice of units; those the fault words point at are chosen first."""
    job = queries.find_job(session, number)
    sheet = procedures.sheet(session, job.revision_id)
    likely = suggested(session, job)
    ticked = set(chosen if chosen is not None else job.targets or likely)
    freed = {step.frees for step in sheet.steps if step.frees}
    units = [unit for unit in sheet.units if unit.id in freed]
    shelf = stores.shelf(session, [unit.part for unit in units], today)
    choices = []
    for unit in units:
        part = shelf.get(unit.part)
        choices.append(
            UnitChoice(
                id=unit.id,
                name=unit.name,
                part=unit.part,
                steps=len(make_plan(sheet, (unit.id,)).teardown),
                price=part.price if part else None,
                available=part.available if part else 0,
                likely=likely.get(unit.id, ""),
                chosen=unit.id in ticked,
            )
        )
    model = procedures.device_model(session, job.device_model_id)
    return TargetsPage(job, model, form, tuple(choices))


def suggested(session: Session, job: JobDetail) -> dict[str, str]:
    """Return the units that the job's fault words point at, each with the word."""
    said = job.fault.casefold()
    return {
        word.unit: word.words
        for word in reversed(procedures.faults(session, job.device_model_id))
        if word.unit and word.words.casefold() in said
    }


def plan_page(
    session: Session, number: str, targets: Sequence[str], form: Form[Any], settings: Settings, today: date
) -> PlanPage:
    """Build the page of a plan for these targets, or of the plan in force when none are given. Raises Refused."""
    job = queries.find_job(session, number)
    wanted = tuple(targets) or job.targets
    view = plan_view(session, job, wanted, settings, today)
    standing = kit_queries.standing_of(job, job.state, {})
    in_force = bool(job.targets) and set(view.targets) == set(job.targets)
    return PlanPage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        revision=procedures.revision_info(session, job.revision_id),
        form=form,
        plan=view,
        in_force=in_force,
        blocked=_blocked(standing),
        quote_due=standing.quote_due,
    )


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
    history = queries.finished_times(session, job.device_model_id, plan.targets)
    time = expected_time(plan.teardown_s + plan.refit_s, history)
    cost = sum((part.amount for part in parts), Decimal(0))
    rate, currency = settings.labour_rate, settings.currency
    titles = {step.id: step.title for step in sheet.steps}
    return PlanView(
        targets=plan.targets,
        target_names=unit_names(sheet, plan.targets),
        steps=_plan_steps(sheet, plan),
        refit_count=len(plan.refit),
        closed=tuple(titles[step_id] for step_id in plan.left_closed),
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
    names = {unit.id: unit.name for unit in sheet.units}
    every = set(plan.targets)
    found = []
    for no, step_id in enumerate(plan.teardown, start=1):
        step = sheet.step(step_id)
        needs = plan.needed_by[step_id]
        why = "all" if set(needs) == every and len(every) > 1 else ", ".join(names[unit] for unit in needs)
        if step.frees in every:
            why = f"frees the {names[step.frees or ''].lower()}"
        found.append(
            PlanStep(
                no=no,
                title=step.title,
                tools=", ".join(tools[tool] for tool in step.tools),
                releases=", ".join(f"{fixing.count} × {fixing.name}" for fixing in step.releases),
                why=why,
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


def quote_page(
    session: Session,
    number: str,
    form: Form[Any],
    answer_form: Form[Any],
    settings: Settings,
    today: date,
    role: str,
    qr: str = "",
) -> QuotePage | None:
    """Build the quote of a job; None when the job has no plan or nobody is asked to pay."""
    job = queries.find_job(session, number)
    if not job.targets or job.coverage is not Coverage.OWNER:
        return None
    view = plan_view(session, job, job.targets, settings, today)
    events = queries.events(session, job.id, kinds=("quoted", "approved", "declined", "planned"))
    quoted = next((event for event in events if event.kind == "quoted"), None)
    # A plan made after an answer asks for a new one.
    newest = next((event for event in events if event.kind != "planned"), None)
    answer = newest if newest is not None and newest.kind in ("approved", "declined") else None
    if job.stage.value == "planned":
        answer = None
    if not form.values:
        proposed = job.quoted if job.quoted is not None and job.stage.value == "quoted" else view.high
        form = replace(form, values={"amount": f"{round_money(proposed, settings.currency)}"})
    if not answer_form.values:
        answer_form = replace(answer_form, values={"answered_on": today.isoformat()})
    return QuotePage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        plan=view,
        form=form,
        answer_form=answer_form,
        quoted=quoted,
        answer=answer,
        supervisor=role == "supervisor",
        qr=qr,
    )
