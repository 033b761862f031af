"""Whether the pairs of alternates and the returns to suppliers say what their facts say."""

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.rules.stores.supplier_returns import ReturnState
from app.stores.models import Alternate, AlternateEvent, Movement, MovementKind, SupplierReturn


def round_faults(session: Session) -> list[str]:
    """Return in words which pairs do not stand as was last said, and which returns no movement answers to."""
    return _pair_faults(session) + _return_faults(session)


def _pair_faults(session: Session) -> list[str]:
    last = {
        (event.part_id, event.alternate_id): (event.state, event.both_ways, event.fits_from)
        for event in session.exec(select(AlternateEvent).order_by(col(AlternateEvent.id))).all()
    }
    rows = session.exec(select(Alternate)).all()
    stored = {(row.part_id, row.alternate_id): (row.state, row.both_ways, row.fits_from) for row in rows}
    return [
        f"Alternate {key[1]} of part {key[0]}: it is not stored as it was last said."
        for key in sorted(last.keys() | stored.keys())
        if last.get(key) != stored.get(key)
    ]


def _return_faults(session: Session) -> list[str]:
    moved = {
        (entry_id, lot_id): -int(total)
        for entry_id, lot_id, total in session.exec(
            select(Movement.entry_id, Movement.lot_id, func.sum(col(Movement.quantity)))
            .where(col(Movement.kind) == MovementKind.RETURN, col(Movement.source_ref).startswith("back:"))
            .group_by(col(Movement.entry_id), col(Movement.lot_id))
        ).all()
    }
    found = []
    for row in session.exec(select(SupplierReturn).order_by(col(SupplierReturn.id))).all():
        if moved.get((row.entry_id, row.lot_id)) != row.quantity:
            found.append(f"Return {row.number}: {row.quantity} went back, and no movement says so.")
        if (row.state is ReturnState.SENT) != (row.closed_at is None):
            found.append(f"Return {row.number}: it is {row.state.value}, and that does not agree with its end.")
    return found
