"""What the jobs room's forms take, as they are checked before an action sees them."""

from datetime import date
from decimal import Decimal
from typing import Annotated, Literal

from pydantic import BaseModel, Field, StringConstraints, model_validator

from app.jobs.models import Coverage, DataWish

Line = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=120)]
Words = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500)]
Reason = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=300)]
Flag = Annotated[bool, Field(strict=False)]


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

    def faults(self) -> str:
        """Return the tapped fault words and what was written, as one text."""
        return "; ".join([*dict.fromkeys(w.strip() for w in self.fault_word), *([self.fault] if self.fault else [])])

    @model_validator(mode="after")
    def _fault_is_not_too_long(self) -> "BookingForm":
        if len(self.faults()) > 500:
            raise ValueError("The fault has more than 500 characters; shorten it")
        return self


class SafetyForm(BaseModel):
    """The make-safe questions."""

    version: int
    cell: Annotated[str, StringConstraints(max_length=24)]
    cautions: Flag = False
    strap: Flag = False
    mat: Flag = False
    note: Annotated[str, StringConstraints(strip_whitespace=True, max_length=300)] = ""


class PlanForm(BaseModel):
    """The plan that is used: the units it is for."""

    version: int
    targets: tuple[str, ...] = ()


class QuoteForm(BaseModel):
    """The amount the owner is asked for."""

    version: int
    amount: Annotated[Decimal, Field(gt=0, le=1_000_000, decimal_places=4)]
    note: Annotated[str, StringConstraints(strip_whitespace=True, max_length=300)] = ""


class AnswerForm(BaseModel):
    """The owner's answer to a quote."""

    version: int
    approved: Flag
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
