"""Where a lot came from and what became of it, by the ledger alone."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from sqlalchemy import func, or_
from sqlmodel import Session, col, select

from app.stores.models import Location, Lot, LotBalance, LotQuarantine, Movement, MovementKind, Part

# What went back to a supplier is a return of ours, and was an issue in older books.
OUT = (MovementKind.ISSUE, MovementKind.RETURN)


@dataclass(frozen=True)
class FoundLot:
    """A lot as a search finds it; ``aside`` is why it is set aside, empty when it is not."""

    lot_id: int
    part_number: str
    part_name: str
    code: str
    expires_on: date | None
    received_on: date
    on_hand: int
    aside: str


@dataclass(frozen=True)
class LotAccount:
    """What became of a lot, in stock units: received + counted = on shelves + handed out (net) + scrapped + sent back.

    ``received_from`` are the sources it came from; ``shelf`` is by place code, in walk order; ``counted`` is what
    count adjustments added (below zero: took away).
    """

    lot: FoundLot
    unit_cost: Decimal
    unit: str
    received: int
    received_from: tuple[str, ...]
    shelf: tuple[tuple[str, int], ...]
    handed_out: int
    scrapped: int
    sent_back: int
    counted: int

    @property
    def on_shelf(self) -> int:
        """What lies on shelves, all places together."""
        return sum(n for _place, n in self.shelf)

    @property
    def balanced(self) -> bool:
        """Whether what came is all accounted for."""
        gone = self.handed_out + self.scrapped + self.sent_back
        return self.received + self.counted == self.on_shelf + gone


def search_lots(
    session: Session,
    text: str = "",
    *,
    part_number: str = "",
    lot_ids: Sequence[int] = (),
    limit: int = 60,
) -> tuple[FoundLot, ...]:
    """Find lots: by code or part number beginning with ``text``, by part and code, or by id; newest first.

    With ``part_number`` given, ``text`` is the whole lot code, or empty for all lots of the part.
    """
    query = (
        select(Lot, Part, func.coalesce(func.sum(LotBalance.on_hand), 0))
        .join(Part, col(Part.id) == col(Lot.part_id))
        .outerjoin(LotBalance, col(LotBalance.lot_id) == col(Lot.id))
        .group_by(*Lot.__table__.columns, *Part.__table__.columns)  # type: ignore[attr-defined]
    )
    if lot_ids:
        query = query.where(col(Lot.id).in_(list(lot_ids)))
    elif part_number:
        query = query.where(col(Part.number) == part_number)
        if text:
            query = query.where(func.lower(Lot.code) == text.lower())
    else:
        like = text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_") + "%"
        query = query.where(or_(col(Lot.code).ilike(like, escape="\\"), col(Part.number).ilike(like, escape="\\")))
    rows = session.exec(query.order_by(col(Lot.id).desc()).limit(limit)).all()
    aside = dict(
        session.exec(
            select(LotQuarantine.lot_id, LotQuarantine.reason).where(col(LotQuarantine.ended_at).is_(None))
        ).all()
    )
    return tuple(
        FoundLot(
            lot.id or 0, part.number, part.name, lot.code, lot.expires_on, lot.received_at.date(), int(on_hand),
            aside.get(lot.id or 0, ""),
        )
        for lot, part, on_hand in rows
    )  # fmt: skip


def lot_account(session: Session, lot_id: int) -> LotAccount | None:
    """Return what became of a lot, or None for an unknown one."""
    found = search_lots(session, lot_ids=[lot_id])
    if not found:
        return None
    lot, unit = session.exec(
        select(Lot, Part.unit).join(Part, col(Part.id) == col(Lot.part_id)).where(col(Lot.id) == lot_id)
    ).one()
    moved = session.exec(
        select(Movement.kind, Movement.source_ref, func.sum(col(Movement.quantity)))
        .where(col(Movement.lot_id) == lot_id)
        .group_by(col(Movement.kind), col(Movement.source_ref))
        .order_by(col(Movement.source_ref))
    ).all()
    shelf = session.exec(
        select(Location.code, LotBalance.on_hand)
        .join(Location, col(Location.id) == col(LotBalance.location_id))
        .where(col(LotBalance.lot_id) == lot_id, col(LotBalance.on_hand) > 0)
        .order_by(col(Location.walk_order), col(Location.code))
    ).all()
    back = sum(-int(n) for kind, source, n in moved if kind in OUT and source.startswith("back:"))
    out = sum(-int(n) for kind, _s, n in moved if kind in OUT)
    return LotAccount(
        lot=found[0],
        unit_cost=lot.unit_cost,
        unit=unit,
        received=sum(int(n) for kind, _s, n in moved if kind is MovementKind.RECEIPT),
        received_from=tuple(source for kind, source, _n in moved if kind is MovementKind.RECEIPT),
        shelf=tuple(shelf),
        handed_out=out - back,
        scrapped=sum(-int(n) for kind, _s, n in moved if kind is MovementKind.SCRAP),
        sent_back=back,
        counted=sum(int(n) for kind, _s, n in moved if kind is MovementKind.COUNT_ADJUSTMENT),
    )
