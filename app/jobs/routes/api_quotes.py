"""JSON API: quotes with their options, the promise and what has become of it, a new plan in mid-work."""

from datetime import date
from decimal import Decimal
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field

from app.jobs.actions.close import today
from app.jobs.actions.extend_plan import Agreement, extend_plan
from app.jobs.pages import promising, quoting, replanning
from app.people.access import ApiBench, ApiEverybody
from app.people.models import Role
from app.platform import clock
from app.platform.errors import AlreadyDone, NotFound, Refused
from app.platform.forms import blank
from app.platform.submissions import SubmissionId, claim, settle
from app.platform.web import Db, SiteSettings
from app.rules.quoting import Quote

router = APIRouter(prefix="/api/v1", tags=["jobs"])
Units = Annotated[list[str] | None, Query(max_length=100)]


class LineBody(BaseModel):
    """One line of a price: pieces, or seconds of bench time; ``amount`` is rounded to the currency's minor unit."""

    kind: str
    part: str
    text: str
    quantity: int
    unit_price: Decimal
    amount: Decimal


class PriceBody(BaseModel):
    """A price with its lines. ``unpriced`` are parts without a price: the total is not whole without them."""

    lines: list[LineBody]
    net: Decimal
    tax: Decimal
    total: Decimal
    currency: str
    unpriced: list[str]


class OptionBody(BaseModel):
    """One option of a quote; ``beside`` says what it is against the first."""

    targets: list[str]
    median_s: int
    p80_s: int
    price: PriceBody
    beside: str
    together: str


class QuoteBody(BaseModel):
    """The quote of a job as it comes to now, and what was quoted and answered."""

    options: list[OptionBody]
    worth: str
    beyond_repair: bool
    quoted: Decimal | None
    answer: str | None
    answered_by: str | None
    option: int | None
    ready_by: date | None


class PromiseBody(BaseModel):
    """The promise of a job: the day given, the day as it looks now, and why. ``late_days`` are working days."""

    promised_on: date | None
    earliest: date | None
    ready_by: date | None
    because: list[str]
    late_days: int
    words: str


class ExtensionBody(BaseModel):
    """What a new plan in mid-work adds, as titles of steps, parts and money; nothing is changed by asking."""

    targets: list[str]
    words: str
    added: list[str]
    again: list[str]
    dropped: list[str]
    parts: dict[str, int]
    fewer: dict[str, int]
    added_s: int
    price: PriceBody
    owner_must_agree: bool


class NewExtension(BaseModel):
    """Use a new plan in mid-work. Where the owner pays more: who agreed, by which means, to which amount."""

    id: SubmissionId
    version: int
    targets: Annotated[list[str], Field(min_length=1, max_length=100)]
    by: Annotated[str, Field(max_length=120)] = ""
    means: Annotated[str, Field(max_length=120)] = ""
    amount: Annotated[Decimal, Field(ge=0, le=1_000_000, decimal_places=4)] | None = None


def _price(found: Quote) -> PriceBody:
    lines = [
        LineBody(
            kind=line.kind, part=line.part, text=line.text, quantity=line.quantity, unit_price=line.unit_price,
            amount=line.amount,
        )
        for line in found.lines
    ]  # fmt: skip
    return PriceBody(
        lines=lines,
        net=found.net,
        tax=found.tax,
        total=found.total,
        currency=found.currency,
        unpriced=list(found.unpriced),
    )


@router.get("/jobs/{number}/quote")
def get_quote(
    db: Db, settings: SiteSettings, caller: ApiEverybody, number: str, two: Units = None, three: Units = None
) -> QuoteBody:
    """Return the quote of a job whose owner pays, with further options to compare; 404 where nobody is asked."""
    with db.read() as session:
        found = quoting.quote_page(
            session, number, blank(), blank(), settings, clock.now(), caller.role.value, (two or (), three or ())
        )
    if found is None:
        raise NotFound(f"quote of job {number}")
    data = found.answer.data if found.answer else {}
    return QuoteBody(
        options=[
            OptionBody(
                targets=list(one.targets),
                median_s=one.time.median_s,
                p80_s=one.time.p80_s,
                price=_price(one.quote),
                beside=one.beside,
                together=one.together,
            )
            for one in found.options
        ],
        worth=found.worth,
        beyond_repair=found.beyond,
        quoted=found.job.quoted,
        answer=found.answer.kind if found.answer else None,
        answered_by=data.get("by"),
        option=int(data["option"]) if data.get("option") else None,
        ready_by=found.promise.day if found.promise else None,
    )


@router.get("/jobs/{number}/promise")
def get_promise(db: Db, settings: SiteSettings, caller: ApiEverybody, number: str) -> PromiseBody:
    """Return the promise of a job and what has become of it."""
    with db.read() as session:
        found = promising.promise_page(session, number, blank(), settings, clock.now(), caller.role.value)
    return PromiseBody(
        promised_on=found.job.promised_on,
        earliest=found.now.earliest if found.now else None,
        ready_by=found.now.day if found.now else None,
        because=list(found.slipped.because if found.slipped and found.slipped.late else found.now.because)
        if found.now
        else [],
        late_days=found.slipped.days if found.slipped else 0,
        words=found.slipped.words if found.slipped else "",
    )


@router.get("/jobs/{number}/replan")
def get_extension(
    db: Db, settings: SiteSettings, caller: ApiBench, number: str, targets: Annotated[list[str], Query(max_length=100)]
) -> ExtensionBody:
    """Return what a new plan for these units would add from where the device stands."""
    with db.read() as session:
        found = replanning.replan_page(session, number, targets, blank(), settings, clock.now(), caller.role.value)
    if found.view is None:
        raise Refused(found.blocked, "targets")
    view = found.view
    return ExtensionBody(
        targets=list(view.targets),
        words=view.words,
        added=[step.title for step in view.added],
        again=[step.title for step in view.again],
        dropped=list(view.dropped),
        parts={part.number: part.count for part in view.parts},
        fewer=dict(view.fewer),
        added_s=view.more_s,
        price=_price(view.cost),
        owner_must_agree=found.ask_owner,
    )


@router.post("/jobs/{number}/replan")
def use_extension(db: Db, settings: SiteSettings, caller: ApiBench, number: str, body: NewExtension) -> PromiseBody:
    """Go on with a new plan; returns the promise of the job as it looks then."""
    at = clock.now()
    try:
        with db.write() as session:
            content = {"replan": number, **body.model_dump(mode="json", exclude={"id"})}
            key = claim(session, body.id, content, caller.person_id, at)
            extend_plan(
                session,
                number,
                body.version,
                body.targets,
                settings,
                at=at,
                who=caller.person_id,
                event_id=key,
                supervisor=caller.role is Role.SUPERVISOR,
                agreement=Agreement(body.by, body.means, body.amount),
                today=today(at, settings),
            )
            settle(session, key, f"/api/v1/jobs/{number}")
    except AlreadyDone:
        pass  # The same again: its outcome stands.
    return get_promise(db, settings, caller, number)
