"""A workshop for the jobs' tests: parts, stock, the field recorder's procedure, and a job up to its kit, by actions."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from sqlmodel import Session

from app.jobs.actions.book_in import Booking, book_in
from app.jobs.actions.choose_targets import use_plan
from app.jobs.actions.issue_kit import hand_out_kit
from app.jobs.actions.make_safe import SafetyAnswers, make_safe
from app.jobs.actions.quote import Answer, answer_quote, send_quote
from app.jobs.models import Coverage, DataWish
from app.jobs.queries import jobs as queries
from app.jobs.queries.kit import handed_lots, outstanding
from app.platform.clock import uuid7
from app.platform.settings import Settings
from app.procedures import queries as procedures
from app.procedures.actions import import_sheets
from app.procedures.files import SheetFile
from app.stores import actions as stores
from app.stores import queries as shelf
from app.stores.actions import Pick
from tests.jobs.sheets import PARTS, recorder_file

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
KEEPS_UNTIL = date(2027, 12, 31)
TECHNICIAN, SECOND, CLERK, SUPERVISOR = 1, 2, 3, 4
"""Ids of the standing cast, in the order the fixtures add them."""

PRICES: Mapping[str, str] = {
    "F-100": "31.80", "F-110": "12.40", "F-210": "0.0825", "F-211": "0.1175", "F-220": "2.35", "F-230": "7.95",
    "F-310": "1.845", "F-320": "0.64", "F-330": "0.155", "F-340": "0.0333", "F-400": "0.50",
}  # fmt: skip


def stock_catalogue(session: Session, at: datetime = START) -> None:
    """Bring the catalogue in: every part of the procedure, from one supplier, in two places. Nothing is on the shelf.

    Cells are tracked by serial; seals and strips keep for a year.
    """
    suppliers = [{"code": "KLP", "name": "Kelp Spares", "email": "", "address": ""}]
    places = [
        {"code": "A-01", "name": "Units", "walk_order": "10"},
        {"code": "B-01", "name": "Small parts", "walk_order": "20"},
    ]
    rows = [
        {
            "number": number, "name": f"Part {number}", "unit": "each", "supplier": "KLP", "price": PRICES[number],
            "location": "A-01" if number in ("F-100", "F-110") else "B-01", "lead_time_days": "5",
            "serial_tracked": "1" if number == "F-100" else "",
            "shelf_life_days": "365" if number in ("F-310", "F-320") else "",
        }
        for number in PARTS
    ]  # fmt: skip
    report = stores.import_catalogue(session, suppliers, places, rows, entry_id=uuid7(at), at=at, who=None)
    assert not report.errors, report.errors


def receive(
    session: Session,
    part: str,
    quantity: int,
    lot: str = "",
    cost: str | None = None,
    expires: date | None = None,
    at: datetime = START,
) -> int:
    """Put stock on the shelf, by default at the catalogue price; returns the lot's id."""
    if expires is None and part in ("F-310", "F-320"):
        expires = KEEPS_UNTIL
    price = Decimal(cost or PRICES[part])
    return stores.receive_loose(
        session, part, lot, expires, quantity, price, None, "opening stock", entry_id=uuid7(at), at=at, who=CLERK
    )


def publish(session: Session, at: datetime = START, file: SheetFile | None = None) -> int:
    """Publish the field recorder's procedure, or the form of it given; returns the device model's id."""
    import_sheets(session, [file or recorder_file()], shelf.known_numbers(session), at, SUPERVISOR)
    return next(m.id for m in procedures.device_models(session) if m.code == "field-recorder")


def set_up(session: Session, quantity: int = 20, at: datetime = START, file: SheetFile | None = None) -> int:
    """Bring catalogue, stock (the same quantity of every part) and procedure in; returns the device model's id."""
    stock_catalogue(session, at)
    for part in PARTS:
        if quantity:
            receive(session, part, quantity, f"L-{part}", at=at)
    return publish(session, at, file)


def version_of(session: Session, number: str) -> int:
    """Return the version of a job as it stands."""
    return queries.find_job(session, number).version


def picks_for(session: Session, number: str, wants: Mapping[str, int], today: date) -> list[Pick]:
    """Return picks for a job, first expired first, with a made-up serial for each tracked piece.

    A serial carries the job and how many tracked pieces it has, so that no two are the same.
    """
    found = []
    job = queries.find_job(session, number)
    had = sum(len(lot.serials) for lot in handed_lots(session, job.id))
    for pick in shelf.propose_picks(session, wants, today):
        serials: tuple[str, ...] = ()
        if pick.part_number == "F-100":
            serials = tuple(f"C{number[-3:]}-{had + n}" for n in range(pick.quantity))
            had += pick.quantity
        found.append(Pick(pick.part_number, pick.lot_id, pick.location_id, pick.quantity, serials))
    return found


@dataclass
class BenchShop:
    """A job's way to its kit, a minute an action. ``now`` is the shop's clock; each call moves it on."""

    session: Session
    model_id: int
    settings: Settings = field(default_factory=Settings)
    now: datetime = START

    def at(self, minutes: float = 1) -> datetime:
        """Move the clock on and return it."""
        self.now += timedelta(minutes=minutes)
        return self.now

    def book(self, serial: str = "FR-1001", coverage: Coverage = Coverage.WARRANTY) -> str:
        """Book a device in and return the job's number."""
        booking = Booking(
            self.model_id, serial, "No sound", "Scratched", "Harbour office 12", coverage, DataWish.KEEP, True,
            another_device="shared label",
        )  # fmt: skip
        return book_in(self.session, booking, at=self.at(), who=TECHNICIAN, event_id=uuid7())

    def safe(self, number: str) -> None:
        """Answer the make-safe questions: all is well."""
        answers = SafetyAnswers("sound", cautions=True, strap=True, mat=True)
        version = version_of(self.session, number)
        make_safe(self.session, number, version, answers, at=self.at(), who=TECHNICIAN, event_id=uuid7())

    def plan(self, number: str, targets: Collection[str] = ("cell", "speaker")) -> Mapping[str, int]:
        """Use the plan for these targets; returns what is short."""
        version = version_of(self.session, number)
        return use_plan(self.session, number, version, targets, at=self.at(), who=TECHNICIAN, event_id=uuid7())

    def agree(self, number: str, amount: str = "120.00") -> None:
        """Quote and have it approved."""
        version = version_of(self.session, number)
        price = Decimal(amount)
        send_quote(
            self.session, number, version, price, self.settings, at=self.at(), who=SUPERVISOR, event_id=uuid7()
        )  # fmt: skip
        answer = Answer(True, "Mate of the harbour office", "by telephone", self.now.date())
        answer_quote(
            self.session, number, version + 1, answer, self.settings, at=self.at(), who=SUPERVISOR, event_id=uuid7()
        )

    def hand_out(self, number: str) -> None:
        """Hand out whatever the job still needs and the shelf has promised it."""
        waits = outstanding(self.session, queries.find_job(self.session, number).id)
        promised = shelf.reserved_for(self.session, f"job:{number}")
        wants = {part: min(count, promised.get(part, 0)) for part, count in waits.items() if promised.get(part)}
        picks = picks_for(self.session, number, wants, self.now.date())
        hand_out_kit(self.session, number, picks, at=self.at(), who=CLERK, event_id=uuid7())

    def kitted(
        self,
        targets: Collection[str] = ("cell", "speaker"),
        serial: str = "FR-1001",
        coverage: Coverage = Coverage.WARRANTY,
    ) -> str:
        """Bring a job from the counter to its kit and return its number."""
        number = self.book(serial, coverage)
        self.safe(number)
        self.plan(number, targets)
        if coverage is Coverage.OWNER:
            self.agree(number)
        self.hand_out(number)
        return number
