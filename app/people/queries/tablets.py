"""SELECTs about bench tablets, and whose tap it is that one of them sends."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from app.people.models import Person, Role, SignIn, Tablet, TabletCode
from app.people.queries.people import BENCH_ROLES
from app.platform.errors import NotFound
from app.rules.tablets import TapStanding, contact_due, right_ended, tap_refusal


@dataclass(frozen=True)
class Tapper:
    """Whose tap it is, found by the right that the tap carries, whoever is signed in when it is sent.

    ``tablet_id`` is the tablet that sends it, otherwise the one it was tapped on, None for a browser that is no
    enrolled tablet. ``refused`` says in words why nothing under this right is applied any more, and is empty when
    the right stands; ``refusal`` judges one tap by its time as well. ``in_use`` is whether the sign-in is still open.
    """

    person_id: int
    name: str
    role: Role
    sign_in_id: int
    tablet_id: int | None
    refused: str
    standing: TapStanding
    in_use: bool
    cookie_hash: str
    last_seen_at: datetime
    tablet_seen_at: datetime | None
    tablet_waiting: int

    def refusal(self, tapped_at: datetime) -> str:
        """Return why a tap made at ``tapped_at`` is to be kept as a question; empty when it counts."""
        return tap_refusal(self.name, self.standing, tapped_at)

    def contact_due(self, at: datetime, waiting: int) -> bool:
        """Whether ``actions.note_contact`` has anything to write, so that a tick can spare itself the call."""
        return self.tablet_id is not None and contact_due(self.tablet_seen_at, self.tablet_waiting, at, waiting)


@dataclass(frozen=True)
class KnownTablet:
    """The tablet that a request comes from."""

    id: int
    label: str
    revoked_at: datetime | None
    last_seen_at: datetime | None

    @property
    def enrolled(self) -> bool:
        """Whether PINs are taken on it."""
        return self.revoked_at is None


@dataclass(frozen=True)
class TabletRow:
    """One tablet in the list.

    ``waiting`` is how many entries waited on it when it was last in contact, ``waiting_since`` when the oldest was
    tapped; ``people`` are those signed in on it now.
    """

    id: int
    label: str
    enrolled_by: str
    enrolled_at: datetime
    last_seen_at: datetime | None
    waiting: int
    waiting_since: datetime | None
    revoked_by: str
    revoked_at: datetime | None
    version: int
    people: tuple[str, ...]


@dataclass(frozen=True)
class OpenCode:
    """A code that can still enrol a tablet; the code itself is kept nowhere."""

    label: str
    expires_at: datetime


# Built once, as every tick runs it: making a statement anew costs as much as running it. The sending tablet's columns
# stand last, those of the tablet it was tapped on before them.
_SENDER = aliased(Tablet)


def _standing_columns(tablet: Any) -> tuple[Any, ...]:
    return (tablet.id, tablet.revoked_at, tablet.last_seen_at, tablet.waiting)


_COLUMNS: tuple[Any, ...] = (
    SignIn.person_id, Person.name, Person.role, SignIn.id, Person.active, SignIn.revoked_at, SignIn.signed_out_at,
    SignIn.expires_at, *_standing_columns(Tablet), *_standing_columns(_SENDER), SignIn.token_hash, SignIn.last_seen_at,
)  # fmt: skip
_TAP: Any = (
    select(*_COLUMNS)
    .join(Person, col(Person.id) == col(SignIn.person_id))
    .outerjoin(Tablet, col(Tablet.id) == col(SignIn.tablet_id))
    .outerjoin(_SENDER, col(_SENDER.token_hash) == bindparam("tablet"))
    .where(col(SignIn.tap_hash) == bindparam("tap"))
)


def tapper(session: Session, tap_hash: str, tablet_cookie_hash: str | None, at: datetime) -> Tapper | None:
    """Return whose tap it is by the hash of its right; None when no sign-in ever had it.

    ``tablet_cookie_hash`` is that of the tablet that sends, revoked or not; ``at`` is the time of receipt.
    """
    given = {"tap": tap_hash, "tablet": tablet_cookie_hash or ""}
    row: Any = session.connection().execute(_TAP, given).first()
    if row is None:
        return None
    person_id, name, role, sign_in_id, active, revoked_at, signed_out_at, expires_at = row[:8]
    cookie_hash, last_seen_at = row[16:]
    tablets = [one for one in (row[12:16], row[8:12]) if one[0] is not None]
    standing = TapStanding(
        active=active,
        at_bench=role in BENCH_ROLES,
        revoked=revoked_at is not None,
        tablet_revoked=any(revoked is not None for _id, revoked, _seen, _waiting in tablets),
        signed_out_at=signed_out_at,
        expires_at=expires_at,
    )
    tablet_id, _revoked, seen_at, waiting = tablets[0] if tablets else (None, None, None, 0)
    ended = right_ended(name, standing)
    return Tapper(
        person_id=person_id,
        name=name,
        role=role,
        sign_in_id=sign_in_id,
        tablet_id=tablet_id,
        refused=ended,
        standing=standing,
        in_use=not ended and signed_out_at is None and expires_at > at,
        cookie_hash=cookie_hash,
        last_seen_at=last_seen_at,
        tablet_seen_at=seen_at,
        tablet_waiting=waiting,
    )


def known_tablet(session: Session, cookie_hash: str) -> KnownTablet | None:
    """Return the tablet with this cookie, revoked or not; None for a browser that never was one."""
    found = session.exec(select(Tablet).where(col(Tablet.token_hash) == cookie_hash)).first()
    return KnownTablet(found.id or 0, found.label, found.revoked_at, found.last_seen_at) if found else None


def tablet_list(session: Session, now: datetime) -> tuple[TabletRow, ...]:
    """Return all tablets: those in use first, in alphabetical order, then the revoked ones, newest first."""
    rows = _rows(session, now)
    in_use = sorted((r for r in rows if r.revoked_at is None), key=lambda r: (r.label.casefold(), r.id))
    return (*in_use, *(r for r in reversed(rows) if r.revoked_at is not None))


def tablet_row(session: Session, tablet_id: int, now: datetime) -> TabletRow:
    """Return one tablet; NotFound when there is none with this id."""
    for row in _rows(session, now, tablet_id):
        return row
    raise NotFound("such tablet")


def tablet_labels(session: Session) -> dict[int, str]:
    """Return the labels of all tablets, revoked ones too, by id."""
    return {t_id: label for t_id, label in session.exec(select(Tablet.id, Tablet.label)).all() if t_id is not None}


def open_codes(session: Session, now: datetime) -> tuple[OpenCode, ...]:
    """Return the codes that can still enrol a tablet, the one that runs out first first."""
    rows = session.exec(
        select(TabletCode)
        .where(col(TabletCode.used_at).is_(None), col(TabletCode.expires_at) > now)
        .order_by(col(TabletCode.expires_at), col(TabletCode.id))
    ).all()
    return tuple(OpenCode(c.label, c.expires_at) for c in rows)


def _rows(session: Session, now: datetime, tablet_id: int | None = None) -> list[TabletRow]:
    by, gone = aliased(Person), aliased(Person)
    wanted = (
        select(Tablet, by.name, gone.name)
        .join(by, col(by.id) == col(Tablet.enrolled_by))
        .outerjoin(gone, col(gone.id) == col(Tablet.revoked_by))
        .order_by(col(Tablet.id))
    )
    if tablet_id is not None:
        wanted = wanted.where(col(Tablet.id) == tablet_id)
    people = _signed_in_by_tablet(session, now)
    return [
        TabletRow(
            id=t.id or 0,
            label=t.label,
            enrolled_by=enrolled_by,
            enrolled_at=t.enrolled_at,
            last_seen_at=t.last_seen_at,
            waiting=t.waiting,
            waiting_since=t.waiting_since,
            revoked_by=revoked_by or "",
            revoked_at=t.revoked_at,
            version=t.version,
            people=people.get(t.id or 0, ()),
        )
        for t, enrolled_by, revoked_by in session.exec(wanted).all()
    ]


def _signed_in_by_tablet(session: Session, now: datetime) -> dict[int, tuple[str, ...]]:
    rows = session.exec(
        select(SignIn.tablet_id, Person.name, Person.name_key)
        .join(Person, col(Person.id) == col(SignIn.person_id))
        .where(
            col(SignIn.tablet_id).is_not(None),
            col(SignIn.revoked_at).is_(None),
            col(SignIn.signed_out_at).is_(None),
            col(SignIn.expires_at) > now,
            col(Person.active).is_(True),
        )
        .order_by(col(Person.name_key))
        .distinct()
    ).all()
    found: dict[int, list[str]] = defaultdict(list)
    for tablet_id, name, _key in rows:
        found[tablet_id or 0].append(name)
    return {k: tuple(v) for k, v in found.items()}
