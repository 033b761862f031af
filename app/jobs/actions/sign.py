"""Signatures of a second pair of eyes: a supervisor's for an override, another person's for a release test."""

from datetime import datetime

from sqlmodel import Session

from app.people.actions import Verified, verify_person
from app.people.models import Role
from app.platform.errors import Refused


def supervisor_signs(session: Session, name: str, secret: str, *, at: datetime, address: str) -> Verified:
    """Return the supervisor with this name and passphrase.

    Raises TooMany when there were too many tries, and Refused beside ``name`` or ``secret``.
    """
    found = verify_person(session, name, secret, at, address, field="secret")
    if found.role is not Role.SUPERVISOR:
        raise Refused(f"{found.name} is no supervisor. A supervisor overrides, by name and passphrase.", "name")
    return found


def second_signs(session: Session, name: str, secret: str, *, tester: int, at: datetime, address: str) -> Verified:
    """Return the second person of a release test, who is not the tester and works at the bench.

    Raises TooMany when there were too many tries, and Refused beside ``second_name`` or ``second_secret``.
    """
    if not name:
        raise Refused("A second person signs this test, by name and with their own code.", "second_name")
    found = verify_person(session, name, secret, at, address, field="second_secret")
    if found.id == tester:
        raise Refused("The second person is somebody else than the tester.", "second_name")
    if found.role is Role.STORES:
        raise Refused("A technician or a supervisor signs as the second person.", "second_name")
    return found
