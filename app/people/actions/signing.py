"""Signing in and out, and the check of a name and secret for a signature.

A try is written down as failed before the secret is looked at, and taken back when it was right: so guesses that
arrive side by side count like guesses in a row.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import event, func, insert, update
from sqlalchemy.engine import Engine
from sqlmodel import Session, col, delete, select

from app.people.limits import ADDRESS_LIMITS, LONGEST, PERSON_LIMITS, Limit, most, wait_s, wait_words
from app.people.models import Person, Role, SignIn, SignInAttempt
from app.people.queries import name_key
from app.people.secrets import DUMMY_HASH, new_token, token_hash, verify
from app.platform.errors import NotFound, Refused, TooMany

WRONG = "This name and secret do not belong together. Check both and try again."


@dataclass(frozen=True)
class Attempt:
    """One try to sign in, written down as failed. An unknown name has no person and a hash that nothing matches."""

    attempt_id: int
    person_id: int | None
    secret_hash: str

    def right(self, secret: str) -> bool:
        """Whether the secret is the person's; takes as long for a name that nobody has."""
        return verify(self.secret_hash, secret) and self.person_id is not None


@dataclass(frozen=True)
class Verified:
    """Somebody who proved who they are."""

    id: int
    name: str
    role: Role


def begin_attempt(session: Session, name: str, at: datetime, address: str) -> Attempt:
    """Write a try down and return whom it is about; TooMany when the person or the address must wait."""
    key = name_key(name)
    _one_at_a_time(session, key)
    _within_limits(session, col(SignInAttempt.name_key) == key, at, PERSON_LIMITS)
    _within_limits(session, col(SignInAttempt.address) == address[:64], at, ADDRESS_LIMITS)
    attempt = SignInAttempt(name_key=key, address=address[:64], at=at)
    session.add(attempt)
    session.flush()
    row = session.exec(
        select(Person.id, Person.secret_hash).where(col(Person.name_key) == key, col(Person.active).is_(True))
    ).first()
    person_id, stored = row if row is not None else (None, DUMMY_HASH)
    return Attempt(attempt.id or 0, person_id, stored)


def _one_at_a_time(session: Session, key: str) -> None:
    """On PostgreSQL let only one try for a name count at a time; SQLite writers are alone already."""
    if session.get_bind().dialect.name == "postgresql":
        session.connection().execute(select(func.pg_advisory_xact_lock(func.hashtext(key))))


def _within_limits(session: Session, mine: Any, at: datetime, limits: tuple[Limit, ...]) -> None:
    failures = session.exec(
        select(SignInAttempt.at)
        .where(mine, col(SignInAttempt.at) > at - LONGEST)
        .order_by(col(SignInAttempt.at).desc())
        .limit(most(limits))
    ).all()
    seconds = wait_s(failures, at, limits)
    if seconds > 0:
        raise TooMany(
            f"Too many tries did not succeed. Wait {wait_words(seconds)}, then try again, "
            "or ask a supervisor for a link to choose a new secret.",
            seconds,
        )


def sign_in(
    session: Session,
    attempt: Attempt,
    *,
    at: datetime,
    lasts: timedelta,
    agent: str = "",
    address: str = "",
    replaces: str | None = None,
) -> str:
    """Sign in the person of a successful attempt; returns the new cookie's token.

    ``replaces`` is the cookie the browser had: its sign-in ends, so that a cookie never outlives a sign-in.
    """
    if attempt.person_id is None:
        raise Refused(WRONG)
    _take_back(session, attempt.attempt_id)
    session.exec(delete(SignInAttempt).where(col(SignInAttempt.at) < at - 2 * LONGEST))
    if replaces:
        _end(session, col(SignIn.token_hash) == token_hash(replaces), at)
    token = new_token()
    session.add(
        SignIn(
            token_hash=token_hash(token),
            person_id=attempt.person_id,
            created_at=at,
            last_seen_at=at,
            expires_at=at + lasts,
            agent=agent[:200],
            address=address[:64],
        )
    )
    session.flush()
    return token


def _take_back(session: Session, attempt_id: int) -> None:
    session.exec(delete(SignInAttempt).where(col(SignInAttempt.id) == attempt_id))


def verify_person(
    session: Session, name: str, secret: str, at: datetime, address: str, field: str = "secret"
) -> Verified:
    """Return who signs with this name and secret, for overrides and second-person signatures.

    Raises TooMany when the rate limits are reached, and Refused (beside ``field``) when they do not belong
    together; that failure is counted even though the refusal rolls the rest of the transaction back.
    """
    attempt = begin_attempt(session, name, at, address)
    if not attempt.right(secret):
        _count_after_rollback(session, {"name_key": name_key(name), "address": address[:64], "at": at})
        raise Refused(WRONG, field)
    _take_back(session, attempt.attempt_id)
    person = session.exec(select(Person).where(col(Person.id) == attempt.person_id)).one()
    return Verified(person.id or 0, person.name, person.role)


def _count_after_rollback(session: Session, values: dict[str, Any]) -> None:
    """Write the failed try down again when its transaction is rolled back."""
    engine = session.get_bind()
    assert isinstance(engine, Engine)

    def again(_session: Any) -> None:
        with engine.connect().execution_options(countback_write=True) as connection, connection.begin():
            connection.execute(insert(SignInAttempt).values(**values))

    event.listen(session, "after_rollback", again, once=True)


def see_again(session: Session, sign_in_id: int, at: datetime, lasts: timedelta) -> None:
    """Note that a sign-in is in use, which moves its end on."""
    session.connection().execute(
        update(SignIn).where(col(SignIn.id) == sign_in_id).values(last_seen_at=at, expires_at=at + lasts)
    )


def sign_out(session: Session, sign_in_id: int, at: datetime) -> None:
    """End one sign-in; ending it again changes nothing."""
    _end(session, col(SignIn.id) == sign_in_id, at)


def revoke(session: Session, person_id: int, sign_in_id: int, at: datetime) -> None:
    """End one of a person's sign-ins, on whatever tablet it is; NotFound when it is not theirs."""
    known = session.exec(
        select(SignIn.id).where(col(SignIn.id) == sign_in_id, col(SignIn.person_id) == person_id)
    ).first()
    if known is None:
        raise NotFound("such sign-in")
    _end(session, col(SignIn.id) == sign_in_id, at)


def revoke_all(session: Session, person_id: int, at: datetime, keep: int | None = None) -> None:
    """End all sign-ins of a person, but the one to keep."""
    mine = col(SignIn.person_id) == person_id
    _end(session, mine if keep is None else mine & (col(SignIn.id) != keep), at)


def _end(session: Session, which: Any, at: datetime) -> None:
    session.connection().execute(update(SignIn).where(which, col(SignIn.revoked_at).is_(None)).values(revoked_at=at))


__all__ = [
    "WRONG",
    "Attempt",
    "Verified",
    "begin_attempt",
    "revoke",
    "revoke_all",
    "see_again",
    "sign_in",
    "sign_out",
    "verify_person",
]
