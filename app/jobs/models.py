"""Tables of the jobs room.

Facts: ``bench_event``; nothing updates or deletes them. ``job`` carries the projection of its events: the
stage, the hold and ``bench``, the counting state as JSON. ``part_use`` and ``discard`` spell out for the
review what the events say about parts; they are written with the event and struck by an undo.
"""

from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any

from sqlalchemy import CheckConstraint, Column, Index, LargeBinary, UniqueConstraint, text
from sqlmodel import Field, SQLModel

from app.platform.types import BigId, Json, Money4, enum_type
from app.rules.sheet import WasteStream


class Stage(StrEnum):
    """How far a job is, in the order of the work."""

    BOOKED = "booked in"
    SAFE = "made safe"
    PLANNED = "planned"
    QUOTED = "quoted"
    APPROVED = "approved"
    KITTED = "kitted"
    TEARDOWN = "teardown"
    REFIT = "refit"
    COUNTED = "counted"
    TESTED = "tested"
    CLOSED = "closed"
    RETURNED = "returned unrepaired"


class Hold(StrEnum):
    """Why a job cannot go on."""

    NONE = "none"
    PARTS = "parts"
    OWNER = "owner's answer"
    SAFETY = "safety"
    CURE = "cure"


class Coverage(StrEnum):
    """Who pays."""

    OWNER = "owner pays"
    WARRANTY = "warranty"
    INTERNAL = "internal"


class DataWish(StrEnum):
    """What the owner wants done with what is stored on the device."""

    KEEP = "keep"
    ERASE = "erase"
    NONE = "no data on it"


# A query must say it in these very words for the index below to serve it.
IS_OPEN = "stage NOT IN ('closed', 'returned unrepaired')"


class Job(SQLModel, table=True):
    """One device on one visit."""

    __tablename__ = "job"
    __table_args__ = (
        Index("ix_job_stage_id", "stage", "id"),
        Index("ix_job_serial_id", "serial", "id"),
        Index("ix_job_closed_at", "closed_at"),
        Index("ix_job_technician_id_stage", "technician_id", "stage"),
        # What the history filters by, beside the id it is ordered by: a page is found without touching the rows.
        Index(
            "ix_job_history", "id", "stage", "device_model_id", "technician_id", "overridden", "booked_at", "closed_at"
        ),
        # Few jobs have any, so the board finds them at once however long the history is.
        Index("ix_job_questions", "id", sqlite_where=text("questions > 0"), postgresql_where=text("questions > 0")),
        # Most jobs have ended; a board or a list of open ones reads only these.
        Index("ix_job_open", "id", sqlite_where=text(IS_OPEN), postgresql_where=text(IS_OPEN)),
    )

    id: int | None = Field(default=None, primary_key=True)
    number: str = Field(max_length=16, unique=True)
    device_model_id: int = Field(foreign_key="device_model.id", index=True)
    revision_id: int = Field(foreign_key="revision.id", index=True, description="The job stays on this revision.")
    serial: str = Field(max_length=48)
    fault: str = Field(max_length=500)
    condition: str = Field(max_length=500)
    in_box: str = Field(default="", max_length=300)
    owner_ref: str = Field(max_length=120)
    coverage: Coverage = Field(sa_column=Column(enum_type(Coverage, "coverage"), nullable=False))
    data_wish: DataWish = Field(sa_column=Column(enum_type(DataWish, "data_wish"), nullable=False))
    consent: bool = False
    booked_at: datetime = Field(index=True)
    booked_by: int | None = Field(default=None, foreign_key="person.id")
    stage: Stage = Field(sa_column=Column(enum_type(Stage, "stage"), nullable=False))
    hold: Hold = Field(default=Hold.NONE, sa_column=Column(enum_type(Hold, "hold"), nullable=False))
    hold_reason: str = Field(default="", max_length=300)
    targets: list[str] = Field(default_factory=list, sa_column=Column(Json, nullable=False))
    bench: dict[str, Any] = Field(
        default_factory=dict, sa_column=Column(Json, nullable=False), description="projection of the events"
    )
    technician_id: int | None = Field(default=None, foreign_key="person.id")
    promised_on: date | None = None
    quoted: Decimal | None = Field(default=None, sa_column=Column(Money4, nullable=True))
    parts_cost: Decimal | None = Field(default=None, sa_column=Column(Money4, nullable=True))
    labour_cost: Decimal | None = Field(default=None, sa_column=Column(Money4, nullable=True))
    bench_s: int | None = Field(default=None, description="Bench time in seconds, set at closing.")
    closed_at: datetime | None = None
    closed_by: int | None = Field(default=None, foreign_key="person.id")
    overridden: bool = False
    seal: str = Field(default="", max_length=64, description="Chain hash of the last event when the job closed.")
    last_sequence: int = 0
    chain: str = Field(default="", max_length=64)
    version: int = 1
    device_value: Decimal | None = Field(
        default=None, sa_column=Column(Money4, nullable=True), description="What the device is worth, as it was told."
    )
    median_s: int | None = Field(default=None, description="Expected bench time of the plan when it was made, seconds.")
    p80_s: int | None = Field(default=None, description="Its 80 % point, to judge forecasts by.")
    promise: dict[str, Any] | None = Field(
        default=None,
        sa_column=Column(Json, nullable=True),
        description="The promise as it was given, with its reasons.",
    )
    questions: int = Field(
        default=0,
        sa_column_kwargs={"server_default": "0"},
        description="Entries from tablets that could not be booked and wait to be settled.",
    )


class BenchEvent(SQLModel, table=True):
    """One fact about a job, appended. ``chain`` is SHA-256 over the previous chain and this event's content."""

    __tablename__ = "bench_event"
    __table_args__ = (
        UniqueConstraint("job_id", "sequence"),
        UniqueConstraint("device_id", "device_sequence"),
        CheckConstraint("(device_id IS NULL) = (device_sequence IS NULL)", name="device_numbers_its_entries"),
        Index("ix_bench_event_at", "at"),
    )

    id: int | None = Field(default=None, sa_column=Column(BigId, primary_key=True))
    event_id: str = Field(max_length=36, unique=True)
    content_hash: str = Field(max_length=64)
    job_id: int = Field(foreign_key="job.id")
    sequence: int
    kind: str = Field(max_length=24)
    pass_no: int = 1
    step: str | None = Field(default=None, max_length=48)
    person_id: int | None = Field(default=None, foreign_key="person.id")
    at: datetime
    data: dict[str, Any] = Field(default_factory=dict, sa_column=Column(Json, nullable=False))
    undoes: str | None = Field(default=None, max_length=36, description="event_id of the entry this takes back")
    chain: str = Field(max_length=64)
    device_id: str | None = Field(default=None, max_length=36, description="The tablet's own id, for what it sent.")
    device_sequence: int | None = Field(default=None, description="The tablet's count of its entries, from 1.")


class KitLine(SQLModel, table=True):
    """What a job needs of a part: planned, added on the way, handed out, returned.

    ``spare`` pieces are planned on top because a step spoils some; what is added on the way uses them up first.
    """

    __tablename__ = "kit_line"
    __table_args__ = (
        UniqueConstraint("job_id", "part_number"),
        CheckConstraint("planned >= 0", name="planned_not_negative"),
        CheckConstraint("added >= 0", name="added_not_negative"),
        CheckConstraint("issued >= 0", name="issued_not_negative"),
        CheckConstraint("returned >= 0 AND returned <= issued", name="returned_within_issued"),
        CheckConstraint("spare >= 0", name="spare_not_negative"),
    )

    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    part_number: str = Field(max_length=32, index=True)
    planned: int = 0
    added: int = 0
    issued: int = 0
    returned: int = 0
    spare: int = Field(default=0, sa_column_kwargs={"server_default": "0"})

    @property
    def to_hand_out(self) -> int:
        """Still to hand out, spares too. A spare that came back is not wanted again; anything else is."""
        must = self.planned + self.added + self.returned - self.issued
        return max(must, self.planned + self.spare - self.issued, 0)


class KitLot(SQLModel, table=True):
    """What of a lot a job was handed and what became of it: issued = fitted + spoiled + returned + with the job."""

    __tablename__ = "kit_lot"
    __table_args__ = (
        UniqueConstraint("job_id", "lot_id"),
        CheckConstraint("fitted >= 0 AND spoiled >= 0 AND returned >= 0", name="not_negative"),
        CheckConstraint("fitted + spoiled + returned <= issued", name="within_issued"),
    )

    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    part_number: str = Field(max_length=32, index=True)
    lot_id: int = Field(foreign_key="lot.id", index=True)
    lot_code: str = Field(max_length=48)
    unit_cost: Decimal = Field(sa_column=Column(Money4, nullable=False))
    issued: int = 0
    fitted: int = 0
    spoiled: int = 0
    returned: int = 0
    serials: list[str] = Field(default_factory=list, sa_column=Column(Json, nullable=False))


class PartUse(SQLModel, table=True):
    """A new part fitted in a job, with its lot: where a batch went."""

    __tablename__ = "part_use"
    __table_args__ = (
        CheckConstraint("quantity >= 1", name="quantity_positive"),
        Index("ix_part_use_part_number_job_id", "part_number", "job_id", "struck"),
    )

    id: int | None = Field(default=None, sa_column=Column(BigId, primary_key=True))
    job_id: int = Field(foreign_key="job.id", index=True)
    event_id: str = Field(max_length=36, index=True)
    step: str = Field(max_length=48)
    item: str = Field(max_length=110)
    part_number: str = Field(max_length=32)
    lot_id: int = Field(foreign_key="lot.id", index=True)
    quantity: int
    serial: str = Field(default="", max_length=48)
    struck: bool = Field(default=False, description="Taken back by an undo.")
    in_place_of: str = Field(
        default="",
        max_length=32,
        sa_column_kwargs={"server_default": text("''")},
        description="The part that was wanted, where an approved alternate went in.",
    )


class KitStandIn(SQLModel, table=True):
    """Projection: how much of a part's need in a job an approved alternate has taken over; see ``StandIn``."""

    __tablename__ = "kit_stand_in"
    __table_args__ = (CheckConstraint("planned >= 0 AND added >= 0", name="not_negative"),)

    job_id: int = Field(primary_key=True, foreign_key="job.id")
    part_number: str = Field(primary_key=True, max_length=32)
    alternate: str = Field(primary_key=True, max_length=32)
    planned: int = 0
    added: int = 0


class Discard(SQLModel, table=True):
    """A single-use or damaged item scrapped, with the reason planned or damaged."""

    __tablename__ = "discard"
    __table_args__ = (
        CheckConstraint("quantity >= 1", name="quantity_positive"),
        CheckConstraint("reason IN ('planned', 'damaged', 'spoiled')", name="reason_known"),
    )

    id: int | None = Field(default=None, sa_column=Column(BigId, primary_key=True))
    job_id: int = Field(foreign_key="job.id", index=True)
    event_id: str = Field(max_length=36, index=True)
    step: str = Field(max_length=48)
    item: str = Field(max_length=110)
    name: str = Field(max_length=120)
    quantity: int
    reason: str = Field(max_length=12)
    waste_stream: WasteStream = Field(sa_column=Column(enum_type(WasteStream, "waste_stream"), nullable=False))
    struck: bool = False


class StepTimeRow(SQLModel, table=True):
    """How long a step of a closed job took: worked out from its entries, for the expected times of later plans."""

    __tablename__ = "step_time"
    __table_args__ = (
        CheckConstraint("seconds >= 1", name="seconds_positive"),
        CheckConstraint("side IN ('down', 'up')", name="side_known"),
        Index("ix_step_time_procedure_code_id", "procedure_code", "id"),
    )

    id: int | None = Field(default=None, sa_column=Column(BigId, primary_key=True))
    job_id: int = Field(foreign_key="job.id", index=True)
    procedure_code: str = Field(max_length=48)
    side: str = Field(max_length=4)
    step: str = Field(max_length=48)
    seconds: int


class SpareDecision(SQLModel, table=True):
    """How many spares a step's kits carry, decided by a supervisor. Appended; the newest of a step and part holds.

    ``factor`` is spare pieces per piece on the sheet, 0 when it was withdrawn; ``words`` what the jobs showed then.
    """

    __tablename__ = "spare_decision"
    __table_args__ = (
        CheckConstraint("factor >= 0", name="factor_not_negative"),
        Index("ix_spare_decision_procedure_code_id", "procedure_code", "id"),
    )

    id: int | None = Field(default=None, sa_column=Column(BigId, primary_key=True))
    entry_id: str = Field(max_length=36, unique=True)
    procedure_code: str = Field(max_length=48)
    step: str = Field(max_length=48)
    part_number: str = Field(max_length=32)
    factor: Decimal = Field(sa_column=Column(Money4, nullable=False))
    words: str = Field(default="", max_length=300)
    reason: str = Field(max_length=300)
    at: datetime
    person_id: int | None = Field(default=None, foreign_key="person.id")


class SiteDay(SQLModel, table=True):
    """A day on which the site is closed, or works though it is a public holiday."""

    __tablename__ = "site_day"

    id: int | None = Field(default=None, primary_key=True)
    day: date = Field(unique=True)
    name: str = Field(max_length=80)
    is_open: bool = Field(default=False, description="The site works on it all the same.")
    entered_at: datetime
    entered_by: int | None = Field(default=None, foreign_key="person.id")


class Photo(SQLModel, table=True):
    """A photo of a job, decoded and encoded anew so that nothing but the picture is kept."""

    __tablename__ = "photo"

    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    event_id: str | None = Field(default=None, max_length=36)
    caption: str = Field(default="", max_length=120)
    width: int
    height: int
    sha256: str = Field(max_length=64)
    body: bytes = Field(sa_column=Column(LargeBinary, nullable=False))
    taken_at: datetime
    person_id: int | None = Field(default=None, foreign_key="person.id")
