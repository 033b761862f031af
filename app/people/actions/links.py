"""One-time links: the first supervisor's, and those that let a person choose a new secret."""

from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from app.people.actions.signing import revoke_all
from app.people.actions.staff import add_person, end_links, load_person
from app.people.models import Person, Role, SetupLink
from app.people.secrets import check_secret, hash_secret, new_token, token_hash
from app.platform.errors import Refused

LINK_LASTS = timedelta(hours=24)
USELESS = "This link was used or has run out. Ask a supervisor for a new one."


def make_setup_link(session: Session, person_id: int | None, at: datetime) -> str:
    """Make a one-time link and return its token; the address is /setup/<token>, good for 24 hours.

    Without a person it is the first supervisor's, and refused when there is a supervisor already. A newer link
    of the same person makes the earlier ones useless.
    """
    if person_id is None:
        _no_supervisor_yet(session)
    else:
        if not load_person(session, person_id).active:
            raise Refused("This person is not active. Let them sign in again first.")
        end_links(session, person_id, at)
    token = new_token()
    session.add(SetupLink(token_hash=token_hash(token), person_id=person_id, created_at=at, expires_at=at + LINK_LASTS))
    session.flush()
    return token


def use_setup_link(session: Session, token: str, name: str, secret: str, at: datetime) -> int:
    """Use a link up: add the first supervisor under ``name``, or give its person the secret. Returns the id."""
    link = session.exec(
        select(SetupLink)
        .where(
            col(SetupLink.token_hash) == token_hash(token),
            col(SetupLink.used_at).is_(None),
            col(SetupLink.expires_at) > at,
        )
        .with_for_update()
    ).first()
    if link is None:
        raise Refused(USELESS)
    if link.person_id is None:
        _no_supervisor_yet(session)
        person_id = add_person(session, name, Role.SUPERVISOR, secret, at)
    else:
        person = load_person(session, link.person_id)
        if not person.active:
            raise Refused(USELESS)
        person.secret_hash = hash_secret(check_secret(person.role, secret))
        session.add(person)
        person_id = link.person_id
        revoke_all(session, person_id, at)
    link.used_at = at
    session.add(link)
    session.flush()
    return person_id


def _no_supervisor_yet(session: Session) -> None:
    if session.exec(select(Person.id).where(col(Person.role) == Role.SUPERVISOR)).first() is not None:
        raise Refused("There is a supervisor already. Ask them to add you, or for a link to choose a new secret.")
