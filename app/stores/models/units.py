"""Tables of alternates, of units that go round (rotables and cores), and of goods sent back to their supplier.

Facts: ``alternate_event`` and ``old_unit_event``; nothing updates or deletes them. ``alternate`` and ``old_unit`` are
their projections, kept in the same transaction. A ``supplier_return`` belongs to one movement and is closed once.
"""

from datetime import date, datetime
from decimal import Decimal

from sqlalchemy import CheckConstraint, Column, Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel

from app.platform.types import BigId, Money4, enum_type
from app.rules.stores.alternates import AlternateState
from app.rules.stores.supplier_returns import ReturnReason, ReturnState
from app.rules.stores.units import UnitKind, UnitState


class Alternate(SQLModel, table=True):
    """Projection: ``alternate_id`` may be used where ``part_id`` is wanted, once it is approved; see ``rules``."""

    __tablename__ = "alternate"
    __table_args__ = (
        UniqueConstraint("part_id", "alternate_id"),
        CheckConstraint("part_id <> alternate_id", name="another_part"),
    )

    id: int | None = Field(default=None, primary_key=True)
    part_id: int = Field(foreign_key="part.id")
    alternate_id: int = Field(foreign_key="part.id", index=True)
    both_ways: bool = False
    fits_from: str = Field(default="", max_length=120, description="From which revision of the device it fits.")
    state: AlternateState = Field(sa_column=Column(enum_type(AlternateState, "alternate_state"), nullable=False))
    reason: str = Field(default="", max_length=300)
    proposed_by: int | None = Field(default=None, foreign_key="person.id")
    proposed_at: datetime
    decided_by: int | None = Field(default=None, foreign_key="person.id")
    decided_at: datetime | None = None


class AlternateEvent(SQLModel, table=True):
    """One thing said about a pair of parts: proposed, approved or withdrawn. Appended, never edited."""

    __tablename__ = "alternate_event"
    __table_args__ = (Index("ix_alternate_event_part_id", "part_id", "alternate_id"),)

    id: int | None = Field(default=None, sa_column=Column(BigId, primary_key=True))
    entry_id: str = Field(max_length=36, unique=True)
    part_id: int = Field(foreign_key="part.id")
    alternate_id: int = Field(foreign_key="part.id")
    state: AlternateState = Field(sa_column=Column(enum_type(AlternateState, "alternate_state"), nullable=False))
    both_ways: bool = False
    fits_from: str = Field(default="", max_length=120)
    reason: str = Field(default="", max_length=300)
    at: datetime
    person_id: int | None = Field(default=None, foreign_key="person.id")


class UnitTerms(SQLModel, table=True):
    """How a part goes round: a rotable is repaired and put back, of an exchange unit the old one (the core) is owed.

    ``core_charge`` is what the supplier charges when the core does not come back within ``core_days``.
    """

    __tablename__ = "unit_terms"
    __table_args__ = (
        CheckConstraint("core_charge >= 0", name="core_charge_not_negative"),
        CheckConstraint("core_days >= 1", name="core_days_positive"),
    )

    part_id: int = Field(primary_key=True, foreign_key="part.id")
    kind: UnitKind = Field(sa_column=Column(enum_type(UnitKind, "unit_kind"), nullable=False))
    core_charge: Decimal = Field(sa_column=Column(Money4, nullable=False))
    core_days: int = 30


# A query must say it in these very words for the index below to serve it.
UNIT_IS_OPEN = "state IN ('waits', 'in repair', 'owed', 'on its way')"


class OldUnit(SQLModel, table=True):
    """Projection: one unit that came out of a device and is not scrapped: it waits for its repair or is owed as a core.

    It is no stock: it becomes stock again as a new lot (``lot_id``) when it is repaired.
    """

    __tablename__ = "old_unit"
    __table_args__ = (
        CheckConstraint("core_charge >= 0", name="core_charge_not_negative"),
        Index("ix_old_unit_open", "id", sqlite_where=text(UNIT_IS_OPEN), postgresql_where=text(UNIT_IS_OPEN)),
        Index("ix_old_unit_source_ref", "source_ref"),
    )

    id: int | None = Field(default=None, primary_key=True)
    number: str = Field(max_length=16, unique=True)
    part_id: int = Field(foreign_key="part.id", index=True)
    serial: str = Field(default="", max_length=48)
    kind: UnitKind = Field(sa_column=Column(enum_type(UnitKind, "unit_kind"), nullable=False))
    state: UnitState = Field(sa_column=Column(enum_type(UnitState, "unit_state"), nullable=False))
    defective_cell: bool = Field(
        default=False, description="A lithium cell that is damaged or defective: never by air."
    )
    location_id: int = Field(foreign_key="location.id", index=True)
    source_ref: str = Field(max_length=64)
    came_at: datetime
    due_on: date | None = None
    core_charge: Decimal = Field(sa_column=Column(Money4, nullable=False))
    repair_cost: Decimal | None = Field(default=None, sa_column=Column(Money4, nullable=True))
    lot_id: int | None = Field(default=None, foreign_key="lot.id")
    ended_at: datetime | None = None


class OldUnitEvent(SQLModel, table=True):
    """One thing that happened to an old unit, with the state it came to. Appended, never edited."""

    __tablename__ = "old_unit_event"
    __table_args__ = (UniqueConstraint("entry_id", "line"), Index("ix_old_unit_event_unit_id", "unit_id"))

    id: int | None = Field(default=None, sa_column=Column(BigId, primary_key=True))
    entry_id: str = Field(max_length=36)
    line: int = 0
    unit_id: int = Field(foreign_key="old_unit.id")
    deed: str = Field(max_length=16)
    state: UnitState = Field(sa_column=Column(enum_type(UnitState, "unit_state"), nullable=False))
    words: str = Field(default="", max_length=300)
    location_id: int = Field(foreign_key="location.id")
    cost: Decimal | None = Field(default=None, sa_column=Column(Money4, nullable=True))
    at: datetime
    person_id: int | None = Field(default=None, foreign_key="person.id")


class SupplierReturn(SQLModel, table=True):
    """Goods sent back to their supplier, and the credit that is expected for them, until it came or was refused."""

    __tablename__ = "supplier_return"
    __table_args__ = (
        CheckConstraint("quantity >= 1", name="quantity_positive"),
        CheckConstraint("expected >= 0", name="expected_not_negative"),
        CheckConstraint("credited >= 0", name="credited_not_negative"),
        Index(
            "ix_supplier_return_open",
            "id",
            sqlite_where=text("state = 'sent'"),
            postgresql_where=text("state = 'sent'"),
        ),
    )

    id: int | None = Field(default=None, primary_key=True)
    number: str = Field(max_length=16, unique=True)
    entry_id: str = Field(max_length=36, unique=True)
    supplier_id: int = Field(foreign_key="supplier.id", index=True)
    order_number: str = Field(default="", max_length=16)
    part_id: int = Field(foreign_key="part.id")
    lot_id: int = Field(foreign_key="lot.id", index=True)
    quantity: int
    reason: ReturnReason = Field(sa_column=Column(enum_type(ReturnReason, "return_reason"), nullable=False))
    words: str = Field(default="", max_length=300)
    replaced: bool = False
    expected: Decimal = Field(sa_column=Column(Money4, nullable=False))
    state: ReturnState = Field(sa_column=Column(enum_type(ReturnState, "return_state"), nullable=False))
    credited: Decimal | None = Field(default=None, sa_column=Column(Money4, nullable=True))
    note: str = Field(default="", max_length=300)
    sent_at: datetime
    sent_by: int | None = Field(default=None, foreign_key="person.id")
    closed_at: datetime | None = None
    closed_by: int | None = Field(default=None, foreign_key="person.id")
