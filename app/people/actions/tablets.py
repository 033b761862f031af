"""Bench tablets: enrolled by a supervisor's one-time code, renamed, revoked; what they last told of themselves."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import or_, update
from sqlmodel import Session, col, select

from app.people.actions.signing import one_at_a_time, revoke_where, within_limits
from app.people.limits import ADDRESS_LIMITS, PERSON_LIMITS
from app.people.models import Person, Role, SignIn, SignInAttempt, Tablet, TabletCode
from app.people.secrets import new_code, new_token, plain_code, token_hash
from app.platform.errors import NotFound, Refused, Stale
from app.rules.tablets import CONTACT_EVERY

CODE_LASTS = timedelta(minutes=15)
# Two spaces: no person's name has them, so these tries never count against anybody.
CODE_KEY = "tablet  code "
WRONG_CODE = "No tablet code is like this. Check it sign by sign; 0, 1, 2, 5, 8 and the letters like them never occur."
USED_CODE = "This code has been used. Ask a supervisor for another."
OLD_CODE = "This code has run out; one lasts 15 minutes. Ask a supervisor for another."
ASK_FOR_CODE = "with a new code from a supervisor."


@dataclass(frozen=True)
class Enrolment:
    """What became of a code: the new tablet's cookie and label, or in ``reason`` why there is none."""

    token: str
    label: str
    reason: str = ""


def make_tablet_code(session: Session, label: str, who: int, at: datetime) -> str:
    """Make a one-time code that enrols one tablet under a label within 15 minutes; returns it in plain.

    Only its hash is kept, so it is shown once. A newer code for the same label makes the earlier one useless.
    """
    label = _free_label(session, label)
    session.connection().execute(
        update(TabletCode)
        .where(col(TabletCode.label) == label, col(TabletCode.used_at).is_(None), col(TabletCode.expires_at) > at)
        .values(expires_at=at)
    )
    code = new_code()
    session.add(
        TabletCode(code_hash=token_hash(code), label=label, made_by=who, created_at=at, expires_at=at + CODE_LASTS)
    )
    session.flush()
    return code


def enrol_tablet(session: Session, code: str, at: datetime, address: str) -> Enrolment:
    """Use a code up and enrol the tablet it was typed on; TooMany when the address must wait.

    A wrong code is answered, not raised, so that the try is stored and counts against the address.
    """
    key = f"{CODE_KEY}{address}"[:80]
    one_at_a_time(session, key)
    within_limits(session, col(SignInAttempt.name_key) == key, at, PERSON_LIMITS, ASK_FOR_CODE)
    within_limits(session, col(SignInAttempt.address) == address[:64], at, ADDRESS_LIMITS, ASK_FOR_CODE)
    hashed = token_hash(plain_code(code))
    found = session.exec(select(TabletCode).where(col(TabletCode.code_hash) == hashed).with_for_update()).first()
    reason = ""
    if found is None:
        reason = WRONG_CODE
    elif found.used_at is not None:
        reason = USED_CODE
    elif found.expires_at <= at or not _still_supervisor(session, found.made_by):
        reason = OLD_CODE
    if found is None or reason:
        session.add(SignInAttempt(name_key=key, address=address[:64], at=at))
        session.flush()
        return Enrolment("", "", reason)
    found.used_at = at
    session.add(found)
    return Enrolment(add_tablet(session, found.label, found.made_by, at), found.label)


def _still_supervisor(session: Session, person_id: int) -> bool:
    """Whether a code still has somebody to answer for it."""
    person = session.exec(select(Person).where(col(Person.id) == person_id)).one()
    return person.active and person.role is Role.SUPERVISOR


def add_tablet(session: Session, label: str, who: int, at: datetime) -> str:
    """Add an enrolled tablet and return its cookie; only the hash is kept."""
    token = new_token()
    session.add(Tablet(label=label, token_hash=token_hash(token), enrolled_at=at, enrolled_by=who, last_seen_at=at))
    session.flush()
    return token


def rename_tablet(session: Session, tablet_id: int, label: str, version: int) -> None:
    """Give a tablet another label; Refused when another tablet in use has it."""
    tablet = _load(session, tablet_id, version)
    label = _free_label(session, label, tablet_id)
    if label != tablet.label:
        tablet.label = label
        tablet.version += 1
        session.add(tablet)


def revoke_tablet(session: Session, tablet_id: int, version: int, at: datetime, who: int) -> None:
    """Take a tablet out of use: no PIN is taken on it, its sign-ins end, what it still sends is kept as a question."""
    tablet = _load(session, tablet_id, version)
    if tablet.revoked_at is None:
        tablet.revoked_at = at
        tablet.revoked_by = who
        tablet.version += 1
        session.add(tablet)
        session.flush()
        revoke_where(session, col(SignIn.tablet_id) == tablet_id, at)


def _load(session: Session, tablet_id: int, version: int) -> Tablet:
    tablet = session.exec(select(Tablet).where(col(Tablet.id) == tablet_id).with_for_update()).first()
    if tablet is None:
        raise NotFound("such tablet")
    if tablet.version != version:
        now = f"It is called {tablet.label} now." if tablet.revoked_at is None else f"{tablet.label} is revoked now."
        raise Stale(tablet.label, (now,), f"/people/tablets/{tablet_id}")
    return tablet


def _free_label(session: Session, label: str, but: int = 0) -> str:
    """Return a label with its white space folded; Refused when it is empty or a tablet in use has it."""
    label = " ".join(label.split())
    if not label:
        raise Refused("Say which tablet it is.", "label")
    in_use = session.exec(select(Tablet.id, Tablet.label).where(col(Tablet.revoked_at).is_(None))).all()
    if any(known.casefold() == label.casefold() and tablet_id != but for tablet_id, known in in_use):
        raise Refused(
            f"There is already a tablet called {label}. Choose another label, or revoke that one first if this is the "
            "same tablet after its browser data were cleared.",
            "label",
        )
    return label


def note_contact(
    session: Session,
    tablet_id: int,
    at: datetime,
    waiting: int,
    waiting_since: datetime | None,
    every: timedelta = CONTACT_EVERY,
) -> None:
    """Note that a tablet was in contact and how many entries still wait on it, the oldest since when.

    Nothing is written when the last note is younger than ``every`` and entries neither began nor ceased to wait;
    ``Tapper.contact_due`` knows that beforehand.
    """
    begins_or_ends = col(Tablet.waiting) == 0 if waiting else col(Tablet.waiting) > 0
    session.connection().execute(
        update(Tablet)
        .where(
            col(Tablet.id) == tablet_id,
            or_(col(Tablet.last_seen_at).is_(None), col(Tablet.last_seen_at) <= at - every, begins_or_ends),
        )
        .values(last_seen_at=at, waiting=max(0, waiting), waiting_since=waiting_since if waiting else None)
    )


def note_page_load(session: Session, tablet_id: int, at: datetime) -> None:
    """Note that a page was opened on a tablet; it does not know what waits there."""
    session.connection().execute(
        update(Tablet)
        .where(col(Tablet.id) == tablet_id, or_(col(Tablet.last_seen_at).is_(None), col(Tablet.last_seen_at) < at))
        .values(last_seen_at=at)
    )
