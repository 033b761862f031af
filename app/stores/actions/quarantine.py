"""Lots set aside and released again."""

from datetime import datetime

from sqlmodel import Session, col, select

from app.platform.errors import Refused
from app.stores.actions.ledger import find_lot, id_of, lock_part_ids, note_changes
from app.stores.models import Lot, LotQuarantine


def begin_quarantine(session: Session, lot: Lot, reason: str, *, at: datetime, who: int | None) -> None:
    """Set a lot aside wherever it lies: it is not handed out, and not counted as usable. Set aside already: no change.

    The part must be locked. Raises Refused without a reason.
    """
    reason = " ".join(reason.split())
    if not reason:
        raise Refused("Say why the lot is set aside. The reason stays with it.", "reason")
    if _open(session, id_of(lot)) is None:
        session.add(LotQuarantine(lot_id=id_of(lot), reason=reason[:300], began_at=at, began_by=who))
        session.flush()
    note_changes(session, [lot.part_id])


def quarantine_lot(session: Session, lot_id: int, reason: str, *, at: datetime, who: int | None) -> None:
    """Set a lot aside wherever it lies, with the reason. Raises NotFound or Refused."""
    lot = find_lot(session, lot_id)
    lock_part_ids(session, [lot.part_id])
    if _open(session, lot_id) is not None:
        raise Refused(f"Lot {lot.code} is set aside already.")
    begin_quarantine(session, lot, reason, at=at, who=who)


def release_lot(session: Session, lot_id: int, reason: str, *, at: datetime, who: int | None) -> None:
    """Release a lot that was set aside, with the reason. Raises NotFound, or Refused when it is not set aside."""
    lot = find_lot(session, lot_id)
    lock_part_ids(session, [lot.part_id])
    held = _open(session, lot_id)
    if held is None:
        raise Refused(f"Lot {lot.code} is not set aside.")
    reason = " ".join(reason.split())
    if not reason:
        raise Refused("Say what was found, and why the lot may be used.", "reason")
    held.ended_at, held.ended_by, held.end_reason = at, who, reason[:300]
    session.add(held)
    session.flush()
    note_changes(session, [lot.part_id])


def _open(session: Session, lot_id: int) -> LotQuarantine | None:
    return session.exec(
        select(LotQuarantine).where(col(LotQuarantine.lot_id) == lot_id, col(LotQuarantine.ended_at).is_(None))
    ).first()
