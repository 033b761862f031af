"""What the jobs room's forms take, as they are checked before an action sees them."""

from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import BaseModel, Field, StringConstraints, model_validator

from app.jobs.models import Coverage, DataWish

Line = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=120)]
Words = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500)]
Reason = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=300)]
Flag = Annotated[bool, Field(strict=False)]
OtherDevice = Literal["", "mistyped", "shared label"]
Price = Annotated[Decimal, Field(gt=0, le=1_000_000, decimal_places=4)]


class BookingForm(BaseModel):
    """The counter's form: eight things are asked, three more may be noted."""

    device_model: int
    serial: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]
    fault: Words = ""
    fault_word: tuple[str, ...] = ()
    condition: Annotated[Words, StringConstraints(min_length=1)]
    owner_ref: Line
    coverage: Coverage
    data_wish: DataWish
    consent: Flag = False
    in_box: Annotated[str, StringConstraints(strip_whitespace=True, max_length=300)] = ""
    promised_on: date | None = None
    device_value: Annotated[Decimal, Field(ge=0, le=1_000_000, decimal_places=4)] | None = None
    another_device: OtherDevice = ""

    def faults(self) -> str:
        """Return the tapped fault words and what was written, as one text."""
        return "; ".join([*dict.fromkeys(w.strip() for w in self.fault_word), *([self.fault] if self.fault else [])])

    @model_validator(mode="after")
    def _fault_is_not_too_long(self) -> "BookingForm":
        if len(self.faults()) > 500:
            raise ValueError("The fault has more than 500 characters; shorten it")
        return self


class CorrectionForm(BaseModel):
    """What should have been written down when the device came in, and why."""

    version: int
    serial: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]
    owner_ref: Line
    reason: Reason
    another_device: OtherDevice = ""


class SafetyForm(BaseModel):
    """The make-safe questions."""

    version: int
    cell: Annotated[str, StringConstraints(max_length=24)]
    cautions: Flag = False
    strap: Flag = False
    mat: Flag = False
    note: Annotated[str, StringConstraints(strip_whitespace=True, max_length=300)] = ""


class PlanForm(BaseModel):
    """The plan that is used: the units it is for, and the day that is promised with it."""

    version: int
    targets: tuple[str, ...] = ()
    promised_on: date | None = None


class ReplanForm(BaseModel):
    """A new plan in mid-work: all its units, and who agreed to what it adds."""

    version: int
    targets: tuple[str, ...] = ()
    by: Annotated[str, StringConstraints(strip_whitespace=True, max_length=120)] = ""
    means: Annotated[str, StringConstraints(strip_whitespace=True, max_length=120)] = ""
    amount: Annotated[Decimal, Field(ge=0, le=1_000_000, decimal_places=4)] | None = None


class PromiseForm(BaseModel):
    """Another day for a job, and why."""

    version: int
    promised_on: date
    reason: Reason


class SiteDayForm(BaseModel):
    """A day of the site's own."""

    day: date
    name: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]
    kind: Literal["closed", "open"]


class SparesForm(BaseModel):
    """Spares to plan for a step: pieces per hundred on the sheet, and why."""

    percent: Annotated[Decimal, Field(ge=0, le=1000, decimal_places=2)]
    reason: Reason


class WithdrawForm(BaseModel):
    """Why no spares are planned any more."""

    why: Reason


class QuoteForm(BaseModel):
    """The amount the owner is asked for, and the further options with theirs."""

    version: int
    amount: Price
    two: tuple[str, ...] = ()
    amount_2: Price | None = None
    three: tuple[str, ...] = ()
    amount_3: Price | None = None
    note: Annotated[str, StringConstraints(strip_whitespace=True, max_length=300)] = ""


class AnswerForm(BaseModel):
    """The owner's answer to a quote: which option, by whom, by which means, and the day that is promised with it."""

    version: int
    approved: Flag
    option: Annotated[int, Field(ge=1, le=3)] = 1
    promised_on: date | None = None
    by: Line
    means: Line
    answered_on: date
    note: Annotated[str, StringConstraints(strip_whitespace=True, max_length=300)] = ""


class HoldForm(BaseModel):
    """Why a job cannot go on."""

    version: int
    hold: Annotated[str, StringConstraints(max_length=24)]
    reason: Reason


class ReasonForm(BaseModel):
    """A reason that stays with the record."""

    version: int
    reason: Reason


class AsideForm(BaseModel):
    """Why an entry from a tablet is not booked."""

    reason: Reason


class PickRow(BaseModel):
    """One line of the pick list: which lot at which place, how many, which serials."""

    part: Annotated[str, StringConstraints(max_length=32)]
    place: Annotated[str, StringConstraints(pattern=r"^\d{1,12}:\d{1,12}$")]
    quantity: Annotated[int, Field(ge=0, le=100_000)]
    serials: Annotated[str, StringConstraints(strip_whitespace=True, max_length=2000)] = ""

    @property
    def lot_id(self) -> int:
        """The lot that is picked."""
        return int(self.place.partition(":")[0])

    @property
    def location_id(self) -> int:
        """Where it lies."""
        return int(self.place.partition(":")[2])

    @property
    def serial_list(self) -> tuple[str, ...]:
        """The serials, which may be separated by spaces, commas or lines."""
        return tuple(self.serials.replace(",", " ").replace(";", " ").split())


class ScanPickForm(BaseModel):
    """A line of the pick list confirmed by a label or by typing; ``take`` empty for the whole line."""

    code: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=300)]
    take: Annotated[int | None, Field(ge=1, le=100_000)] = None
    any_lot: bool = False


class ShortPickForm(BaseModel):
    """A line that was short on the shelf: ``line`` is part, lot, place and wanted quantity."""

    line: Annotated[str, StringConstraints(pattern=r"^[^|]{1,32}\|\d{1,12}:\d{1,12}\|\d{1,6}$")]
    found: Annotated[int, Field(ge=0, le=100_000)]
    reason: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=300)]

    @property
    def part(self) -> str:
        """The part's number."""
        return self.line.split("|")[0]

    @property
    def lot_id(self) -> int:
        """The lot that was looked for."""
        return int(self.line.split("|")[1].partition(":")[0])

    @property
    def location_id(self) -> int:
        """Where it should lie."""
        return int(self.line.split("|")[1].partition(":")[2])

    @property
    def wanted(self) -> int:
        """How many the line says."""
        return int(self.line.split("|")[2])


class PairForm(BaseModel):
    """A part and its alternate, as the kit's page names them."""

    pair: Annotated[str, StringConstraints(pattern=r"^[^|]{1,32}\|[^|]{1,32}$")]

    @property
    def parts(self) -> tuple[str, str]:
        """The part that is wanted, and the one that stands in."""
        wanted, _, alternate = self.pair.partition("|")
        return wanted, alternate


class AlternateForm(PairForm):
    """An approved alternate in place of a part that is short."""

    alternate_quantity: Annotated[int, Field(ge=1, le=100_000)]
    alternate_reason: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=300)]


class BackForm(BaseModel):
    """Pieces of a lot that come back unused."""

    back_lot: int
    back_quantity: Annotated[int, Field(ge=1, le=100_000)]
    back_reason: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=300)]
    back_serials: Annotated[str, StringConstraints(strip_whitespace=True, max_length=2000)] = ""

    @property
    def serial_list(self) -> tuple[str, ...]:
        """The serials, which may be separated by spaces or commas."""
        return tuple(self.back_serials.replace(",", " ").split())


class TroubleForm(BaseModel):
    """A report of trouble at the bench; ``part`` is the new part where the sheet names none."""

    kind: Literal["damage", "absent", "lost", "spoiled", "leftover"]
    item: Annotated[str, Field(max_length=110)] = ""
    count: Annotated[int, Field(ge=1, le=200)] = 1
    part: Annotated[str, StringConstraints(strip_whitespace=True, to_upper=True, max_length=32)] = ""
    note: Annotated[str, Field(max_length=500)] = ""


class SignForm(BaseModel):
    """The signature under a count, or the word to close: the version of the job that was seen."""

    version: int


class OverrideForm(BaseModel):
    """A supervisor's override of a count: by name, passphrase and reason."""

    scope: Literal["final", "cover"] = "final"
    name: Line
    secret: Annotated[str, StringConstraints(min_length=1, max_length=200)]
    reason: Reason


class ReleaseTestForm(BaseModel):
    """The result of one release test; which of the fields are needed follows from the test."""

    test: Annotated[str, StringConstraints(max_length=48)]
    accepted: bool | None = None
    reading: Annotated[Decimal, Field(ge=-1_000_000, le=1_000_000, decimal_places=6)] | None = None
    second_name: Annotated[str, StringConstraints(strip_whitespace=True, max_length=120)] = ""
    second_secret: Annotated[str, StringConstraints(max_length=200)] = ""
    note: Annotated[str, StringConstraints(strip_whitespace=True, max_length=300)] = ""


ClockMs = Annotated[int, Field(ge=-(2**53), le=2**53)]
"""Milliseconds as a tablet's clocks give them, Unix time or the page's own; whole numbers that JavaScript can hold."""


class Clocks(BaseModel):
    """What a tablet's clocks show at one moment, and which life of the page it is."""

    wall_ms: ClockMs
    mono_ms: ClockMs
    life: UUID


class ScannedPart(BaseModel):
    """A lot's label as it was scanned at the fit step."""

    part: Annotated[str, Field(min_length=1, max_length=32)]
    lot: Annotated[str, Field(min_length=1, max_length=48)]


class TapData(BaseModel):
    """What an entry says, by its kind; what a kind does not use is left out."""

    reason: Annotated[str, Field(max_length=120)] = ""
    undoes: Annotated[str, Field(max_length=36)] = ""
    report: Literal["", "damage", "absent", "lost", "spoiled", "leftover", "reject"] = ""
    item: Annotated[str, Field(max_length=110)] = ""
    count: Annotated[int, Field(ge=1, le=200)] = 1
    part: Annotated[str, StringConstraints(strip_whitespace=True, to_upper=True, max_length=32)] = ""
    inspection: Annotated[str, Field(max_length=100)] = ""
    note: Annotated[str, Field(max_length=500)] = ""
    rejects: Annotated[list[Annotated[str, Field(max_length=100)]], Field(max_length=20)] = []
    old_serial: Annotated[str, Field(max_length=48)] = ""
    scanned: Annotated[list[ScannedPart], Field(max_length=50)] = []
    place: Annotated[int, Field(ge=0, le=200)] = 0
    on: bool = True
    counted: dict[int, Annotated[int, Field(ge=0, le=200)]] = {}
    step: Annotated[str, Field(max_length=48)] = ""
    of: Annotated[str, Field(max_length=36)] = ""
    caption: Annotated[str, Field(max_length=120)] = ""


TapKind = Literal["open", "pause", "tick", "turn", "undo", "report", "take_back", "recount", "place", "photo"]


class OutboxEntry(Clocks):
    """One entry from a tablet's outbox: one thing that was tapped, with the clocks at the tap.

    ``device`` is the id of the tablet's store and ``seq`` its count of entries from 1; ``base`` the version of the job
    that the tablet stood on. ``sent``, ``waiting`` and ``waiting_since_ms`` belong to the sending, not to the entry:
    they differ each time it is sent.
    """

    id: UUID
    device: UUID
    seq: Annotated[int, Field(ge=1, le=2**31 - 1)]
    job: Annotated[str, Field(min_length=1, max_length=16)]
    kind: TapKind
    side: Literal["", "down", "up"] = ""
    step: Annotated[str, Field(max_length=48)] = ""
    base: Annotated[int, Field(ge=0, le=2**31 - 1)] = 0
    data: TapData = TapData()
    sent: Clocks
    waiting: Annotated[int, Field(ge=0, le=1_000_000)] = 0
    waiting_since_ms: ClockMs | None = None

    def content(self) -> dict[str, Any]:
        """Return what identifies the entry's content: everything but what belongs to the sending."""
        return self.model_dump(mode="json", exclude={"sent", "waiting", "waiting_since_ms"}, exclude_defaults=True)
