"""Whether the projections say what the facts say."""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.rules.stock import Folded, MovementFact, PromiseFact, differences, fold
from app.stores.models import (
    Lot,
    LotBalance,
    Movement,
    MovementKind,
    PurchaseOrder,
    PurchaseOrderLine,
    Reservation,
    ReservationEntry,
    StockLevel,
)
from app.stores.queries.rounds import round_faults
from app.stores.queries.shelf import OPEN_ORDER
from app.stores.queries.units import unit_faults


def fold_facts(session: Session) -> Folded:
    """Fold all movements and reservation entries, in the order they were appended."""
    return fold(_movements(session), _promises(session))


def _movements(session: Session) -> Iterator[MovementFact]:
    query = select(
        col(Movement.part_id), col(Movement.lot_id), col(Movement.location_id), col(Movement.quantity)
    ).order_by(col(Movement.id))
    for row in session.connection().execute(query.execution_options(yield_per=5000)):
        yield MovementFact(*row)


def _promises(session: Session) -> Iterator[PromiseFact]:
    query = select(
        col(ReservationEntry.part_id), col(ReservationEntry.source_ref), col(ReservationEntry.quantity)
    ).order_by(col(ReservationEntry.id))
    for row in session.connection().execute(query.execution_options(yield_per=5000)):
        yield PromiseFact(*row)


def on_order_facts(session: Session) -> dict[int, int]:
    """Return what is still to come on open orders, by part id."""
    line = PurchaseOrderLine
    query = (
        select(col(line.part_id), func.sum(line.quantity - line.received - line.closed_short))
        .join(PurchaseOrder, col(PurchaseOrder.id) == col(line.order_id))
        .where(col(PurchaseOrder.status).in_(OPEN_ORDER))
        .group_by(col(line.part_id))
    )
    return {part_id: int(total) for part_id, total in session.connection().execute(query)}


def _stored(session: Session, *columns: Any) -> dict[Any, int]:
    rows = session.connection().execute(select(*columns)).all()
    return {row[0] if len(row) == 2 else tuple(row[:-1]): row[-1] for row in rows}


def stock_faults(session: Session) -> list[str]:
    """Return in words where projections and facts disagree, or the ledger does not add up; empty when all is well.

    Checked: levels, lot balances and reservations against the fold of the facts; on order against open order
    lines; received against receipts less what went back; promises within what is on hand; movements of a lot under its
    own part.
    """
    facts = fold_facts(session)
    faults = list(facts.faults)
    level = StockLevel
    faults += differences("On hand of part", facts.on_hand, _stored(session, col(level.part_id), col(level.on_hand)))
    faults += differences("Reserved of part", facts.reserved, _stored(session, col(level.part_id), col(level.reserved)))
    faults += differences(
        "On order of part", on_order_facts(session), _stored(session, col(level.part_id), col(level.on_order))
    )
    balances = _stored(session, col(LotBalance.lot_id), col(LotBalance.location_id), col(LotBalance.on_hand))
    faults += differences("Lot and location", facts.balances, balances)
    held = _stored(session, col(Reservation.part_id), col(Reservation.source_ref), col(Reservation.quantity))
    faults += differences("Promise of part to", facts.reservations, held)
    faults += [
        f"Part {part_id}: {reserved} promised, {facts.on_hand.get(part_id, 0)} on hand."
        for part_id, reserved in sorted(facts.reserved.items())
        if reserved > facts.on_hand.get(part_id, 0)
    ]
    return faults + _receipt_faults(session) + _part_faults(session) + unit_faults(session) + round_faults(session)


def _receipt_faults(session: Session) -> list[str]:
    received = select(col(Movement.source_ref), col(Movement.part_id), func.sum(col(Movement.quantity))).where(
        col(Movement.kind) == MovementKind.RECEIPT, col(Movement.source_ref).startswith("order:")
    )
    rows = session.connection().execute(received.group_by(col(Movement.source_ref), col(Movement.part_id)))
    facts = {(source.removeprefix("order:"), part_id): int(total) for source, part_id, total in rows}
    sent_back = select(col(Movement.source_ref), col(Movement.part_id), func.sum(col(Movement.quantity))).where(
        col(Movement.kind).in_((MovementKind.ISSUE, MovementKind.RETURN)), col(Movement.source_ref).startswith("back:")
    )
    rows = session.connection().execute(sent_back.group_by(col(Movement.source_ref), col(Movement.part_id)))
    for source, part_id, total in rows:
        key = (source.removeprefix("back:"), part_id)
        # What came without an order goes back under the number of its return.
        if key in facts:
            facts[key] += int(total)
    lines = select(col(PurchaseOrder.number), col(PurchaseOrderLine.part_id), col(PurchaseOrderLine.received)).join(
        PurchaseOrder, col(PurchaseOrder.id) == col(PurchaseOrderLine.order_id)
    )
    stored = {(number, part_id): n for number, part_id, n in session.connection().execute(lines)}
    return differences("Received on order and part", facts, stored)


def _part_faults(session: Session) -> list[str]:
    query = (
        select(col(Movement.id))
        .join(Lot, col(Lot.id) == col(Movement.lot_id))
        .where(col(Lot.part_id) != col(Movement.part_id))
    )
    return [f"Movement {row[0]} moves a lot of another part." for row in session.connection().execute(query)]
