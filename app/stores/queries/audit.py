"""Whether the projections say what the facts say."""

from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.rules.stock import Folded, MovementFact, PromiseFact, differences, fold
from app.stores.models import (
    Location,
    Lot,
    LotBalance,
    Movement,
    MovementKind,
    Part,
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
    own part and at its cost.
    """
    facts = fold_facts(session)
    faults = list(facts.faults)
    parts, lots, places = _numbers(session)
    level = StockLevel

    def compare(what: str, said: Mapping[Any, int], stored: Mapping[Any, int], *names: Mapping[Any, str]) -> None:
        nonlocal faults
        faults += differences(what, _by_name(said, names), _by_name(stored, names))

    compare("On hand of part", facts.on_hand, _stored(session, col(level.part_id), col(level.on_hand)), parts)
    compare("Reserved of part", facts.reserved, _stored(session, col(level.part_id), col(level.reserved)), parts)
    on_order = _stored(session, col(level.part_id), col(level.on_order))
    compare("On order of part", on_order_facts(session), on_order, parts)
    balances = _stored(session, col(LotBalance.lot_id), col(LotBalance.location_id), col(LotBalance.on_hand))
    compare("On hand of lot and place", facts.balances, balances, lots, places)
    held = _stored(session, col(Reservation.part_id), col(Reservation.source_ref), col(Reservation.quantity))
    compare("Promise of part to", facts.reservations, held, parts, {})
    faults += [
        f"Part {parts.get(part_id, part_id)}: {reserved} promised, {facts.on_hand.get(part_id, 0)} on hand."
        for part_id, reserved in sorted(facts.reserved.items())
        if reserved > facts.on_hand.get(part_id, 0)
    ]
    return faults + _receipt_faults(session) + _part_faults(session) + unit_faults(session) + round_faults(session)


def _numbers(session: Session) -> tuple[dict[Any, str], dict[Any, str], dict[Any, str]]:
    """Return id → what people know it by, of parts, lots and places."""
    connection = session.connection()
    parts: dict[Any, str] = {row[0]: row[1] for row in connection.execute(select(col(Part.id), col(Part.number)))}
    lots: dict[Any, str] = {
        row[0]: f"{row[1]} of {parts.get(row[2], row[2])}"
        for row in connection.execute(select(col(Lot.id), col(Lot.code), col(Lot.part_id)))
    }
    return parts, lots, {row[0]: row[1] for row in connection.execute(select(col(Location.id), col(Location.code)))}


def _by_name(figures: Mapping[Any, int], names: tuple[Mapping[Any, str], ...]) -> dict[str, int]:
    """Return figures by what people know their keys by; an id without a name stays as it is."""
    found = {}
    for key, figure in figures.items():
        parts = key if isinstance(key, tuple) else (key,)
        found[", ".join(str(name.get(part, part)) for part, name in zip(parts, names, strict=True))] = figure
    return found


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
    names: tuple[Mapping[Any, str], ...] = ({}, _numbers(session)[0])
    return differences("Received on order and part", _by_name(facts, names), _by_name(stored, names))


def _part_faults(session: Session) -> list[str]:
    query = (
        select(col(Movement.id))
        .join(Lot, col(Lot.id) == col(Movement.lot_id))
        .where(col(Lot.part_id) != col(Movement.part_id))
    )
    found = [f"Movement {row[0]} moves a lot of another part." for row in session.connection().execute(query)]
    costs = (
        select(col(Movement.id), col(Lot.code), col(Movement.unit_cost), col(Lot.unit_cost))
        .join(Lot, col(Lot.id) == col(Movement.lot_id))
        .where(col(Lot.unit_cost) != col(Movement.unit_cost))
    )
    return found + [
        f"Movement {number} was written at {moved} a piece, and its lot {code} is kept at {kept}."
        for number, code, moved, kept in session.connection().execute(costs)
    ]
