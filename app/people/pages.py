"""Contexts of the people room's pages."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from markupsafe import Markup

from app.people.models import Hand, Role, Theme, Tones
from app.people.queries import KnownTablet, LinkInfo, OpenCode, SignInRow, StaffRow, TabletRow, TokenRow
from app.platform.forms import Form

Choice = tuple[str, str, str]
"""One offered answer: value, title, words under it."""


@dataclass(frozen=True)
class DemoSignIn:
    """How one of the demo staff signs in; shown in the demo workshop alone."""

    name: str
    role: str
    secret: str


@dataclass(frozen=True)
class SignInPage:
    """The sign-in page. ``chosen`` is the technician whose name was tapped; then only a PIN is asked for.

    Without ``pins`` no PIN is taken here, because this is no enrolled tablet, or one that was ``revoked``; ``tablet``
    is the label of an enrolled one.
    """

    form: Form[Any]
    next: str
    technicians: tuple[str, ...]
    pins: bool
    tablet: str = ""
    revoked: bool = False
    chosen: str = ""
    demo: tuple[DemoSignIn, ...] = ()


@dataclass(frozen=True)
class StaffPage:
    """The list of staff."""

    staff: tuple[StaffRow, ...]


@dataclass(frozen=True)
class NewPersonPage:
    """The form for a new member of staff."""

    form: Form[Any]
    roles: tuple[Choice, ...]


@dataclass(frozen=True)
class PersonPage:
    """One member of staff. ``link`` is a one-time link just made: it is shown this once."""

    person: StaffRow
    form: Form[Any]
    roles: tuple[Choice, ...]
    sign_ins: tuple[SignInRow, ...]
    link: str = ""
    link_hours: int = 24


@dataclass(frozen=True)
class SetupPage:
    """What a one-time link shows. Without ``link`` it is useless and only says so."""

    form: Form[Any]
    link: LinkInfo | None

    @property
    def pin(self) -> bool:
        """Whether a PIN is chosen, not a passphrase."""
        return self.link is not None and self.link.role is Role.TECHNICIAN


@dataclass(frozen=True)
class MePage:
    """A person's own page."""

    form: Form[Any]
    pin: bool
    sign_ins: tuple[SignInRow, ...]
    this: int | None
    themes: tuple[Choice, ...]
    hands: tuple[Choice, ...]
    tones: tuple[Choice, ...]
    changed: bool = False


@dataclass(frozen=True)
class TokensPage:
    """The API tokens. ``token`` is one just made: it is shown this once."""

    tokens: tuple[TokenRow, ...]
    form: Form[Any]
    roles: tuple[Choice, ...]
    token: str = ""


@dataclass(frozen=True)
class NewCode:
    """A one-time code just made: it is shown this once, as text and as a picture of the address that takes it."""

    code: str
    label: str
    address: str
    open_at: str
    picture: Markup
    expires_at: datetime


@dataclass(frozen=True)
class TabletsPage:
    """The enrolled tablets, the codes that are still open, and one just made."""

    tablets: tuple[TabletRow, ...]
    codes: tuple[OpenCode, ...]
    form: Form[Any]
    made: NewCode | None = None


@dataclass(frozen=True)
class TabletPage:
    """One tablet."""

    tablet: TabletRow
    form: Form[Any]


@dataclass(frozen=True)
class EnrolPage:
    """What the tablet itself shows while it is being enrolled. ``tablet`` is what it is already, if anything."""

    form: Form[Any]
    tablet: KnownTablet | None


ROLE_CHOICES: tuple[Choice, ...] = (
    (Role.TECHNICIAN.value, "Technician", "Works at the bench; signs in with a PIN."),
    (Role.STORES.value, "Stores", "Hands out, receives, counts and orders; signs in with a passphrase."),
    (Role.SUPERVISOR.value, "Supervisor", "May do everything, and signs exceptions; signs in with a passphrase."),
)
TOKEN_ROLES: tuple[Choice, ...] = (
    (Role.TECHNICIAN.value, "Technician", "May read everything and write to jobs."),
    (Role.STORES.value, "Stores", "May read everything and write to stores."),
    (Role.SUPERVISOR.value, "Supervisor", "May do everything the API offers."),
)
THEME_CHOICES: tuple[Choice, ...] = (
    (Theme.AUTO.value, "As the system", ""),
    (Theme.LIGHT.value, "Light", ""),
    (Theme.DARK.value, "Dark", ""),
    (Theme.CONTRAST.value, "High contrast", ""),
)
HAND_CHOICES: tuple[Choice, ...] = (
    (Hand.RIGHT.value, "Right thumb", ""),
    (Hand.LEFT.value, "Left thumb", ""),
)
TONE_CHOICES: tuple[Choice, ...] = (
    (Tones.OFF.value, "Off", ""),
    (Tones.SOFT.value, "Soft", ""),
    (Tones.LOUD.value, "Loud", ""),
)
