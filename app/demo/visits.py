"""One device on one visit, from the counter to the end, as a story that yields when it goes on."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from app.demo import bench
from app.demo.bench import BenchWork, Luck
from app.demo.workshop import Model, Technician, Workshop
from app.jobs.actions.book_in import Booking, book_in
from app.jobs.actions.choose_targets import use_plan
from app.jobs.actions.make_safe import SafetyAnswers, make_safe
from app.jobs.actions.promising import promise_with
from app.jobs.actions.quote import Answer, QuotedOption, answer_quote, return_unrepaired, send_quote
from app.jobs.actions.record import load_job
from app.jobs.models import Coverage, DataWish, Hold, Stage
from app.jobs.queries.outlook import Outlook
from app.jobs.queries.pricing import amounts, quote_options
from app.procedures import queries as procedures
from app.procedures.queries import FaultWord

CONDITIONS = (
    "Scratches on the back, corners worn",
    "Salt marks at the seam",
    "Clean, label readable",
    "Paint on the frame, screen whole",
    "Corner knocked, frame straight",
    "Sticky round the keys",
)
IN_BOX = ("", "", "Charger", "Holster", "Hand strap", "Charger and holster")
OWNERS = (
    "Bridge, ferry Tarnholm", "Car deck, ferry Tarnholm", "Galley, ferry Tarnholm", "Bridge, ferry Skarvø",
    "Car deck, ferry Skarvø", "Pursers, ferry Skarvø", "Bridge, ferry Lomvika", "Car deck, ferry Lomvika",
    "Terminal north, gate crew", "Terminal south, gate crew", "Ticket office, terminal north",
)  # fmt: skip
OUTSIDE = (
    "Pilot station, desk 2", "Harbour office, quay 4", "Tug crew, Vesle Knut", "Fish auction, floor hands",
)  # fmt: skip
# How often a unit is what failed, beside the others of its device.
OFTEN = {"cell": 10, "display": 4, "main-board": 1, "keypad": 2}
APPROVERS = ("the office manager", "the shift leader", "the owner")


@dataclass(frozen=True)
class Arrival:
    """Why a device comes in: what it is, what ails it, what will be replaced, who pays."""

    model: Model
    serial: str
    fault: FaultWord
    targets: tuple[str, ...]
    coverage: Coverage
    owner: str


def draw(shop: Workshop, code: str) -> Arrival:
    """Draw a device of a model, and its fault. Cells and glass fail most; some devices come back."""
    model = next(m for m in shop.models if m.info.code == code)
    weights = [OFTEN.get(f.unit or "", 3) for f in model.faults]
    fault = shop.chance.choices(model.faults, weights=weights)[0]
    first = fault.unit or "cell"
    targets = [first]
    if shop.happens(0.06):
        other = shop.chance.choice(model.faults).unit
        if other and other not in targets:
            targets.append(other)
    coverage = shop.chance.choices(tuple(Coverage), weights=[24, 16, 60])[0]
    owner = shop.chance.choice(OUTSIDE if coverage is Coverage.OWNER else OWNERS)
    return Arrival(model, shop.free_serial(model), fault, tuple(targets), coverage, owner)


def luck_of(shop: Workshop) -> Luck:
    """Draw what will go wrong. Figures are of a careful bench: most jobs pass without trouble."""
    return Luck(
        damage=shop.happens(0.06),
        absent=shop.happens(0.03),
        spoiled=shop.happens(0.03),
        reject=shop.happens(0.05),
        leftover=shop.happens(0.012),
        undo=shop.happens(0.05),
        failed_test=shop.happens(0.035),
        takeover=shop.happens(0.04),
    )


def book(shop: Workshop, arrival: Arrival, at: datetime, who: int | None = None) -> str:
    """Book the device in at the counter and return the job's number."""
    booking = Booking(
        device_model_id=arrival.model.info.id,
        serial=arrival.serial,
        fault=arrival.fault.words,
        condition=shop.chance.choice(CONDITIONS),
        owner_ref=arrival.owner,
        coverage=arrival.coverage,
        data_wish=shop.chance.choices(tuple(DataWish), weights=[6, 1, 2])[0],
        consent=True,
        in_box=shop.chance.choice(IN_BOX),
        promised_on=shop.today(at) + timedelta(days=shop.chance.randrange(4, 11)),
        device_value=Decimal(shop.chance.randrange(16, 45) * 10) if arrival.coverage is Coverage.OWNER else None,
        # Told only where the device's serial is in the workshop already: with far more jobs than a year's.
        another_device="shared label",
    )
    return book_in(shop.session, booking, at=at, who=who or shop.staff.clerk, event_id=shop.id(at))


def secure(shop: Workshop, number: str, at: datetime, who: int, cell: str = "sound") -> bool:
    """Answer the make-safe questions; returns whether the job may go on."""
    answers = SafetyAnswers(cell=cell, cautions=True, strap=True, mat=True)
    return make_safe(shop.session, number, shop.version(number), answers, at=at, who=who, event_id=shop.id(at))


def plan(shop: Workshop, number: str, targets: tuple[str, ...], at: datetime, who: int) -> None:
    """Use the plan for the targets; its kit is reserved."""
    use_plan(
        shop.session, number, shop.version(number), targets,
        at=at, who=who, event_id=shop.id(at), today=shop.today(at),
    )  # fmt: skip


def quote(shop: Workshop, number: str, at: datetime, further: tuple[str, ...] = ()) -> None:
    """Send the owner a quote of what its lines come to; with ``further`` units as a second option."""
    job = load_job(shop.session, number)
    sheet = procedures.sheet(shop.session, job.revision_id)
    choices = [tuple(job.targets), *([(*job.targets, *further)] if further else [])]
    found = quote_options(shop.session, job.revision_id, choices, shop.settings, shop.today(at))
    names = {unit.id: unit.name for unit in sheet.units}
    options = [
        QuotedOption(
            one.targets, tuple(names[unit] for unit in one.targets), one.quote.total,
            tuple((text, quantity, amount) for text, quantity, amount in amounts(one.quote)), one.quote.total,
            one.time.median_s, one.time.p80_s,
        )
        for one in found
    ]  # fmt: skip
    send_quote(
        shop.session, number, shop.version(number), options[0].amount, shop.settings,
        at=at, who=shop.staff.supervisor, event_id=shop.id(at), options=options,
    )  # fmt: skip


def promise(shop: Workshop, number: str, at: datetime) -> None:
    """Promise the day that the bench makes of it, in the place of the one that was guessed at the counter."""
    job = load_job(shop.session, number)
    shop.session.flush()
    found = Outlook(shop.session, shop.settings, at).of(job.id or 0)
    if found is not None and found.p80 is not None:
        promise_with(
            shop.session, job, found.p80, shop.settings,
            at=at, who=shop.staff.supervisor, event_id=shop.id(at), why="With the plan",
        )  # fmt: skip


def answer(shop: Workshop, number: str, at: datetime, *, approved: bool) -> None:
    """Note the owner's answer."""
    said = Answer(
        approved=approved,
        by=shop.chance.choice(APPROVERS),
        means=shop.chance.choice(("telephone", "e-mail", "at the counter")),
        answered_on=shop.today(at),
        note="" if approved else "Not worth it for this one.",
    )
    answer_quote(
        shop.session, number, shop.version(number), said, shop.settings,
        at=at, who=shop.staff.supervisor, event_id=shop.id(at), today=shop.today(at),
    )  # fmt: skip


def visit(shop: Workshop, arrival: Arrival, at: datetime) -> Iterator[datetime]:
    """Tell a whole visit."""
    number = book(shop, arrival, at)
    at = shop.later(at, 20, 240)
    yield at
    helper = shop.chance.choice(shop.staff.technicians).id
    if shop.happens(0.02):
        yield from _swollen(shop, number, at, helper)
        return
    secure(shop, number, at, helper)
    at = shop.later(at, 3, 20)
    plan(shop, number, arrival.targets, at, helper)
    if arrival.coverage is Coverage.OWNER:
        at = shop.later(at, 10, 90)
        yield at
        quote(shop, number, at)
        at = shop.later(at, 60, 2 * 24 * 60)
        yield at
        approved = not shop.happens(0.14)
        answer(shop, number, at, approved=approved)
        if not approved:
            shop.finished += 1
            return
    yield from repair(shop, number, at)
    shop.finished += 1


def _swollen(shop: Workshop, number: str, at: datetime, who: int) -> Iterator[datetime]:
    """A swollen cell: a safety hold, and days later the device goes back with its cell removed by others."""
    secure(shop, number, at, who, cell="swollen")
    at = shop.later(at, 24 * 60, 4 * 24 * 60)
    yield at
    return_unrepaired(
        shop.session, number, shop.version(number),
        "Cell swollen; the device went to the waste carrier in the cell box, the owner has a spare.",
        shop.settings, at=at, who=shop.staff.supervisor, event_id=shop.id(at),
    )  # fmt: skip
    shop.finished += 1


def get_kit(shop: Workshop, number: str, at: datetime) -> Iterator[datetime]:
    """Hand the kit out, waiting for parts as long as it takes; the last moment yielded is when it was complete."""
    at = shop.later(at, 15, 120)
    yield at
    while True:
        job = load_job(shop.session, number)
        if job.hold is not Hold.PARTS:
            bench.hand_out(shop, number, at)
        if job.stage is Stage.KITTED:
            return
        at = shop.working(at + timedelta(days=1))
        yield at


def repair(shop: Workshop, number: str, at: datetime) -> Iterator[datetime]:
    """Kit, bench, count, tests, close; after a failed test once more from the plan."""
    luck = luck_of(shop)
    while True:
        for moment in get_kit(shop, number, at):
            at = moment
            yield at
        technician: Technician | None = None
        for found in bench.take_seat(shop, shop.later(at, 10, 200)):
            if isinstance(found, Technician):
                technician = found
                break
            at = found
            yield at
        assert technician is not None
        job = BenchWork(shop, number, technician, at, luck)
        yield from at_bench(job)
        if load_job(shop.session, number).stage is Stage.CLOSED:
            job.technician.busy = False
            return
        # A release test failed: the same units once more, with what the bench has learnt.
        targets = tuple(job.state().targets)
        job.technician.busy = False
        at = shop.later(job.at, 5, 30)
        yield at
        plan(shop, number, targets, at, job.technician.id)
        luck = Luck()


def at_bench(job: BenchWork) -> Iterator[datetime]:
    """Do a whole pass at the bench, and close the job when its tests pass."""
    bench.open_bench(job)
    bench.before_teardown(job)
    yield from bench.teardown(job)
    yield from bench.refit(job)
    yield from bench.count(job)
    if bench.run_tests(job):
        bench.finish(job)
