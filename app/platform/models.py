"""Tables of the platform: what was submitted, so that the same again is answered with the first outcome."""

from datetime import datetime

from sqlmodel import Field, SQLModel

from app.platform.types import enum_type  # noqa: F401  Sets the naming convention first.


class Submission(SQLModel, table=True):
    """One accepted write, by the id that was made where it started."""

    __tablename__ = "submission"

    id: str = Field(primary_key=True, max_length=36)
    content_hash: str = Field(max_length=64)
    person_id: int | None = Field(default=None, foreign_key="person.id")
    location: str = Field(default="", max_length=300)
    created_at: datetime = Field(index=True)


class Heartbeat(SQLModel, table=True):
    """One row that the readiness check writes to, so that a full disk shows before the next tick does."""

    __tablename__ = "heartbeat"

    id: int = Field(primary_key=True)
    beats: int = Field(default=0, sa_column_kwargs={"server_default": "0"})
