"""Tables of the stock ledger and its orders.

Facts: ``movement`` and ``reservation_entry``; nothing updates or deletes them. Projections kept in the same
transaction: ``stock_level`` by part, ``lot_balance`` by lot and location, ``reservation`` by part and source.
Quantities are whole stock units. A source is an opaque reference such as ``job:J000412`` or ``order:12``.
"""

from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum

from sqlalchemy import CheckConstraint, Column, Index, UniqueConstraint, false
from sqlmodel import Field, SQLModel

from app.platform.types import BigId, Money4, enum_type
from app.rules.sheet import WasteStream


class MovementKind(StrEnum):
    """The only things that change stock."""

    RECEIPT = "receipt"
    ISSUE = "issue"
    RETURN = "return"
    SCRAP = "scrap"
    COUNT_ADJUSTMENT = "count adjustment"
    TRANSFER = "transfer"


class OrderStatus(StrEnum):
    """A draft is ours alone; from ``sent`` on its goods count as on order, until it is closed or cancelled."""

    DRAFT = "draft"
    SENT = "sent"
    CONFIRMED = "confirmed"
    PART_RECEIVED = "part received"
    CLOSED = "closed"
    CANCELLED = "cancelled"


class StocktakeStatus(StrEnum):
    OPEN = "open"
    POSTED = "posted"
    CANCELLED = "cancelled"


class Supplier(SQLModel, table=True):
    __tablename__ = "supplier"

    id: int | None = Field(default=None, primary_key=True)
    code: str = Field(max_length=32, unique=True)
    name: str = Field(max_length=120)
    email: str = Field(default="", max_length=120)
    address: str = Field(default="", max_length=300)


class Location(SQLModel, table=True):
    """A place on a shelf; ``walk_order`` is the order a picker passes them."""

    __tablename__ = "location"

    id: int | None = Field(default=None, primary_key=True)
    code: str = Field(max_length=24, unique=True)
    name: str = Field(default="", max_length=120)
    walk_order: int = 0


class Part(SQLModel, table=True):
    """A stock item. Prices are per stock unit in the site's currency."""

    __tablename__ = "part"
    __table_args__ = (
        CheckConstraint("pack >= 1", name="pack_positive"),
        CheckConstraint("minimum_order >= 1", name="minimum_order_positive"),
        CheckConstraint("lead_time_days >= 0", name="lead_time_not_negative"),
        CheckConstraint("price >= 0", name="price_not_negative"),
        CheckConstraint("reorder_point >= 0", name="reorder_point_not_negative"),
        CheckConstraint("order_up_to >= reorder_point", name="order_up_to_above_reorder_point"),
    )

    id: int | None = Field(default=None, primary_key=True)
    number: str = Field(max_length=32, unique=True)
    name: str = Field(max_length=120)
    unit: str = Field(default="each", max_length=16)
    location_id: int = Field(foreign_key="location.id", index=True, description="Where it is put away.")
    supplier_id: int = Field(foreign_key="supplier.id", index=True)
    supplier_number: str = Field(default="", max_length=48)
    pack: int = 1
    minimum_order: int = 1
    lead_time_days: int = 7
    price: Decimal = Field(sa_column=Column(Money4, nullable=False))
    shelf_life_days: int | None = None
    reorder_point: int = 0
    order_up_to: int = 0
    waste_stream: WasteStream = Field(
        default=WasteStream.RESIDUAL, sa_column=Column(enum_type(WasteStream, "waste_stream"), nullable=False)
    )
    gtin: str | None = Field(default=None, max_length=14)
    serial_tracked: bool = False
    active: bool = True
    note: str = Field(default="", max_length=500)
    version: int = 1


class StockLevel(SQLModel, table=True):
    """Projection by part: on hand, reserved, on order. Available is on hand − reserved.

    ``changes`` counts the changes of the row, so that what was computed from it knows when it is out of date.
    """

    __tablename__ = "stock_level"
    __table_args__ = (
        CheckConstraint("on_hand >= 0", name="on_hand_not_negative"),
        CheckConstraint("reserved >= 0", name="reserved_not_negative"),
        CheckConstraint("on_order >= 0", name="on_order_not_negative"),
    )

    part_id: int = Field(primary_key=True, foreign_key="part.id")
    on_hand: int = 0
    reserved: int = 0
    on_order: int = 0
    changes: int = Field(default=0, sa_column_kwargs={"server_default": "0"})


class Lot(SQLModel, table=True):
    """A batch received together: one expiry date, one unit cost."""

    __tablename__ = "lot"
    __table_args__ = (
        UniqueConstraint("part_id", "code"),
        CheckConstraint("unit_cost >= 0", name="unit_cost_not_negative"),
    )

    id: int | None = Field(default=None, primary_key=True)
    part_id: int = Field(foreign_key="part.id", index=True)
    code: str = Field(max_length=48)
    expires_on: date | None = None
    unit_cost: Decimal = Field(sa_column=Column(Money4, nullable=False))
    received_at: datetime


class LotBalance(SQLModel, table=True):
    """Projection: what of a lot lies at a location."""

    __tablename__ = "lot_balance"
    __table_args__ = (CheckConstraint("on_hand >= 0", name="on_hand_not_negative"),)

    lot_id: int = Field(primary_key=True, foreign_key="lot.id")
    location_id: int = Field(primary_key=True, foreign_key="location.id", index=True)
    on_hand: int = 0


class Movement(SQLModel, table=True):
    """One change of stock: signed quantity of a lot at a location. Appended, never edited."""

    __tablename__ = "movement"
    __table_args__ = (
        UniqueConstraint("entry_id", "line"),
        CheckConstraint("quantity <> 0", name="quantity_not_zero"),
        Index("ix_movement_source_ref", "source_ref"),
        Index("ix_movement_part_id_id", "part_id", "id"),
        Index("ix_movement_at", "at"),
    )

    id: int | None = Field(default=None, sa_column=Column(BigId, primary_key=True))
    entry_id: str = Field(max_length=36, description="UUIDv7 of the action that made it.")
    line: int = Field(description="Position among the movements of one action.")
    kind: MovementKind = Field(sa_column=Column(enum_type(MovementKind, "movement_kind"), nullable=False))
    part_id: int = Field(foreign_key="part.id")
    lot_id: int = Field(foreign_key="lot.id", index=True)
    location_id: int = Field(foreign_key="location.id")
    quantity: int
    unit_cost: Decimal = Field(sa_column=Column(Money4, nullable=False))
    source_ref: str = Field(max_length=64)
    reason: str = Field(default="", max_length=300)
    serials: str = Field(default="", max_length=500, description="Serials handed out, space-separated.")
    at: datetime
    person_id: int | None = Field(default=None, foreign_key="person.id")


class ReservationEntry(SQLModel, table=True):
    """One change of what is promised to a source: signed quantity. Appended, never edited."""

    __tablename__ = "reservation_entry"
    __table_args__ = (
        UniqueConstraint("entry_id", "line"),
        CheckConstraint("quantity <> 0", name="quantity_not_zero"),
        Index("ix_reservation_entry_source_ref", "source_ref"),
    )

    id: int | None = Field(default=None, sa_column=Column(BigId, primary_key=True))
    entry_id: str = Field(max_length=36)
    line: int
    part_id: int = Field(foreign_key="part.id", index=True)
    source_ref: str = Field(max_length=64)
    quantity: int
    at: datetime
    person_id: int | None = Field(default=None, foreign_key="person.id")


class Reservation(SQLModel, table=True):
    """Projection: what of a part is promised to a source and not yet handed out."""

    __tablename__ = "reservation"
    __table_args__ = (
        CheckConstraint("quantity >= 0", name="quantity_not_negative"),
        Index("ix_reservation_source_ref", "source_ref"),
    )

    part_id: int = Field(primary_key=True, foreign_key="part.id")
    source_ref: str = Field(primary_key=True, max_length=64)
    quantity: int = 0


class PurchaseOrder(SQLModel, table=True):
    """``placed_at`` is when it was sent, of a draft when it was begun. ``confirmed_on`` is the day that the supplier
    promised; ``expected_on`` follows it. ``chased_at`` is when we last asked after a late one.
    """

    __tablename__ = "purchase_order"

    id: int | None = Field(default=None, primary_key=True)
    number: str = Field(max_length=16, unique=True)
    supplier_id: int = Field(foreign_key="supplier.id", index=True)
    status: OrderStatus = Field(sa_column=Column(enum_type(OrderStatus, "order_status"), nullable=False))
    placed_at: datetime
    placed_by: int | None = Field(default=None, foreign_key="person.id")
    expected_on: date
    confirmed_on: date | None = None
    chased_at: datetime | None = None
    note: str = Field(default="", max_length=300)
    version: int = 1


class PurchaseOrderLine(SQLModel, table=True):
    __tablename__ = "purchase_order_line"
    __table_args__ = (
        UniqueConstraint("order_id", "part_id"),
        CheckConstraint("quantity >= 1", name="quantity_positive"),
        CheckConstraint("received >= 0", name="received_not_negative"),
    )

    id: int | None = Field(default=None, primary_key=True)
    order_id: int = Field(foreign_key="purchase_order.id", index=True)
    part_id: int = Field(foreign_key="part.id", index=True)
    quantity: int
    unit_price: Decimal = Field(sa_column=Column(Money4, nullable=False))
    received: int = 0
    closed_short: int = Field(default=0, description="Of the quantity, what will not come any more.")


class Stocktake(SQLModel, table=True):
    """A count of one location: opened, counted, posted with differences as reasoned adjustments."""

    __tablename__ = "stocktake"

    id: int | None = Field(default=None, primary_key=True)
    location_id: int = Field(foreign_key="location.id", index=True)
    status: StocktakeStatus = Field(sa_column=Column(enum_type(StocktakeStatus, "stocktake_status"), nullable=False))
    opened_at: datetime
    opened_by: int | None = Field(default=None, foreign_key="person.id")
    posted_at: datetime | None = None
    posted_by: int | None = Field(default=None, foreign_key="person.id")
    version: int = 1
    blind: bool = Field(
        default=False,
        sa_column_kwargs={"server_default": false()},
        description="The counter does not see the book; what differs is counted again.",
    )


class StocktakeLine(SQLModel, table=True):
    """One lot in a stocktake: what the book said when it was posted, what was counted, why it differs."""

    __tablename__ = "stocktake_line"
    __table_args__ = (
        UniqueConstraint("stocktake_id", "lot_id"),
        CheckConstraint("counted >= 0", name="counted_not_negative"),
    )

    id: int | None = Field(default=None, primary_key=True)
    stocktake_id: int = Field(foreign_key="stocktake.id", index=True)
    lot_id: int = Field(foreign_key="lot.id")
    part_id: int = Field(foreign_key="part.id")
    counted: int
    book: int
    reason: str = Field(default="", max_length=300)
