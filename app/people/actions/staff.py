"""Staff: add, change, deactivate; their preferences and secrets."""

from datetime import datetime

from sqlmodel import Session, col, select

from app.people.actions.signing import revoke_all
from app.people.models import Hand, Person, Role, SetupLink, Theme, Tones
from app.people.queries import name_key, shown_name
from app.people.secrets import check_secret, hash_secret, new_token, verify
from app.platform.errors import NotFound, Refused, Stale


def add_person(session: Session, name: str, role: Role, secret: str | None, at: datetime) -> int:
    """Add a member of staff; returns the id. Refused when the name is taken or the secret too weak.

    Without a secret nobody can sign in under the name until a one-time link was used to choose one.
    """
    shown = shown_name(name)
    if not shown:
        raise Refused("Enter a name.", "name")
    if len(shown) > 80:
        raise Refused("At most 80 characters; shorten this.", "name")
    if session.exec(select(Person.id).where(col(Person.name_key) == name_key(name))).first() is not None:
        raise Refused(f"There is already somebody called {shown}. Add a second name.", "name")
    person = Person(
        name=shown,
        name_key=name_key(name),
        role=role,
        secret_hash=hash_secret(new_token() if secret is None else check_secret(role, secret)),
        created_at=at,
    )
    session.add(person)
    session.flush()
    assert person.id is not None
    return person.id


def load_person(session: Session, person_id: int, version: int | None = None) -> Person:
    """Return a person, locked; NotFound, or Stale when the version shown is not the newest."""
    person = session.exec(select(Person).where(col(Person.id) == person_id).with_for_update()).first()
    if person is None:
        raise NotFound("such person")
    if version is not None and person.version != version:
        now = f"{person.name} is {'a' if person.active else 'no longer an active'} {person.role.value} now."
        raise Stale(person.name, (now,), f"/people/{person_id}")
    return person


def change_role(session: Session, person_id: int, role: Role, version: int, at: datetime) -> bool:
    """Give a person another role; returns whether they need a new secret.

    A PIN never becomes a supervisor's or a stores clerk's secret, nor the other way round: the old secret then
    ends, with all sign-ins, and a one-time link must be made.
    """
    person = load_person(session, person_id, version)
    if person.role is role:
        return False
    if person.role is Role.SUPERVISOR:
        _another_supervisor(session, person_id)
    new_secret = Role.TECHNICIAN in (person.role, role)
    person.role = role
    person.version += 1
    if new_secret:
        person.secret_hash = hash_secret(new_token())
        revoke_all(session, person_id, at)
    session.add(person)
    session.flush()
    return new_secret


def deactivate(session: Session, person_id: int, version: int, at: datetime) -> None:
    """Let a person sign in no more; ends their sign-ins and links. The last supervisor stays."""
    person = load_person(session, person_id, version)
    if not person.active:
        return
    if person.role is Role.SUPERVISOR:
        _another_supervisor(session, person_id)
    person.active = False
    person.version += 1
    session.add(person)
    revoke_all(session, person_id, at)
    end_links(session, person_id, at)


def reactivate(session: Session, person_id: int, version: int) -> None:
    """Let a person sign in again with the secret they had."""
    person = load_person(session, person_id, version)
    if not person.active:
        person.active = True
        person.version += 1
        session.add(person)


def end_links(session: Session, person_id: int, at: datetime) -> None:
    """Make all unused one-time links of a person useless."""
    unused = select(SetupLink).where(col(SetupLink.person_id) == person_id, col(SetupLink.used_at).is_(None))
    for link in session.exec(unused):
        link.used_at = at
        session.add(link)


def _another_supervisor(session: Session, person_id: int) -> None:
    """Refuse unless somebody else is an active supervisor; locks them all, so two cannot leave at once."""
    active = session.exec(
        select(Person.id)
        .where(col(Person.role) == Role.SUPERVISOR, col(Person.active).is_(True))
        .order_by(col(Person.id))
        .with_for_update()
    ).all()
    if set(active) <= {person_id}:
        raise Refused("This is the last active supervisor. Make somebody else a supervisor first.")


def set_preferences(
    session: Session, person_id: int, theme: Theme | None, hand: Hand | None, tones: Tones | None = None
) -> None:
    """Keep how a person likes the pages; None leaves a preference as it is."""
    person = load_person(session, person_id)
    person.theme = theme or person.theme
    person.hand = hand or person.hand
    person.tones = tones or person.tones
    session.add(person)


def change_secret(session: Session, person_id: int, new: str, at: datetime, keep: int | None = None) -> None:
    """Give a person who has just shown the present secret a new one; Refused when it is too weak or the same.

    All other sign-ins of the person end; ``keep`` is the one in use.
    """
    person = load_person(session, person_id)
    if verify(person.secret_hash, new):
        raise Refused("Choose one that differs from the present one.", "new")
    person.secret_hash = hash_secret(check_secret(person.role, new, "new"))
    session.add(person)
    revoke_all(session, person_id, at, keep)
