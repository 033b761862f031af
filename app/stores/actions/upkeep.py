"""Rebuilding the projections from the facts."""

from sqlmodel import Session, col, select

from app.rules.stores.units import OPEN, Deed, fold_unit
from app.stores.actions.ledger import replace_projections
from app.stores.models import Alternate, AlternateEvent, OldUnit, OldUnitEvent
from app.stores.queries.audit import fold_facts, on_order_facts, stock_faults


def rebuild_projections(session: Session) -> tuple[str, ...]:
    """Write levels, lot balances, reservations, pairs of alternates and old units anew from the facts.

    Returns what was wrong before, in words.
    """
    faults = tuple(stock_faults(session))
    facts = fold_facts(session)
    coming = on_order_facts(session)
    parts = facts.on_hand.keys() | facts.reserved.keys() | coming.keys()
    levels = {i: (facts.on_hand.get(i, 0), facts.reserved.get(i, 0), coming.get(i, 0)) for i in sorted(parts)}
    replace_projections(session, levels, facts.balances, facts.reservations)
    _rebuild_pairs(session)
    _rebuild_units(session)
    return faults


def _rebuild_pairs(session: Session) -> None:
    """Let each pair of alternates stand as was last said of it."""
    rows = {(row.part_id, row.alternate_id): row for row in session.exec(select(Alternate)).all()}
    for event in session.exec(select(AlternateEvent).order_by(col(AlternateEvent.id))).all():
        key = (event.part_id, event.alternate_id)
        row = rows.setdefault(
            key, Alternate(part_id=key[0], alternate_id=key[1], state=event.state, proposed_at=event.at)
        )
        row.state, row.both_ways, row.fits_from, row.reason = (
            event.state, event.both_ways, event.fits_from, event.reason
        )  # fmt: skip
        session.add(row)
    session.flush()


def _rebuild_units(session: Session) -> None:
    """Put each old unit where its facts have brought it. What it is, and its lot, are said once and never change."""
    events: dict[int, list[OldUnitEvent]] = {}
    for event in session.exec(select(OldUnitEvent).order_by(col(OldUnitEvent.id))).all():
        events.setdefault(event.unit_id, []).append(event)
    for unit in session.exec(select(OldUnit)).all():
        mine = events.get(unit.id or 0, [])
        if mine:
            unit.state = fold_unit(unit.kind, [Deed(event.deed) for event in mine])
            unit.location_id = mine[-1].location_id
            unit.ended_at = None if unit.state in OPEN else mine[-1].at
            session.add(unit)
    session.flush()
