"""SELECTs about staff, their sign-ins, tokens and links."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.people.models import ApiToken, Person, Role, SetupLink, SignIn, Tablet
from app.platform.errors import NotFound

# Whose taps count: the roles that work at the bench.
BENCH_ROLES = frozenset({Role.TECHNICIAN, Role.SUPERVISOR})


@dataclass(frozen=True)
class SignedIn:
    """A valid sign-in, its person, and the tablet it was made on.

    ``has_tap_right`` tells whether the hash of its tap right is stored; older sign-ins had none.
    """

    sign_in_id: int
    person_id: int
    name: str
    role: Role
    theme: str
    hand: str
    tones: str
    last_seen_at: datetime
    has_tap_right: bool
    tablet_id: int | None
    tablet_seen_at: datetime | None


@dataclass(frozen=True)
class TokenHolder:
    """A valid API token: the role it acts with, and the supervisor who answers for it."""

    person_id: int
    name: str
    role: Role
    label: str
    token_id: int
    last_used_at: datetime | None


def shown_name(name: str) -> str:
    """Return a name as it is shown: white space folded."""
    return " ".join(name.split())


def name_key(name: str) -> str:
    """Return what a name is looked up by: white space folded, case-folded, at most 80 characters."""
    return shown_name(name).casefold()[:80]


def signed_in(session: Session, token_hash: str, now: datetime) -> SignedIn | None:
    """Return the valid sign-in with this token hash, or None."""
    row = session.exec(
        select(SignIn, Person, Tablet)
        .join(Person, col(Person.id) == col(SignIn.person_id))
        .outerjoin(Tablet, col(Tablet.id) == col(SignIn.tablet_id))
        .where(
            col(SignIn.token_hash) == token_hash,
            col(SignIn.revoked_at).is_(None),
            col(SignIn.signed_out_at).is_(None),
            col(SignIn.expires_at) > now,
            col(Person.active).is_(True),
        )
    ).first()
    if row is None:
        return None
    found, person, tablet = row
    return SignedIn(
        sign_in_id=found.id or 0,
        person_id=person.id or 0,
        name=person.name,
        role=person.role,
        theme=person.theme.value,
        hand=person.hand.value,
        tones=person.tones.value,
        last_seen_at=found.last_seen_at,
        has_tap_right=found.tap_hash is not None,
        tablet_id=found.tablet_id,
        tablet_seen_at=tablet.last_seen_at if tablet else None,
    )


def token_holder(session: Session, token_hash: str) -> TokenHolder | None:
    """Return the holder of a valid API token, or None.

    A token answers to a supervisor: it ends when the one who made it is none any more.
    """
    row = session.exec(
        select(ApiToken, Person)
        .join(Person, col(Person.id) == col(ApiToken.person_id))
        .where(
            col(ApiToken.token_hash) == token_hash,
            col(ApiToken.revoked_at).is_(None),
            col(Person.active).is_(True),
            col(Person.role) == Role.SUPERVISOR,
        )
    ).first()
    if row is None:
        return None
    token, person = row
    return TokenHolder(person.id or 0, person.name, token.role, token.label, token.id or 0, token.last_used_at)


def names(session: Session) -> dict[int, str]:
    """Return the names of all staff, past ones too, by id."""
    return {p_id: name for p_id, name in session.exec(select(Person.id, Person.name)).all() if p_id is not None}


def active_names(session: Session, *roles: Role) -> tuple[str, ...]:
    """Return the names of active staff with one of the roles, in alphabetical order."""
    return tuple(
        session.exec(
            select(Person.name)
            .where(col(Person.role).in_(roles), col(Person.active).is_(True))
            .order_by(col(Person.name_key))
        ).all()
    )


def role_named(session: Session, name: str) -> Role | None:
    """Return the role of the active person who signs in under a name, or None."""
    mine = col(Person.name_key) == name_key(name)
    found = session.exec(select(Person.role).where(mine, col(Person.active).is_(True))).first()
    return None if found is None else Role(found)


def role_of(session: Session, person_id: int | None) -> Role:
    """Return the role of a known person."""
    return Role(session.exec(select(Person.role).where(col(Person.id) == person_id)).one())


@dataclass(frozen=True)
class StaffRow:
    """One member of staff in the list; ``last_seen_at`` is the newest use of any of their sign-ins."""

    id: int
    name: str
    role: Role
    active: bool
    version: int
    last_seen_at: datetime | None


@dataclass(frozen=True)
class SignInRow:
    """One open sign-in of a person; ``device`` begins with the label of an enrolled tablet."""

    id: int
    device: str
    address: str
    created_at: datetime
    last_seen_at: datetime


@dataclass(frozen=True)
class TokenRow:
    """One API token in the list."""

    id: int
    label: str
    role: Role
    made_by: str
    created_at: datetime
    last_used_at: datetime | None
    revoked_at: datetime | None


@dataclass(frozen=True)
class LinkInfo:
    """A one-time link that can still be used; the first supervisor's has no person yet."""

    person_id: int | None
    name: str
    role: Role
    expires_at: datetime


def staff(session: Session) -> tuple[StaffRow, ...]:
    """Return all staff, active ones first, in alphabetical order."""
    seen = dict(
        session.exec(select(SignIn.person_id, func.max(col(SignIn.last_seen_at))).group_by(col(SignIn.person_id))).all()
    )
    people = session.exec(select(Person).order_by(col(Person.active).desc(), col(Person.name_key))).all()
    return tuple(_staff_row(p, seen.get(p.id or 0)) for p in people)


def member(session: Session, person_id: int) -> StaffRow:
    """Return one member of staff; NotFound when there is none with this id."""
    person = session.exec(select(Person).where(col(Person.id) == person_id)).first()
    if person is None:
        raise NotFound("such person")
    seen = session.exec(select(func.max(col(SignIn.last_seen_at))).where(col(SignIn.person_id) == person_id)).one()
    return _staff_row(person, seen)


def _staff_row(person: Person, seen: datetime | None) -> StaffRow:
    return StaffRow(person.id or 0, person.name, person.role, person.active, person.version, seen)


def open_sign_ins(session: Session, person_id: int, now: datetime) -> tuple[SignInRow, ...]:
    """Return a person's open sign-ins, the one used last first."""
    rows = session.exec(
        select(SignIn, Tablet.label)
        .outerjoin(Tablet, col(Tablet.id) == col(SignIn.tablet_id))
        .where(
            col(SignIn.person_id) == person_id,
            col(SignIn.revoked_at).is_(None),
            col(SignIn.signed_out_at).is_(None),
            col(SignIn.expires_at) > now,
        )
        .order_by(col(SignIn.last_seen_at).desc(), col(SignIn.id).desc())
    ).all()
    return tuple(
        SignInRow(
            r.id or 0,
            f"{label}, {device_words(r.agent)}" if label else device_words(r.agent),
            r.address,
            r.created_at,
            r.last_seen_at,
        )
        for r, label in rows
    )


_SYSTEMS = (
    ("iPad", "iPad"),
    ("iPhone", "iPhone"),
    ("Android", "Android device"),
    ("Windows", "Windows machine"),
    ("CrOS", "Chromebook"),
    ("Mac OS X", "Mac"),
    ("Linux", "Linux machine"),
)
_BROWSERS = (("Edg/", "Edge"), ("Firefox/", "Firefox"), ("Chrome/", "Chrome"), ("Safari/", "Safari"))


def device_words(agent: str) -> str:
    """Return what a browser says of itself in words a person recognises, as far as it is known."""
    system = next((words for mark, words in _SYSTEMS if mark in agent), "")
    browser = next((words for mark, words in _BROWSERS if mark in agent), "")
    if system and browser:
        return f"{browser} on {'an' if system[0] in 'aAiI' else 'a'} {system}"
    return system or browser or "Unknown device"


def tokens(session: Session) -> tuple[TokenRow, ...]:
    """Return all API tokens, usable ones first, newest first."""
    rows = session.exec(
        select(ApiToken, Person.name)
        .join(Person, col(Person.id) == col(ApiToken.person_id))
        .order_by(col(ApiToken.revoked_at).is_not(None), col(ApiToken.id).desc())
    ).all()
    return tuple(
        TokenRow(t.id or 0, t.label, t.role, name, t.created_at, t.last_used_at, t.revoked_at) for t, name in rows
    )


def usable_link(session: Session, token_hash: str, now: datetime) -> LinkInfo | None:
    """Return a one-time link that can still be used, or None."""
    row = session.exec(
        select(SetupLink, Person)
        .outerjoin(Person, col(Person.id) == col(SetupLink.person_id))
        .where(
            col(SetupLink.token_hash) == token_hash,
            col(SetupLink.used_at).is_(None),
            col(SetupLink.expires_at) > now,
        )
    ).first()
    if row is None:
        return None
    link, person = row
    if link.person_id is None:
        return LinkInfo(None, "", Role.SUPERVISOR, link.expires_at)
    if person is None or not person.active:
        return None
    return LinkInfo(person.id, person.name, person.role, link.expires_at)
