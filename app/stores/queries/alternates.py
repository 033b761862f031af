"""Alternates: the pairs of parts, what was said of them, and what of them is free on the shelf."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import or_
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from app.people.queries import names
from app.rules.stores.alternates import AlternateState, Pair, approved_for
from app.stores.models import Alternate, AlternateEvent, Part
from app.stores.queries.shelf import ShelfPart, shelf


@dataclass(frozen=True)
class AlternateRow:
    """A pair as a part's page shows it: ``alternate`` in place of ``part``, and how it came to that."""

    id: int
    part: str
    part_name: str
    alternate: str
    alternate_name: str
    both_ways: bool
    fits_from: str
    state: AlternateState
    reason: str
    proposed_by: str
    proposed_at: datetime
    decided_by: str
    decided_at: datetime | None


@dataclass(frozen=True)
class AlternateSaid:
    """One word on a pair, as it was said."""

    part: str
    alternate: str
    state: AlternateState
    reason: str
    at: datetime
    who: str


@dataclass(frozen=True)
class Offer:
    """An approved alternate that has stock free: neither expired, set aside nor promised to anybody."""

    part: str
    alternate: str
    name: str
    free: int
    unit: str
    serial_tracked: bool
    fits_from: str


def _pairs(session: Session, numbers: Sequence[str] | None) -> list[tuple[Alternate, Part, Part]]:
    wanted, other = aliased(Part), aliased(Part)
    query = (
        select(Alternate, wanted, other)
        .join(wanted, col(wanted.id) == col(Alternate.part_id))
        .join(other, col(other.id) == col(Alternate.alternate_id))
        .order_by(col(Alternate.id))
    )
    if numbers is not None:
        query = query.where(or_(col(wanted.number).in_(numbers), col(other.number).in_(numbers)))
    return list(session.exec(query).all())


def pairs_of(session: Session, numbers: Iterable[str]) -> tuple[Pair, ...]:
    """Return all pairs that name one of the parts, on either side, the first proposed first."""
    return tuple(
        Pair(part.number, other.number, row.state, row.both_ways, row.fits_from)
        for row, part, other in _pairs(session, list(numbers))
    )


def alternate_rows(session: Session, number: str | None = None) -> tuple[AlternateRow, ...]:
    """Return the pairs of a part, on either side, or all of them; the first proposed first."""
    people = names(session)

    def who(person: int | None) -> str:
        return people.get(person, "") if person is not None else ""

    return tuple(
        AlternateRow(
            row.id or 0, part.number, part.name, other.number, other.name, row.both_ways, row.fits_from, row.state,
            row.reason, who(row.proposed_by), row.proposed_at, who(row.decided_by), row.decided_at,
        )
        for row, part, other in _pairs(session, None if number is None else [number])
    )  # fmt: skip


def alternate_history(session: Session, number: str) -> tuple[AlternateSaid, ...]:
    """Return all that was said of the pairs of a part, the newest first."""
    wanted, other = aliased(Part), aliased(Part)
    rows = session.exec(
        select(AlternateEvent, wanted.number, other.number)
        .join(wanted, col(wanted.id) == col(AlternateEvent.part_id))
        .join(other, col(other.id) == col(AlternateEvent.alternate_id))
        .where(or_(col(wanted.number) == number, col(other.number) == number))
        .order_by(col(AlternateEvent.id).desc())
    ).all()
    people = names(session)
    return tuple(
        AlternateSaid(
            part, alternate, row.state, row.reason, row.at,
            people.get(row.person_id, "") if row.person_id is not None else "",
        )
        for row, part, alternate in rows
    )  # fmt: skip


def offers(session: Session, numbers: Iterable[str], today: date) -> Mapping[str, tuple[Offer, ...]]:
    """Return, for each part, its approved alternates with stock that is free now; parts without any are left out.

    Free leaves out what has expired, what is set aside and what is promised to somebody.
    """
    asked = list(numbers)
    pairs = pairs_of(session, asked)
    if not pairs:
        return {}
    others = {number: approved_for(number, pairs) for number in asked}
    there = shelf(session, {n for found in others.values() for n in found}, today)
    found = {
        number: tuple(_offer(number, there[other], pairs) for other in alternates if there[other].available > 0)
        for number, alternates in others.items()
    }
    return {number: rows for number, rows in found.items() if rows}


def _offer(number: str, other: ShelfPart, pairs: Sequence[Pair]) -> Offer:
    pair = next(p for p in pairs if {p.part, p.alternate} == {number, other.number})
    return Offer(number, other.number, other.name, other.available, other.unit, other.serial_tracked, pair.fits_from)
