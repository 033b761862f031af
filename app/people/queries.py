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


@dataclass(frozen=True)
class TokenHolder:
    """A valid API token: the role it acts with, and the supervisor who answers for it."""

    person_id: int
    name: str
    role: Role
    label: str


def signed_in(session: Session, token_hash: str, now: datetime) -> SignedIn | None:
    """Return the valid sign-in with this token hash, or None."""
    row = session.exec(
        select(SignIn.id, Person.id, Person.name, Person.role, Person.theme, Person.hand)
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
    return SignedIn(row[0] or 0, row[1] or 0, row[2], row[3], str(row[4].value), str(row[5].value))


def token_holder(session: Session, token_hash: str) -> TokenHolder | None:
    """Return the holder of a valid API token, or None."""
    row = session.exec(
        select(Person.id, Person.name, ApiToken.role, ApiToken.label)
        .join(Person, col(Person.id) == col(ApiToken.person_id))
        .where(
            col(ApiToken.token_hash) == token_hash,
            col(ApiToken.revoked_at).is_(None),
            col(Person.active).is_(True),
        )
    ).first()
    return None if row is None else TokenHolder(row[0] or 0, row[1], row[2], row[3])


def names(session: Session) -> dict[int, str]:
    """Return the names of all staff, past ones too, by id."""
    return {p_id: name for p_id, name in session.exec(select(Person.id, Person.name)).all() if p_id is not None}
