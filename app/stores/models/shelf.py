"""Tables of work at the shelf: picks in hand, short picks, counts of stocktakes, how parts keep, file columns.

Facts: ``stocktake_count``, ``short_pick`` and ``lot_opening``; nothing deletes them.
"""

from datetime import date, datetime
from typing import Any

from sqlalchemy import CheckConstraint, Column, Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel

from app.platform.types import Json


class PickClaim(SQLModel, table=True):
    """A line of a kit that a picker has taken off the shelf: no other picker takes it, until it is handed out.

    ``outcome`` is empty while it is open, then 'handed out' or 'put back'.
    """

    __tablename__ = "pick_claim"
    __table_args__ = (
        CheckConstraint("quantity >= 1", name="quantity_positive"),
        CheckConstraint("outcome IN ('', 'handed out', 'put back')", name="outcome_known"),
        Index(
            "ix_pick_claim_open",
            "source_ref",
            "lot_id",
            "location_id",
            unique=True,
            sqlite_where=text("outcome = ''"),
            postgresql_where=text("outcome = ''"),
        ),
        Index(
            "ix_pick_claim_open_part",
            "part_id",
            sqlite_where=text("outcome = ''"),
            postgresql_where=text("outcome = ''"),
        ),
    )

    id: int | None = Field(default=None, primary_key=True)
    source_ref: str = Field(max_length=64)
    part_id: int = Field(foreign_key="part.id")
    lot_id: int = Field(foreign_key="lot.id")
    location_id: int = Field(foreign_key="location.id")
    quantity: int
    serials: str = Field(default="", max_length=2000)
    scanned: bool = Field(default=False, description="Confirmed by a label; typed otherwise.")
    person_id: int | None = Field(default=None, foreign_key="person.id")
    at: datetime
    outcome: str = Field(default="", max_length=12)
    ended_at: datetime | None = None


class ShortPick(SQLModel, table=True):
    """A picker found less than the book has: nothing more is proposed from there until the place is counted."""

    __tablename__ = "short_pick"
    __table_args__ = (
        CheckConstraint("found >= 0 AND found < wanted", name="found_less"),
        Index(
            "ix_short_pick_open",
            "location_id",
            sqlite_where=text("settled_at IS NULL"),
            postgresql_where=text("settled_at IS NULL"),
        ),
    )

    id: int | None = Field(default=None, primary_key=True)
    source_ref: str = Field(max_length=64)
    part_id: int = Field(foreign_key="part.id")
    lot_id: int = Field(foreign_key="lot.id")
    location_id: int = Field(foreign_key="location.id")
    wanted: int
    found: int
    reason: str = Field(max_length=300)
    person_id: int | None = Field(default=None, foreign_key="person.id")
    at: datetime
    settled_at: datetime | None = None


class StocktakeCount(SQLModel, table=True):
    """One count of one lot in a stocktake, with the book of that moment. Appended, never edited."""

    __tablename__ = "stocktake_count"
    __table_args__ = (
        CheckConstraint("counted >= 0", name="counted_not_negative"),
        Index("ix_stocktake_count_stocktake_id", "stocktake_id"),
    )

    id: int | None = Field(default=None, primary_key=True)
    stocktake_id: int = Field(foreign_key="stocktake.id")
    lot_id: int = Field(foreign_key="lot.id")
    counted: int
    book: int
    at: datetime
    person_id: int | None = Field(default=None, foreign_key="person.id")


class CountPolicy(SQLModel, table=True):
    """How often parts are counted, in days by value class: one row, id 1."""

    __tablename__ = "count_policy"
    __table_args__ = (
        CheckConstraint("id = 1", name="one_row"),
        CheckConstraint("days_a >= 1 AND days_b >= 1 AND days_c >= 1", name="days_positive"),
    )

    id: int | None = Field(default=None, primary_key=True)
    days_a: int = 30
    days_b: int = 91
    days_c: int = 365
    version: int = 1


class PartKeeping(SQLModel, table=True):
    """How a part is kept: days of use once a lot is opened (none: opening does not matter), and how to store it."""

    __tablename__ = "part_keeping"
    __table_args__ = (CheckConstraint("open_life_days >= 1", name="open_life_positive"),)

    part_id: int = Field(primary_key=True, foreign_key="part.id")
    open_life_days: int | None = None
    storage: str = Field(default="", max_length=120)


class LotOpening(SQLModel, table=True):
    """A lot was opened: from then on its open life counts. ``printed`` is the last day that the pack says."""

    __tablename__ = "lot_opening"

    lot_id: int = Field(primary_key=True, foreign_key="lot.id")
    opened_on: date
    printed: date | None = None
    at: datetime
    person_id: int | None = Field(default=None, foreign_key="person.id")


class ImportColumns(SQLModel, table=True):
    """Which heading of a file means which of our columns, remembered by the kind of file."""

    __tablename__ = "import_columns"
    __table_args__ = (UniqueConstraint("kind"),)

    id: int | None = Field(default=None, primary_key=True)
    kind: str = Field(max_length=16)
    columns: dict[str, Any] = Field(sa_column=Column(Json, nullable=False))
