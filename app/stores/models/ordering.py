"""Tables of reordering: policy, what jobs still want, suggestions, overrides, supplier prices, quarantine.

Facts: ``order_event``; nothing updates or deletes it. ``suggestion`` is a projection by part, computed anew by
``actions.suggesting`` whenever the part's facts have changed or the figures are older than a day.
"""

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import CheckConstraint, Column, Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel

from app.platform.types import BigId, Json, Money4


class StoresPolicy(SQLModel, table=True):
    """What holds for the whole storeroom: one row, id 1. Service levels and the holding share are between 0 and 1."""

    __tablename__ = "stores_policy"
    __table_args__ = (
        CheckConstraint("id = 1", name="one_row"),
        CheckConstraint("order_cost >= 0", name="order_cost_not_negative"),
        CheckConstraint("holding_share >= 0", name="holding_share_not_negative"),
        CheckConstraint("review_days >= 1", name="review_days_positive"),
    )

    id: int | None = Field(default=None, primary_key=True)
    order_cost: Decimal = Field(sa_column=Column(Money4, nullable=False))
    holding_share: Decimal = Field(sa_column=Column(Money4, nullable=False))
    review_days: int = 1
    service_a: Decimal = Field(sa_column=Column(Money4, nullable=False))
    service_b: Decimal = Field(sa_column=Column(Money4, nullable=False))
    service_c: Decimal = Field(sa_column=Column(Money4, nullable=False))
    service_critical: Decimal = Field(sa_column=Column(Money4, nullable=False))
    version: int = 1


class PartPolicy(SQLModel, table=True):
    """What is set by hand for a part: critical or not, and what is supposed of its use while it is new."""

    __tablename__ = "part_policy"

    part_id: int = Field(primary_key=True, foreign_key="part.id")
    critical: bool = False
    uses_per_job: Decimal = Field(sa_column=Column(Money4, nullable=False))
    jobs_per_device_year: Decimal = Field(sa_column=Column(Money4, nullable=False))
    devices: int = 0


class SupposedUse(SQLModel, table=True):
    """What the rooms above suppose of a part's use, from procedures and the devices in the field; ``words`` say how.

    It holds while nothing is set by hand in ``part_policy``.
    """

    __tablename__ = "supposed_use"

    part_id: int = Field(primary_key=True, foreign_key="part.id")
    uses_per_job: Decimal = Field(sa_column=Column(Money4, nullable=False))
    jobs_per_device_year: Decimal = Field(sa_column=Column(Money4, nullable=False))
    devices: int
    words: str = Field(default="", max_length=300)
    computed_on: date


class SupplierTerms(SQLModel, table=True):
    """A supplier's minimum order value, and freight that is paid below a value (none: always)."""

    __tablename__ = "supplier_terms"

    supplier_id: int = Field(primary_key=True, foreign_key="supplier.id")
    minimum_value: Decimal = Field(sa_column=Column(Money4, nullable=False))
    freight: Decimal = Field(sa_column=Column(Money4, nullable=False))
    free_from: Decimal | None = Field(default=None, sa_column=Column(Money4, nullable=True))


class SupplierPrice(SQLModel, table=True):
    """From this quantity on, all pieces of an order with this supplier cost this much each."""

    __tablename__ = "supplier_price"
    __table_args__ = (
        CheckConstraint("from_quantity >= 1", name="from_quantity_positive"),
        CheckConstraint("unit_price >= 0", name="unit_price_not_negative"),
    )

    part_id: int = Field(primary_key=True, foreign_key="part.id")
    supplier_id: int = Field(primary_key=True, foreign_key="supplier.id")
    from_quantity: int = Field(primary_key=True)
    unit_price: Decimal = Field(sa_column=Column(Money4, nullable=False))


class Wanted(SQLModel, table=True):
    """What a source (a job) needs of a part beyond what is promised to it or handed out, and on which day.

    ``known_at`` is when it was first told; it stays when the want is met, so that the use is known to be foreseen.
    """

    __tablename__ = "wanted"
    __table_args__ = (
        CheckConstraint("quantity >= 0", name="quantity_not_negative"),
        Index("ix_wanted_source_ref", "source_ref"),
        Index("ix_wanted_open", "part_id", sqlite_where=text("quantity > 0"), postgresql_where=text("quantity > 0")),
    )

    part_id: int = Field(primary_key=True, foreign_key="part.id")
    source_ref: str = Field(primary_key=True, max_length=64)
    quantity: int = 0
    on_day: date
    known_at: datetime


class Suggestion(SQLModel, table=True):
    """Projection by part: what to order and why. ``facts`` is the whole suggestion, ``before`` that of an earlier day.

    ``changes_seen`` and ``part_version`` tell from which facts it was computed: it is stale when they have moved on.
    """

    __tablename__ = "suggestion"
    __table_args__ = (
        CheckConstraint("quantity >= 0", name="quantity_not_negative"),
        Index("ix_suggestion_due", "part_id", sqlite_where=text("quantity > 0"), postgresql_where=text("quantity > 0")),
        # All that tells a fresh suggestion from a stale one: the rows themselves are wide, and there is one a part.
        Index("ix_suggestion_seen", "computed_on", "part_id", "part_version", "changes_seen"),
    )

    part_id: int = Field(primary_key=True, foreign_key="part.id")
    computed_on: date
    changes_seen: int
    part_version: int
    value_class: str = Field(max_length=1)
    by_hand: bool = Field(default=False, description="No forecast yet: the levels on the part's card hold.")
    quantity: int = 0
    position: int = 0
    reorder_point: int = 0
    order_up_to: int = 0
    words: str = Field(default="", max_length=600)
    facts: dict[str, Any] = Field(sa_column=Column(Json, nullable=False))
    before: dict[str, Any] | None = Field(default=None, sa_column=Column(Json, nullable=True))


class SuggestionOverride(SQLModel, table=True):
    """A clerk's quantity instead of the suggested one, with the reason; kept after it has ended."""

    __tablename__ = "suggestion_override"
    __table_args__ = (
        CheckConstraint("quantity >= 0", name="quantity_not_negative"),
        Index("ix_suggestion_override_part_id", "part_id"),
    )

    id: int | None = Field(default=None, primary_key=True)
    part_id: int = Field(foreign_key="part.id")
    quantity: int
    suggested: int
    reason: str = Field(max_length=300)
    made_at: datetime
    made_by: int | None = Field(default=None, foreign_key="person.id")
    ended_at: datetime | None = None
    ended_why: str = Field(default="", max_length=300)


class LotQuarantine(SQLModel, table=True):
    """A lot set aside: not usable from ``began_at`` until it is released with a reason."""

    __tablename__ = "lot_quarantine"
    __table_args__ = (
        Index("ix_lot_quarantine_lot_id", "lot_id"),
        Index(
            "ix_lot_quarantine_open",
            "lot_id",
            unique=True,
            sqlite_where=text("ended_at IS NULL"),
            postgresql_where=text("ended_at IS NULL"),
        ),
    )

    id: int | None = Field(default=None, primary_key=True)
    lot_id: int = Field(foreign_key="lot.id")
    reason: str = Field(max_length=300)
    began_at: datetime
    began_by: int | None = Field(default=None, foreign_key="person.id")
    ended_at: datetime | None = None
    ended_by: int | None = Field(default=None, foreign_key="person.id")
    end_reason: str = Field(default="", max_length=300)


class OrderEvent(SQLModel, table=True):
    """What happened to an order, in words. Appended, never edited."""

    __tablename__ = "order_event"
    __table_args__ = (UniqueConstraint("entry_id", "line"), Index("ix_order_event_order_id", "order_id"))

    id: int | None = Field(default=None, sa_column=Column(BigId, primary_key=True))
    entry_id: str = Field(max_length=36)
    line: int = 0
    order_id: int = Field(foreign_key="purchase_order.id")
    kind: str = Field(max_length=24)
    words: str = Field(default="", max_length=300)
    at: datetime
    person_id: int | None = Field(default=None, foreign_key="person.id")
