"""What the JSON API of the bench takes and answers."""

from datetime import datetime
from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field

from app.jobs.models import Stage
from app.platform.submissions import SubmissionId

EventId = SubmissionId
Scope = Literal["final", "cover"]


class EventItem(BaseModel):
    """One entry of a job's record. ``data`` is what the entry says, by its kind; ``undoes`` is what it takes back."""

    id: str
    sequence: int
    kind: str
    pass_no: int
    step: str | None
    person: str
    at: datetime
    data: dict[str, Any]
    undoes: str | None


class EventList(BaseModel):
    """A part of the record in order; ``next`` is what to send as ``after`` for the part that follows."""

    items: list[EventItem]
    next: str | None


class ScannedLot(BaseModel):
    """A lot's label as it was scanned."""

    part: Annotated[str, Field(min_length=1, max_length=32)]
    lot: Annotated[str, Field(min_length=1, max_length=48)]


class NewEvent(BaseModel):
    """One entry of bench work.

    ``tick`` takes side (down or up), step and, where a unit is exchanged, old_serial; ``scanned`` names the lots
    whose labels were scanned, and those are the ones fitted; ``pause`` takes reason;
    ``undo`` and ``take_back`` take undoes; ``report`` takes report, item, count, part, note, or for a failed
    inspection inspection (``step/inspection``); ``recount`` takes counted, pieces by tray pocket; ``place``
    counts one place of an item out (side down) or back (side up), or takes that back with on=false.
    """

    id: EventId
    kind: Literal["open", "pause", "tick", "turn", "undo", "report", "take_back", "recount", "place"]
    side: Literal["down", "up"] = "down"
    step: Annotated[str, Field(max_length=48)] = ""
    report: Literal["damage", "absent", "lost", "spoiled", "leftover", "reject"] | None = None
    item: Annotated[str, Field(max_length=110)] = ""
    count: Annotated[int, Field(ge=1, le=200)] = 1
    part: Annotated[str, Field(max_length=32)] = ""
    inspection: Annotated[str, Field(max_length=100)] = ""
    note: Annotated[str, Field(max_length=500)] = ""
    reason: Annotated[str, Field(max_length=120)] = ""
    undoes: Annotated[str, Field(max_length=36)] = ""
    old_serial: Annotated[str, Field(max_length=48)] = ""
    scanned: Annotated[list[ScannedLot], Field(max_length=50)] = []
    place: Annotated[int, Field(ge=0, le=200)] = 0
    on: bool = True
    counted: dict[int, Annotated[int, Field(ge=0, le=200)]] = {}


class Standing(BaseModel):
    """How a job stands after a write. ``event`` is the entry, None where there was nothing to store.

    ``said`` is what the write has to tell, such as what is not on the shelf.
    """

    number: str
    stage: Stage
    version: int
    pass_no: int
    down: list[str]
    up: list[str]
    turned: bool
    event: EventItem | None
    said: list[str]


class CountRowBody(BaseModel):
    """One item of the count, in pieces."""

    item: str
    step: str
    name: str
    pocket: int | None
    baseline: int
    absent: int
    out: int
    refitted: int
    scrapped: int
    new: int
    missing: int


class CountBody(BaseModel):
    """The count. ``ready`` says whether it can be signed or overridden now, ``not_yet`` why not."""

    scope: Scope
    balanced: bool
    ready: bool
    not_yet: str
    signed: bool
    problems: list[str]
    rows: list[CountRowBody]
    version: int


class Signature(BaseModel):
    """Sign the count, or close: the job's version as last seen."""

    id: EventId
    version: int


class NewOverride(BaseModel):
    """Override a count that does not balance: by a supervisor's name, passphrase and reason."""

    id: EventId
    scope: Scope = "final"
    name: Annotated[str, Field(min_length=1, max_length=120)]
    secret: Annotated[str, Field(min_length=1, max_length=200)]
    reason: Annotated[str, Field(min_length=1, max_length=300)]


class NewTestResult(BaseModel):
    """The result of a release test: accepted, or a reading in its unit; a second person where it asks for one."""

    id: EventId
    test: Annotated[str, Field(max_length=48)]
    accepted: bool | None = None
    reading: Annotated[Decimal, Field(ge=-1_000_000, le=1_000_000, decimal_places=6)] | None = None
    second_name: Annotated[str, Field(max_length=120)] = ""
    second_secret: Annotated[str, Field(max_length=200)] = ""
    note: Annotated[str, Field(max_length=300)] = ""


class TestResult(Standing):
    """What a release test came to; ``waiting`` are the tests that have not passed yet. A failed one opens the job."""

    passed: bool
    waiting: list[str]


class PartCostBody(BaseModel):
    """A part on the account, as planned or beyond the plan, at the cost of its lots."""

    part_number: str
    planned: bool
    quantity: int
    cost: Decimal


class AccountBody(Standing):
    """A closed job's account, in ``currency``; bench time in seconds."""

    parts: list[PartCostBody]
    parts_planned: Decimal
    parts_beyond: Decimal
    labour: Decimal
    total: Decimal
    bench_s: int
    currency: str
