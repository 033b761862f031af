"""How parts are kept: open life, storage, and the opening of lots."""

from collections.abc import Iterable
from datetime import date, datetime

from sqlmodel import Session, col, select

from app.platform.errors import Refused
from app.rules.stores.open_life import last_day
from app.stores.actions.ledger import find_lot, id_of, lock_part_ids, lock_parts, note_changes
from app.stores.models import Lot, LotOpening, PartKeeping


def save_keeping(session: Session, part_number: str, open_life_days: int | None, storage: str) -> None:
    """Set how a part is kept. It holds for lots that are opened from now on. Raises NotFound or Refused."""
    part = lock_parts(session, [part_number])[part_number]
    if open_life_days is not None and open_life_days < 1:
        raise Refused("An open life is at least 1 day.", "open_life_days")
    row = session.get(PartKeeping, part.id) or PartKeeping(part_id=part.id)
    row.open_life_days, row.storage = open_life_days, " ".join(storage.split())[:120]
    session.add(row)
    session.flush()


def open_lot(session: Session, lot_id: int, *, at: datetime, who: int | None, today: date) -> None:
    """Note that a lot was opened: it may be used until its open life or the pack's last day ends, the earlier one.

    Raises NotFound, or Refused when it is open already or opening it does not matter.
    """
    lot = find_lot(session, lot_id)
    lock_part_ids(session, [lot.part_id])
    if session.get(LotOpening, lot_id) is not None:
        raise Refused(f"Lot {lot.code} was opened before.")
    if _life(session, [lot.part_id]).get(lot.part_id) is None:
        raise Refused("This part has no open life. Set one first.")
    note_openings(session, [lot], at=at, who=who, today=today)


def note_openings(session: Session, lots: Iterable[Lot], *, at: datetime, who: int | None, today: date) -> None:
    """Note the opening of those of the lots that are used for the first time and have an open life.

    The parts must be locked.
    """
    by_id = {id_of(lot): lot for lot in lots}
    lives = _life(session, {lot.part_id for lot in by_id.values()})
    first = {lot_id: lot for lot_id, lot in by_id.items() if lives.get(lot.part_id) is not None}
    if not first:
        return
    known = set(session.exec(select(LotOpening.lot_id).where(col(LotOpening.lot_id).in_(first))).all())
    for lot_id, lot in first.items():
        if lot_id not in known:
            session.add(LotOpening(lot_id=lot_id, opened_on=today, printed=lot.expires_on, at=at, person_id=who))
            lot.expires_on = last_day(lot.expires_on, today, lives[lot.part_id])
            session.add(lot)
    session.flush()
    note_changes(session, {lot.part_id for lot in first.values()})


def _life(session: Session, part_ids: Iterable[int]) -> dict[int, int]:
    rows = session.exec(select(PartKeeping).where(col(PartKeeping.part_id).in_(list(part_ids)))).all()
    return {row.part_id: row.open_life_days for row in rows if row.open_life_days is not None}
