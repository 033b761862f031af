"""Picks in hand and short picks: what pickers have taken off the shelf, and where the shelf had less than the book."""

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import bindparam, func
from sqlmodel import Session, col, select

from app.people.queries import names
from app.rules.scan_codes import ScanKind, parse
from app.rules.stores.gs1 import read_label
from app.rules.verdict import Refused
from app.stores.models import Location, Lot, Part, PickClaim, ShortPick
from app.stores.queries.quarantine import part_by_gtin


@dataclass(frozen=True)
class PickInHand:
    """A line of a kit that somebody has taken off the shelf and not handed out yet."""

    id: int
    part_number: str
    lot_id: int
    lot_code: str
    expires_on: date | None
    location_id: int
    location: str
    walk_order: int
    quantity: int
    serials: tuple[str, ...]
    scanned: bool
    who: str
    at: datetime


@dataclass(frozen=True)
class ShortPickRow:
    """Where a picker found less than the book has; the place waits to be counted."""

    part_number: str
    lot_code: str
    location_id: int
    location: str
    wanted: int
    found: int
    reason: str
    source_ref: str
    who: str
    at: datetime


@dataclass(frozen=True)
class ScannedPart:
    """What a picker's scan or typing names: a part, and as far as the label says it the lot and the serial."""

    part_number: str
    lot: str = ""
    serial: str = ""


# Built once, as they are run for every kit: making a statement anew costs as much as running it.
_CLAIMED = (
    select(PickClaim.lot_id, PickClaim.location_id, func.sum(col(PickClaim.quantity)))
    .where(
        col(PickClaim.lot_id).in_(bindparam("lots", expanding=True)),
        col(PickClaim.outcome) == "",
        col(PickClaim.source_ref) != bindparam("but_for"),
    )
    .group_by(col(PickClaim.lot_id), col(PickClaim.location_id))
)
_DOUBTFUL = select(ShortPick.lot_id, ShortPick.location_id).where(col(ShortPick.settled_at).is_(None))


def picks_in_hand(session: Session, source_ref: str) -> tuple[PickInHand, ...]:
    """Return what pickers hold for a source, in the order they walk."""
    rows = session.exec(
        select(PickClaim, Part.number, Lot, Location)
        .join(Part, col(Part.id) == col(PickClaim.part_id))
        .join(Lot, col(Lot.id) == col(PickClaim.lot_id))
        .join(Location, col(Location.id) == col(PickClaim.location_id))
        .where(col(PickClaim.source_ref) == source_ref, col(PickClaim.outcome) == "")
        .order_by(col(Location.walk_order), col(Location.code), col(Part.number), col(PickClaim.id))
    ).all()
    people = names(session)
    return tuple(
        PickInHand(
            claim.id or 0, number, claim.lot_id, lot.code, lot.expires_on, claim.location_id, place.code,
            place.walk_order, claim.quantity, tuple(claim.serials.split()), claim.scanned,
            people.get(claim.person_id, "") if claim.person_id is not None else "", claim.at,
        )
        for claim, number, lot, place in rows
    )  # fmt: skip


def claimed_at(session: Session, lot_ids: set[int], but_for: str = "") -> dict[tuple[int, int], int]:
    """Return what pickers hold of some lots, by lot and place; those of the source ``but_for`` are left out."""
    rows = session.exec(_CLAIMED, params={"lots": list(lot_ids), "but_for": but_for}).all()
    return {(lot, place): int(n) for lot, place, n in rows}


def doubtful_places(session: Session) -> frozenset[tuple[int, int]]:
    """Return the lots and places where a picker found less than the book has, until they are counted."""
    return frozenset(session.exec(_DOUBTFUL).all())


def short_picks(session: Session) -> tuple[ShortPickRow, ...]:
    """Return the short picks whose place was not counted since, the oldest first."""
    rows = session.exec(
        select(ShortPick, Part.number, Lot.code, Location.code)
        .join(Part, col(Part.id) == col(ShortPick.part_id))
        .join(Lot, col(Lot.id) == col(ShortPick.lot_id))
        .join(Location, col(Location.id) == col(ShortPick.location_id))
        .where(col(ShortPick.settled_at).is_(None))
        .order_by(col(ShortPick.id))
    ).all()
    people = names(session)
    return tuple(
        ShortPickRow(
            number, lot, short.location_id, place, short.wanted, short.found, short.reason, short.source_ref,
            people.get(short.person_id, "") if short.person_id is not None else "", short.at,
        )
        for short, number, lot, place in rows
    )  # fmt: skip


def scanned_part(session: Session, text: str, today: date, field: str = "code") -> ScannedPart:
    """Return what a scan or a typed number names: our lot label, a GS1 label, a part number, or a lot number.

    Raises Refused for a label read wrongly, one that is not on a lot, and for what nothing is called.
    """
    code = text.strip()
    if not code:
        raise Refused("Scan the label of the part, or type its number.", field)
    number = session.exec(select(Part.number).where(func.lower(Part.number) == code.lower())).first()
    if number is not None:
        return ScannedPart(number)
    lots = session.exec(
        select(Part.number, Lot.code)
        .join(Part, col(Part.id) == col(Lot.part_id))
        .where(func.lower(Lot.code) == code.lower())
    ).all()
    if len(lots) == 1:
        return ScannedPart(*lots[0])
    if len(lots) > 1:
        raise Refused(f"Several parts have a lot {code}. Scan the label, or type the part number.", field)
    if code[:2].upper() == "CB":
        own = parse(code, field)
        if own.kind is not ScanKind.LOT:
            raise Refused("That label is not on a part. Scan the label of the part that you take.", field)
        return ScannedPart(own.part, own.lot)
    label = read_label(code, today, field)
    number = part_by_gtin(session, label.gtin)
    if number is None:
        raise Refused(f"No part has the bar code {label.gtin}. Add it on the part's card, or type the number.", field)
    return ScannedPart(number, label.lot or "", label.serial or "")
