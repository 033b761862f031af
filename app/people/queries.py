"""Every SELECT of the people room."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from app.people.models import ApiToken, Person, Role, SignIn


@dataclass(frozen=True)
class SignedIn:
    """A valid sign-in and its person."""

    sign_in_id: int
    person_id: int
    name: str
    role: Role
    theme: str
    hand: str
    last_seen_at: datetime


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
        select(SignIn.id, Person.id, Person.name, Person.role, Person.theme, Person.hand, SignIn.last_seen_at)
        .join(Person, col(Person.id) == col(SignIn.person_id))
        .where(
            col(SignIn.token_hash) == token_hash,
            col(SignIn.revoked_at).is_(None),
            col(SignIn.expires_at) > now,
            col(Person.active).is_(True),
        )
    ).first()
    if row is None:
        return None
    return SignedIn(row[0] or 0, row[1] or 0, row[2], row[3], str(row[4].value), str(row[5].value), row[6])


def token_holder(session: Session, token_hash: str) -> TokenHolder | None:
    """Return the holder of a valid API token, or None."""
    row = session.exec(
        select(Person.id, Person.name, ApiToken.role, ApiToken.label, ApiToken.id, ApiToken.last_used_at)
        .join(Person, col(Person.id) == col(ApiToken.person_id))
        .where(
            col(ApiToken.token_hash) == token_hash,
            col(ApiToken.revoked_at).is_(None),
            col(Person.active).is_(True),
            # A token answers to a supervisor: it ends when the one who made it is none any more.
            col(Person.role) == Role.SUPERVISOR,
        )
    ).first()
    if row is None:
        return None
    return TokenHolder(row[0] or 0, row[1], row[2], row[3], row[4] or 0, row[5])


def names(session: Session) -> dict[int, str]:
    """Return the names of all staff, past ones too, by id."""
    return {p_id: name for p_id, name in session.exec(select(Person.id, Person.name)).all() if p_id is not None}
