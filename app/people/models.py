"""Tables of the people room: staff, their sign-ins, tokens and one-time set-up links."""

from datetime import datetime
from enum import StrEnum

from sqlalchemy import CheckConstraint, Column, Index
from sqlmodel import Field, SQLModel

from app.platform.types import BigId, enum_type


class Role(StrEnum):
    """What a person does here; every route says which of them may use it."""

    TECHNICIAN = "technician"
    STORES = "stores"
    SUPERVISOR = "supervisor"


class Theme(StrEnum):
    AUTO = "auto"
    LIGHT = "light"
    DARK = "dark"
    CONTRAST = "contrast"


class Hand(StrEnum):
    RIGHT = "right"
    LEFT = "left"


class Tones(StrEnum):
    """How loud the bench page tells what became of a tap; shape and words tell it as well."""

    OFF = "off"
    SOFT = "soft"
    LOUD = "loud"


class Person(SQLModel, table=True):
    """A member of staff. The secret is an Argon2id hash of a passphrase, or of a PIN for technicians."""

    __tablename__ = "person"
    __table_args__ = (CheckConstraint("length(name) between 1 and 80", name="name_length"),)

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(max_length=80)
    name_key: str = Field(max_length=80, unique=True, description="The name case-folded: what sign-in looks up.")
    role: Role = Field(sa_column=Column(enum_type(Role, "role"), nullable=False))
    secret_hash: str = Field(max_length=255)
    active: bool = True
    theme: Theme = Field(default=Theme.AUTO, sa_column=Column(enum_type(Theme, "theme"), nullable=False))
    hand: Hand = Field(default=Hand.RIGHT, sa_column=Column(enum_type(Hand, "hand"), nullable=False))
    tones: Tones = Field(
        default=Tones.SOFT, sa_column=Column(enum_type(Tones, "tones"), nullable=False, server_default="soft")
    )
    created_at: datetime
    version: int = 1


class SignIn(SQLModel, table=True):
    """One signed-in browser. Only the hash of its cookie is kept, so a stolen database signs nobody in."""

    __tablename__ = "sign_in"

    id: int | None = Field(default=None, primary_key=True)
    token_hash: str = Field(max_length=64, unique=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    created_at: datetime
    last_seen_at: datetime
    expires_at: datetime
    revoked_at: datetime | None = None
    agent: str = Field(default="", max_length=200)
    address: str = Field(default="", max_length=64)
    tap_hash: str | None = Field(
        default=None, max_length=64, unique=True, description="Hash of the right that what is tapped under it carries."
    )
    signed_out_at: datetime | None = Field(default=None, description="Set by the person; a revocation sets the other.")
    tablet_id: int | None = Field(default=None, foreign_key="tablet.id", index=True)


class Tablet(SQLModel, table=True):
    """A tablet that a supervisor enrolled: PINs are taken on it. Only the hash of its cookie is kept."""

    __tablename__ = "tablet"
    __table_args__ = (
        CheckConstraint("length(label) between 1 and 80", name="label_length"),
        CheckConstraint("waiting >= 0", name="waiting_not_negative"),
    )

    id: int | None = Field(default=None, primary_key=True)
    label: str = Field(max_length=80)
    token_hash: str = Field(max_length=64, unique=True)
    enrolled_at: datetime
    enrolled_by: int = Field(foreign_key="person.id")
    revoked_at: datetime | None = None
    revoked_by: int | None = Field(default=None, foreign_key="person.id")
    last_seen_at: datetime | None = None
    waiting: int = Field(default=0, description="Entries that waited on the tablet when it was last in contact.")
    waiting_since: datetime | None = None
    version: int = 1


class TabletCode(SQLModel, table=True):
    """A one-time code that enrols one tablet under a label; only its hash is kept."""

    __tablename__ = "tablet_code"

    id: int | None = Field(default=None, primary_key=True)
    code_hash: str = Field(max_length=64, unique=True)
    label: str = Field(max_length=80)
    made_by: int = Field(foreign_key="person.id")
    created_at: datetime
    expires_at: datetime
    used_at: datetime | None = None


class SignInAttempt(SQLModel, table=True):
    """One failed try to sign in; the rate limits count these by person and by address."""

    __tablename__ = "sign_in_attempt"
    __table_args__ = (
        Index("ix_sign_in_attempt_name_key_at", "name_key", "at"),
        Index("ix_sign_in_attempt_address_at", "address", "at"),
    )

    id: int | None = Field(default=None, sa_column=Column(BigId, primary_key=True))
    name_key: str = Field(max_length=80)
    address: str = Field(max_length=64)
    at: datetime


class ApiToken(SQLModel, table=True):
    """A bearer token for the JSON API, made by a supervisor; it acts with the role it was given."""

    __tablename__ = "api_token"

    id: int | None = Field(default=None, primary_key=True)
    label: str = Field(max_length=80)
    token_hash: str = Field(max_length=64, unique=True)
    role: Role = Field(sa_column=Column(enum_type(Role, "role"), nullable=False))
    person_id: int = Field(foreign_key="person.id", description="The supervisor who made it and answers for it.")
    created_at: datetime
    last_used_at: datetime | None = None
    revoked_at: datetime | None = None


class SetupLink(SQLModel, table=True):
    """A one-time link: the first supervisor's, or one that lets a person choose a new secret."""

    __tablename__ = "setup_link"

    id: int | None = Field(default=None, primary_key=True)
    token_hash: str = Field(max_length=64, unique=True)
    person_id: int | None = Field(default=None, foreign_key="person.id")
    created_at: datetime
    expires_at: datetime
    used_at: datetime | None = None
