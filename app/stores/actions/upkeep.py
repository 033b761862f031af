"""Rebuilding the projections from the facts."""

from sqlmodel import Session

from app.stores.actions.ledger import replace_projections
from app.stores.queries.audit import fold_facts, on_order_facts, stock_faults


def rebuild_projections(session: Session) -> tuple[str, ...]:
    """Write levels, lot balances and reservations anew from the facts; returns what was wrong before, in words."""
    faults = tuple(stock_faults(session))
    facts = fold_facts(session)
    coming = on_order_facts(session)
    parts = facts.on_hand.keys() | facts.reserved.keys() | coming.keys()
    levels = {i: (facts.on_hand.get(i, 0), facts.reserved.get(i, 0), coming.get(i, 0)) for i in sorted(parts)}
    replace_projections(session, levels, facts.balances, facts.reservations)
    return faults
