"""Writes of the people room. None of them commits."""

from datetime import datetime

from sqlmodel import Session, col, select

from app.people.models import Person, Role
from app.people.secrets import check_secret, hash_secret
from app.platform.errors import Refused


def name_key(name: str) -> str:
    """Return what a name is looked up by: white space folded, case-folded."""
    return " ".join(name.split()).casefold()


def add_person(session: Session, name: str, role: Role, secret: str, at: datetime) -> int:
    """Add a member of staff; returns the id. Refused when the name is taken or the secret too weak."""
    shown = " ".join(name.split())
    if not shown:
        raise Refused("Enter a name.", "name")
    if session.exec(select(Person.id).where(col(Person.name_key) == name_key(name))).first() is not None:
        raise Refused(f"There is already somebody called {shown}. Add a second name.", "name")
    person = Person(
        name=shown,
        name_key=name_key(name),
        role=role,
        secret_hash=hash_secret(check_secret(role, secret)),
        created_at=at,
    )
    session.add(person)
    session.flush()
    assert person.id is not None
    return person.id
