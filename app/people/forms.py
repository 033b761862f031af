"""Forms of the people room."""

from typing import Annotated

from pydantic import BaseModel, Field, StringConstraints

from app.people.models import Hand, Role, Theme, Tones

PersonName = Annotated[str, StringConstraints(min_length=1, max_length=80, strip_whitespace=True)]
Secret = Annotated[str, StringConstraints(min_length=1, max_length=200)]


class NewPerson(BaseModel):
    """A new member of staff; the secret is chosen by the person through a one-time link."""

    name: PersonName
    role: Role


class RoleChange(BaseModel):
    """Another role for a person, as of the version shown."""

    role: Role
    version: Annotated[int, Field(ge=1)]


class Versioned(BaseModel):
    """A change that needs nothing but the version shown."""

    version: Annotated[int, Field(ge=1)]


class Setup(BaseModel):
    """What a one-time link asks for; the name only for the first supervisor."""

    name: PersonName = "-"
    secret: Secret
    again: Secret


class Display(BaseModel):
    """How a person likes the pages; one at a time."""

    theme: Theme | None = None
    hand: Hand | None = None
    tones: Tones | None = None


class SecretChange(BaseModel):
    """A new secret of one's own."""

    old: Secret
    new: Secret
    again: Secret


class NewToken(BaseModel):
    """A new API token."""

    label: Annotated[str, StringConstraints(min_length=1, max_length=80, strip_whitespace=True)]
    role: Role


TabletLabel = Annotated[str, StringConstraints(min_length=1, max_length=80, strip_whitespace=True)]


class NewTablet(BaseModel):
    """A tablet to enrol; the label says which one it is."""

    label: TabletLabel


class TabletRename(BaseModel):
    """Another label for a tablet, as of the version shown."""

    label: TabletLabel
    version: Annotated[int, Field(ge=1)]
