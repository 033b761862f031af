"""The quote: its lines, up to three options side by side, what the device is worth, the owner's answer, the sheet."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlmodel import Session

from app.jobs.models import Coverage
from app.jobs.pages.booking import unit_names
from app.jobs.pages.planning import PromiseView, promise_view
from app.jobs.queries import jobs as queries
from app.jobs.queries.jobs import EventRow, JobDetail
from app.jobs.queries.outlook import Outlook
from app.jobs.queries.pricing import quote_options
from app.platform.forms import Form
from app.platform.settings import Settings
from app.procedures import queries as procedures
from app.procedures.queries import ModelInfo
from app.rules.expected_time import ExpectedTime
from app.rules.money import round_money
from app.rules.quote_options import Option
from app.rules.quoting import Quote, worth_repairing
from app.rules.sheet import Sheet

MOST_OPTIONS = 3


@dataclass(frozen=True)
class OptionView:
    """One option, worked out now. ``beside`` says what it is against the first, ``together`` what doing it at once
    saves; both empty for the first, and where there is nothing to say.
    """

    no: int
    targets: tuple[str, ...]
    names: tuple[str, ...]
    down: int
    up: int
    time: ExpectedTime
    quote: Quote
    beside: str
    together: str


@dataclass(frozen=True)
class QuotedOptionView:
    """An option as it was quoted; ``lines`` are text, quantity and amount, and ``total`` what they come to."""

    no: int
    names: tuple[str, ...]
    amount: Decimal
    total: Decimal | None
    lines: tuple[tuple[str, str, Decimal], ...]


@dataclass(frozen=True)
class UnitBox:
    """A unit to tick for a further option."""

    id: str
    name: str
    two: bool
    three: bool


@dataclass(frozen=True)
class QuotePage:
    """The quote, the owner's answer, and the sheet. ``answer`` is the recorded answer, None while it is open.

    ``worth`` says whether the repair is worth it, and ``beyond`` that it is not. ``ready_on`` is the day that was
    told with the quote.
    """

    job: JobDetail
    model: ModelInfo
    options: tuple[OptionView, ...]
    units: tuple[UnitBox, ...]
    form: Form[Any]
    answer_form: Form[Any]
    quoted: EventRow | None
    quoted_options: tuple[QuotedOptionView, ...]
    answer: EventRow | None
    supervisor: bool
    worth: str
    beyond: bool
    promise: PromiseView | None
    ready_on: date | None
    problem: str = ""
    qr: str = ""

    @property
    def plan(self) -> OptionView:
        """The plan in force."""
        return self.options[0]


def quote_page(
    session: Session,
    number: str,
    form: Form[Any],
    answer_form: Form[Any],
    settings: Settings,
    now: datetime,
    role: str,
    further: Sequence[Sequence[str]] = (),
    qr: str = "",
) -> QuotePage | None:
    """Build the quote of a job; None when the job has no plan or nobody is asked to pay.

    ``further`` are the targets of the second and third option, as far as they are chosen.
    """
    job = queries.find_job(session, number)
    if not job.targets or job.coverage is not Coverage.OWNER:
        return None
    outlook = Outlook(session, settings, now)
    sheet = procedures.sheet(session, job.revision_id)
    events = queries.events(session, job.id, kinds=("quoted", "approved", "declined", "planned"))
    quoted = next((event for event in events if event.kind == "quoted"), None)
    choices, problem = _choices(sheet, job, further)
    found = quote_options(session, job.revision_id, choices, settings, outlook.today)
    views = tuple(_option(sheet, one, n, settings.currency) for n, one in enumerate(found, start=1))
    worth = worth_repairing(views[0].quote.total, job.device_value, settings.repair_limit, settings.currency)
    promised = promise_view(outlook, job)
    return QuotePage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        options=views,
        units=_boxes(sheet, further),
        form=_prefilled(form, job, views, settings.currency),
        answer_form=_answer_prefilled(answer_form, job, promised, outlook.today),
        quoted=quoted,
        quoted_options=_quoted(quoted),
        answer=_answer(job, events),
        supervisor=role == "supervisor",
        worth=worth.words,
        beyond=worth.beyond,
        promise=promised,
        ready_on=_ready(quoted),
        problem=problem,
        qr=qr,
    )


def _choices(sheet: Sheet, job: JobDetail, further: Sequence[Sequence[str]]) -> tuple[list[tuple[str, ...]], str]:
    """Return the targets of each option, the plan in force first, and what is wrong with one that was left out."""
    known = {unit.id for unit in sheet.units}
    choices: list[tuple[str, ...]] = [job.targets]
    problem = ""
    for targets in further[: MOST_OPTIONS - 1]:
        chosen = tuple(unit for unit in dict.fromkeys(targets) if unit in known)
        if not chosen:
            continue
        if {*chosen} in ({*one} for one in choices):
            problem = "Two options exchange the same units. One of them is left out."
            continue
        choices.append(chosen)
    return choices, problem


def _option(sheet: Sheet, one: Option, no: int, currency: str) -> OptionView:
    beside = together = ""
    if no > 1:
        more, cost = len(one.more_steps), one.more_cost
        steps = "1 step more" if more == 1 else f"{more} steps more" if more else "No step more"
        fewer = f", {len(one.fewer_steps)} fewer" if one.fewer_steps else ""
        minutes = round(abs(one.more_s) / 60)
        price = f"{abs(cost)} {currency} {'more' if cost >= 0 else 'less'}"
        beside = f"{steps}{fewer}, {minutes} min {'more' if one.more_s >= 0 else 'less'}, {price} than option 1."
    if len(one.targets) > 1 and one.saved > 0:
        shared = "1 step is" if len(one.shared_steps) == 1 else f"{len(one.shared_steps)} steps are"
        together = f"{shared} shared and counted once: on visits of their own it would be {one.saved} {currency} more."
    return OptionView(
        no=no,
        targets=one.targets,
        names=unit_names(sheet, one.targets),
        down=len(one.plan.teardown),
        up=len(one.plan.refit),
        time=one.time,
        quote=one.quote,
        beside=beside,
        together=together,
    )


def _boxes(sheet: Sheet, further: Sequence[Sequence[str]]) -> tuple[UnitBox, ...]:
    freed = {step.frees for step in sheet.steps}
    two, three = (set(further[n]) if len(further) > n else set() for n in (0, 1))
    return tuple(
        UnitBox(unit.id, unit.name, unit.id in two, unit.id in three) for unit in sheet.units if unit.id in freed
    )


def _prefilled(form: Form[Any], job: JobDetail, views: Sequence[OptionView], currency: str) -> Form[Any]:
    proposed = {}
    for view in views:
        name = "amount" if view.no == 1 else f"amount_{view.no}"
        standing = job.quoted if view.no == 1 and job.stage.value == "quoted" and len(views) == 1 else None
        proposed[name] = f"{round_money(standing if standing is not None else view.quote.total, currency)}"
    return replace(form, values={**proposed, **form.values})


def _answer_prefilled(form: Form[Any], job: JobDetail, promised: PromiseView | None, today: date) -> Form[Any]:
    day = job.promised_on or (promised.day if promised else None)
    values = {"answered_on": today.isoformat(), "option": "1", "promised_on": day.isoformat() if day else ""}
    return replace(form, values={**values, **form.values})


def _answer(job: JobDetail, events: Sequence[EventRow]) -> EventRow | None:
    """Return the answer that stands: a plan made after one asks for a new one."""
    newest = next((event for event in events if event.kind != "planned"), None)
    if job.stage.value == "planned" or newest is None or newest.kind == "quoted":
        return None
    return newest


def _quoted(quoted: EventRow | None) -> tuple[QuotedOptionView, ...]:
    listed = quoted.data.get("options", ()) if quoted else ()
    return tuple(
        QuotedOptionView(
            n,
            tuple(one["names"]),
            Decimal(one["amount"]),
            Decimal(one["total"]) if one.get("total") else None,
            tuple((text, quantity, Decimal(amount)) for text, quantity, amount in one.get("lines", ())),
        )
        for n, one in enumerate(listed, start=1)
    )


def _ready(quoted: EventRow | None) -> date | None:
    day = (quoted.data.get("ready") or {}).get("p80") if quoted else None
    return date.fromisoformat(day) if day else None
