"""Lots set aside, as they are read."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.people.queries import names
from app.stores.models import Lot, LotBalance, LotQuarantine, Part


@dataclass(frozen=True)
class AsideRow:
    """A lot set aside: why, since when and by whom; how it ended. ``on_hand`` is what there is of it everywhere."""

    lot_id: int
    lot_code: str
    part_number: str
    part_name: str
    on_hand: int
    reason: str
    began_at: datetime
    began_by: str
    ended_at: datetime | None
    ended_by: str
    end_reason: str


def lots_aside(session: Session, ended: int = 20) -> tuple[AsideRow, ...]:
    """Return all lots set aside now, the longest first, and the ``ended`` last released ones."""
    people = names(session)
    there = dict(
        session.exec(
            select(col(LotBalance.lot_id), func.sum(col(LotBalance.on_hand)))
            .join(LotQuarantine, col(LotQuarantine.lot_id) == col(LotBalance.lot_id))
            .group_by(col(LotBalance.lot_id), col(LotQuarantine.id))
        ).all()
    )
    query = (
        select(LotQuarantine, Lot, Part)
        .join(Lot, col(Lot.id) == col(LotQuarantine.lot_id))
        .join(Part, col(Part.id) == col(Lot.part_id))
    )
    now = query.where(col(LotQuarantine.ended_at).is_(None)).order_by(col(LotQuarantine.id))
    over = query.where(col(LotQuarantine.ended_at).is_not(None)).order_by(col(LotQuarantine.ended_at).desc())
    rows = [*session.exec(now).all(), *session.exec(over.limit(ended)).all()]
    return tuple(
        AsideRow(
            lot.id or 0, lot.code, part.number, part.name, int(there.get(lot.id or 0, 0)), row.reason, row.began_at,
            people.get(row.began_by, "") if row.began_by is not None else "", row.ended_at,
            people.get(row.ended_by, "") if row.ended_by is not None else "", row.end_reason,
        )
        for row, lot, part in rows
    )  # fmt: skip


def part_by_gtin(session: Session, gtin: str) -> str | None:
    """Return the number of the part with this GTIN, whatever the leading zeros; None when there is none."""
    short = gtin.lstrip("0")
    forms = {short.zfill(length) for length in (8, 12, 13, 14) if len(short) <= length}
    return session.exec(select(Part.number).where(col(Part.gtin).in_(forms)).order_by(col(Part.number))).first()
