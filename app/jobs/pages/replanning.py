"""A new plan in mid-work, before anyone says yes: what stays done, what is added in steps, kit, time and cost."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from sqlmodel import Session

from app.jobs.pages.booking import unit_names
from app.jobs.pages.planning import PromiseView
from app.jobs.queries import jobs as queries
from app.jobs.queries import kit as kit_queries
from app.jobs.queries.jobs import JobDetail
from app.jobs.queries.outlook import Outlook
from app.jobs.queries.pricing import addition
from app.platform.forms import Form
from app.platform.settings import Settings
from app.procedures import queries as procedures
from app.procedures.queries import ModelInfo
from app.rules.extending import Extension, extend
from app.rules.job_flow import check_extension
from app.rules.plan_reasons import reasons
from app.rules.quoting import Quote
from app.rules.sheet import Sheet
from app.rules.verdict import Refused
from app.stores import queries as stores


@dataclass(frozen=True)
class UnitTick:
    """A unit to tick; ``done`` says that it is exchanged already and stays.

    ``before`` says that it was exchanged and came out once more: ticking it exchanges it a second time.
    """

    id: str
    name: str
    part: str
    chosen: bool
    planned: bool
    done: bool
    before: bool = False


@dataclass(frozen=True)
class AddedStep:
    """A step that comes on top, or that is dropped; ``why`` says what it is for."""

    title: str
    why: str


@dataclass(frozen=True)
class AddedPart:
    """A part that the kit takes more of, against the shelf."""

    number: str
    name: str
    count: int
    free: int
    expected_on: date | None

    @property
    def short(self) -> int:
        """What cannot be had now."""
        return max(self.count - self.free, 0)


@dataclass(frozen=True)
class ExtensionView:
    """What a new plan would change. ``cost`` is the addition priced; ``more_s`` standard hands-on seconds more."""

    targets: tuple[str, ...]
    names: tuple[str, ...]
    words: str
    kept: tuple[str, ...]
    added: tuple[AddedStep, ...]
    again: tuple[AddedStep, ...]
    dropped: tuple[str, ...]
    only_back: tuple[str, ...]
    parts: tuple[AddedPart, ...]
    fewer: tuple[tuple[str, int], ...]
    more_s: int
    more_wait_s: int
    cost: Quote
    undo_ends: bool

    @property
    def short(self) -> tuple[AddedPart, ...]:
        """Parts that cannot be had in full."""
        return tuple(part for part in self.parts if part.short)


@dataclass(frozen=True)
class ReplanPage:
    """The choice of units and what it adds; ``view`` is None until something else is chosen, ``blocked`` says why not.

    ``ask_owner`` is whether the owner has to agree to the price first.
    """

    job: JobDetail
    model: ModelInfo
    units: tuple[UnitTick, ...]
    form: Form[Any]
    view: ExtensionView | None
    blocked: str
    ask_owner: bool
    supervisor: bool
    promise: PromiseView | None


def replan_page(
    session: Session,
    number: str,
    targets: Sequence[str] | None,
    form: Form[Any],
    settings: Settings,
    now: datetime,
    role: str,
) -> ReplanPage:
    """Build the page for these units; for the plan in force when None."""
    job = queries.find_job(session, number)
    sheet = procedures.sheet(session, job.revision_id)
    outlook = Outlook(session, settings, now)
    standing = kit_queries.standing_of(job, job.state, {})
    view, found, blocked = None, None, ""
    try:
        check_extension(standing)
        if targets is not None:
            found = extended_plan(session, job, sheet, targets)
            view = _view(session, job, sheet, found, settings, outlook.today)
    except Refused as refusal:
        blocked = refusal.reason
    if view is not None and found is not None and not found.changes and set(view.targets) == set(job.targets):
        view, blocked = None, "That is the plan in force. Tick what else has to be exchanged."
    ask = standing.quote_due and view is not None and view.cost.total > 0
    if ask and view is not None and "amount" not in form.values:
        form = replace(form, values={**form.values, "amount": f"{view.cost.total}"})
    now_ready = outlook.of(job.id)
    return ReplanPage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        units=_units(sheet, job, job.targets if targets is None else targets),
        form=form,
        view=view,
        blocked=blocked,
        ask_owner=ask,
        supervisor=role == "supervisor",
        promise=PromiseView(now_ready.earliest, now_ready.p80, now_ready.because) if now_ready else None,
    )


def extended_plan(session: Session, job: JobDetail, sheet: Sheet, targets: Sequence[str]) -> Extension:
    """Return a job's plan for these units from where it stands. Raises Refused."""
    before = kit_queries.plan_in_force(session, job.id, job.state.pass_no)
    return extend(sheet, job.state, targets, before.get("kit", {}), before.get("spent", {}))


def _units(sheet: Sheet, job: JobDetail, chosen: Sequence[str]) -> tuple[UnitTick, ...]:
    frees = {step.frees: step.id for step in reversed(sheet.steps) if step.frees}
    found = []
    for unit in sheet.units:
        if unit.id in frees:
            planned = unit.id in job.targets
            done = planned and frees[unit.id] in job.state.up
            before = unit.id in job.state.exchanged and not planned
            found.append(UnitTick(unit.id, unit.name, unit.part, done or unit.id in chosen, planned, done, before))
    return tuple(found)


def _view(
    session: Session, job: JobDetail, sheet: Sheet, found: Extension, settings: Settings, today: date
) -> ExtensionView:
    plan = found.plan
    titles = {step.id: step.title for step in sheet.steps}
    why = {reason.step: reason.words for reason in reasons(sheet, plan.plan)}
    shelf = stores.shelf(session, [line.part for line in (*found.added_kit, *found.dropped_kit)], today)
    parts = []
    for line in found.added_kit:
        part = shelf.get(line.part)
        name, free, due = (part.name, part.available, part.expected_on) if part else ("Not in the catalogue", 0, None)
        parts.append(AddedPart(line.part, name, line.count, free, due))
    return ExtensionView(
        targets=plan.targets,
        names=unit_names(sheet, plan.targets),
        words=plan.words,
        kept=tuple(titles[step] for step in plan.kept),
        added=tuple(AddedStep(titles[step], why.get(step, "")) for step in plan.added),
        again=tuple(AddedStep(titles[step], why.get(step, "")) for step in plan.again),
        dropped=tuple(titles[step] for step in plan.dropped),
        only_back=tuple(titles[step] for step in plan.only_back),
        parts=tuple(parts),
        fewer=tuple((line.part, line.count) for line in found.dropped_kit),
        more_s=plan.added_s,
        more_wait_s=plan.added_wait_s,
        cost=addition(session, job.revision_id, found, settings, today),
        undo_ends=bool(plan.again),
    )
