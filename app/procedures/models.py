"""Tables of the procedures room: device models, procedures, frozen revisions and their drawings."""

from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, Column, Text, UniqueConstraint
from sqlmodel import Field, SQLModel

from app.platform.types import Json, enum_type
from app.rules.sheet import Identifier


class DeviceModelRow(SQLModel, table=True):
    """A device model that procedures are written for."""

    __tablename__ = "device_model"

    id: int | None = Field(default=None, primary_key=True)
    code: str = Field(max_length=48, unique=True)
    name: str = Field(max_length=120)
    kind: str = Field(max_length=120)
    identifier: Identifier = Field(sa_column=Column(enum_type(Identifier, "identifier"), nullable=False))
    has_cell: bool = True
    ingress: str | None = Field(default=None, max_length=12)


class Procedure(SQLModel, table=True):
    """A procedure; its content lives in its revisions."""

    __tablename__ = "procedure"

    id: int | None = Field(default=None, primary_key=True)
    code: str = Field(max_length=48, unique=True)
    title: str = Field(max_length=120)
    device_model_id: int = Field(foreign_key="device_model.id", index=True)


class Revision(SQLModel, table=True):
    """A published revision: the whole sheet as canonical JSON. Never changed once it is here."""

    __tablename__ = "revision"
    __table_args__ = (
        UniqueConstraint("procedure_id", "number"),
        CheckConstraint("number >= 1", name="number_positive"),
    )

    id: int | None = Field(default=None, primary_key=True)
    procedure_id: int = Field(foreign_key="procedure.id", index=True)
    number: int
    document: dict[str, Any] = Field(sa_column=Column(Json, nullable=False))
    drawings: dict[str, Any] = Field(
        sa_column=Column(Json, nullable=False), description="picture name → hash of the drawing"
    )
    sha256: str = Field(max_length=64)
    published_at: datetime
    published_by: int | None = Field(default=None, foreign_key="person.id")


class Drawing(SQLModel, table=True):
    """A cleaned SVG line drawing, stored once by the hash of its content."""

    __tablename__ = "drawing"

    sha256: str = Field(primary_key=True, max_length=64)
    title: str = Field(default="", max_length=200)
    svg: str = Field(sa_column=Column(Text, nullable=False))


class Fault(SQLModel, table=True):
    """A fault word of a device model and the unit that usually explains it."""

    __tablename__ = "fault"
    __table_args__ = (UniqueConstraint("device_model_id", "code"),)

    id: int | None = Field(default=None, primary_key=True)
    device_model_id: int = Field(foreign_key="device_model.id", index=True)
    code: str = Field(max_length=48)
    words: str = Field(max_length=120)
    unit: str | None = Field(default=None, max_length=48)
