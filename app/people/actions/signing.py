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
from app.people.queries import BENCH_ROLES, name_key
from app.people.secrets import DUMMY_HASH, new_token, tap_right, token_hash, verify
from app.platform.errors import NotFound, Refused, TooMany

WRONG = "This name and secret do not belong together. Check both and try again."
ASK_FOR_LINK = "or ask a supervisor for a link to choose a new secret."


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
    one_at_a_time(session, key)
    within_limits(session, col(SignInAttempt.name_key) == key, at, PERSON_LIMITS)
    within_limits(session, col(SignInAttempt.address) == address[:64], at, ADDRESS_LIMITS)
    attempt = SignInAttempt(name_key=key, address=address[:64], at=at)
    session.add(attempt)
    session.flush()
    row = session.exec(
        select(Person.id, Person.secret_hash).where(col(Person.name_key) == key, col(Person.active).is_(True))
    ).first()
    person_id, stored = row if row is not None else (None, DUMMY_HASH)
    return Attempt(attempt.id or 0, person_id, stored)


def one_at_a_time(session: Session, key: str) -> None:
    """On PostgreSQL let only one try for a name count at a time; SQLite writers are alone already."""
    if session.get_bind().dialect.name == "postgresql":
        session.connection().execute(select(func.pg_advisory_xact_lock(func.hashtext(key))))


def within_limits(
    session: Session, mine: Any, at: datetime, limits: tuple[Limit, ...], otherwise: str = ASK_FOR_LINK
) -> None:
    """Raise TooMany while the failed tries that ``mine`` names fill a limit; ``otherwise`` is what helps besides."""
    failures = session.exec(
        select(SignInAttempt.at)
        .where(mine, col(SignInAttempt.at) > at - LONGEST)
        .order_by(col(SignInAttempt.at).desc())
        .limit(most(limits))
    ).all()
    seconds = wait_s(failures, at, limits)
    if seconds > 0:
        raise TooMany(
            f"Too many tries did not succeed. Wait {wait_words(seconds)}, then try again, {otherwise}",
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
    tablet_id: int | None = None,
) -> str:
    """Sign in the person of a successful attempt; returns the new cookie's token.

    ``replaces`` is the cookie the browser had: its person is signed out, so that a cookie never outlives a sign-in;
    what they tapped before still counts as theirs. ``tablet_id`` is the enrolled tablet it is made on.
    """
    if attempt.person_id is None:
        raise Refused(WRONG)
    _take_back(session, attempt.attempt_id)
    session.exec(delete(SignInAttempt).where(col(SignInAttempt.at) < at - 2 * LONGEST))
    if replaces:
        _sign_out(session, col(SignIn.token_hash) == token_hash(replaces), at)
    token = new_token()
    role = session.exec(select(Person.role).where(col(Person.id) == attempt.person_id)).one()
    session.add(
        SignIn(
            token_hash=token_hash(token),
            person_id=attempt.person_id,
            created_at=at,
            last_seen_at=at,
            expires_at=at + lasts,
            agent=agent[:200],
            address=address[:64],
            tap_hash=token_hash(tap_right(token)) if role in BENCH_ROLES else None,
            tablet_id=tablet_id,
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


def keep_tap_right(session: Session, sign_in_id: int, cookie: str) -> None:
    """Store the hash of the tap right of a sign-in that was made before there were any."""
    session.connection().execute(
        update(SignIn)
        .where(col(SignIn.id) == sign_in_id, col(SignIn.tap_hash).is_(None))
        .values(tap_hash=token_hash(tap_right(cookie)))
    )


def sign_out(session: Session, sign_in_id: int, at: datetime) -> None:
    """Sign a person out on one browser; doing it again changes nothing.

    What they tapped before keeps its right: a tablet that could not send it yet sends it later.
    """
    _sign_out(session, col(SignIn.id) == sign_in_id, at)


def sign_out_elsewhere(session: Session, person_id: int, sign_in_id: int, at: datetime) -> None:
    """Sign a person out, by their own wish, on another tablet or machine; NotFound when the sign-in is not theirs."""
    known = session.exec(
        select(SignIn.id).where(col(SignIn.id) == sign_in_id, col(SignIn.person_id) == person_id)
    ).first()
    if known is None:
        raise NotFound("such sign-in")
    _sign_out(session, col(SignIn.id) == sign_in_id, at)


def revoke_all(session: Session, person_id: int, at: datetime, keep: int | None = None) -> None:
    """Take all of a person's sign-ins away, but the one to keep, because they can no longer be trusted.

    Those the person had signed out of lose their tap right too: what still comes under it is kept as a question.
    """
    mine = col(SignIn.person_id) == person_id
    revoke_where(session, mine if keep is None else mine & (col(SignIn.id) != keep), at)


def revoke_where(session: Session, which: Any, at: datetime) -> None:
    """Revoke the sign-ins that a condition names."""
    session.connection().execute(update(SignIn).where(which, col(SignIn.revoked_at).is_(None)).values(revoked_at=at))


def _sign_out(session: Session, which: Any, at: datetime) -> None:
    still_in = (col(SignIn.revoked_at).is_(None), col(SignIn.signed_out_at).is_(None))
    session.connection().execute(update(SignIn).where(which, *still_in).values(signed_out_at=at))


__all__ = [
    "WRONG",
    "Attempt",
    "Verified",
    "begin_attempt",
    "keep_tap_right",
    "one_at_a_time",
    "revoke_all",
    "revoke_where",
    "see_again",
    "sign_in",
    "sign_out",
    "sign_out_elsewhere",
    "verify_person",
    "within_limits",
]
