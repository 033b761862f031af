"""Tables of the procedures room: device models, procedures, frozen revisions and their drawings."""

from datetime import datetime
from enum import StrEnum
from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, Column, Text, UniqueConstraint
from sqlmodel import Field, SQLModel

from app.platform.types import Json, enum_type
from app.rules.sheet import Identifier


class DraftState(StrEnum):
    """How far a draft is on its way to a published revision."""

    WRITING = "in writing"
    CHECKING = "to be checked"
    PUBLISHED = "published"
    DROPPED = "dropped"


class MediaKind(StrEnum):
    PICTURE = "picture"
    VIDEO = "video"
    WORDS = "words"


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
    also: list[str] = Field(
        default_factory=list,
        sa_column=Column(Json, nullable=False, server_default="[]"),
        description="Further units that may explain it.",
    )
    formerly: list[str] = Field(
        default_factory=list,
        sa_column=Column(Json, nullable=False, server_default="[]"),
        description="Words it had before, so that earlier jobs still count.",
    )


class RepairFacts(SQLModel, table=True):
    """What a procedure cannot know of how easy its device is to repair: one set a procedure, entered by hand."""

    __tablename__ = "repair_facts"

    id: int | None = Field(default=None, primary_key=True)
    procedure_id: int = Field(foreign_key="procedure.id", unique=True)
    facts: dict[str, Any] = Field(sa_column=Column(Json, nullable=False))
    entered_at: datetime
    entered_by: int | None = Field(default=None, foreign_key="person.id")
    version: int = 1


class Draft(SQLModel, table=True):
    """A procedure in writing: a document that may still have gaps. It becomes a revision when a second person agrees.

    ``document`` is plain JSON in the shape of a procedure file, as far as it is written; ``asked`` are the open
    questions about it, each with the words it came from.
    """

    __tablename__ = "draft"
    __table_args__ = (
        CheckConstraint(
            "checked_by IS NULL OR sent_by IS NULL OR checked_by <> sent_by", name="checked_by_a_second_person"
        ),
    )

    id: int | None = Field(default=None, primary_key=True)
    title: str = Field(max_length=120)
    state: DraftState = Field(sa_column=Column(enum_type(DraftState, "draft_state"), nullable=False))
    document: dict[str, Any] = Field(sa_column=Column(Json, nullable=False))
    asked: list[Any] = Field(default_factory=list, sa_column=Column(Json, nullable=False))
    drawings: dict[str, Any] = Field(
        default_factory=dict, sa_column=Column(Json, nullable=False), description="picture name → hash of the drawing"
    )
    base_revision_id: int | None = Field(default=None, foreign_key="revision.id", index=True)
    revision_id: int | None = Field(default=None, foreign_key="revision.id", description="What it was published as.")
    source: str | None = Field(default=None, max_length=64, description="Hash of the words it was drafted from.")
    video: str | None = Field(default=None, max_length=64, description="Hash of the recording its steps show clips of.")
    created_at: datetime
    created_by: int | None = Field(default=None, foreign_key="person.id")
    saved_at: datetime
    saved_by: int | None = Field(default=None, foreign_key="person.id")
    sent_at: datetime | None = None
    sent_by: int | None = Field(default=None, foreign_key="person.id")
    checked_at: datetime | None = None
    checked_by: int | None = Field(default=None, foreign_key="person.id")
    remarks: str = Field(default="", max_length=2000, description="What the checker wrote when sending it back.")
    version: int = 1


class DraftSave(SQLModel, table=True):
    """What a draft was at an earlier version, so that no change is lost and any can be taken back."""

    __tablename__ = "draft_save"
    __table_args__ = (UniqueConstraint("draft_id", "version"),)

    id: int | None = Field(default=None, primary_key=True)
    draft_id: int = Field(foreign_key="draft.id", index=True)
    version: int
    document: dict[str, Any] = Field(sa_column=Column(Json, nullable=False))
    words: str = Field(default="", max_length=200, description="What was changed.")
    saved_at: datetime
    saved_by: int | None = Field(default=None, foreign_key="person.id")


class Media(SQLModel, table=True):
    """A picture, recording or text, stored once as a file named by the hash of its content."""

    __tablename__ = "media"
    __table_args__ = (CheckConstraint("size >= 0", name="size_not_negative"),)

    sha256: str = Field(primary_key=True, max_length=64)
    kind: MediaKind = Field(sa_column=Column(enum_type(MediaKind, "media_kind"), nullable=False))
    content_type: str = Field(max_length=80)
    name: str = Field(default="", max_length=200)
    size: int = Field(sa_column=Column(BigInteger, nullable=False))
    width: int | None = None
    height: int | None = None
    stored_at: datetime
    stored_by: int | None = Field(default=None, foreign_key="person.id")
