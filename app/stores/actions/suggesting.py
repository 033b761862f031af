"""Suggestions computed from the facts and kept, so that the list of the morning need not compute them."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import case, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session, col, select

from app.rules.stores.classes import ValueClass, value_classes
from app.rules.stores.kept import as_data, by_card, short_words
from app.stores.models import Suggestion, SuggestionOverride
from app.stores.queries.computing import Computed, compute
from app.stores.queries.planning import PartFacts, planning_facts, policy
from app.stores.queries.suggestions import count_classes, stale_parts

AT_ONCE = 300
"""Parts that a page brings up to date before it is shown; the rest is left to ``countback reorder``."""


def renew_suggestions(session: Session, today: date, *, at: datetime, part_ids: Sequence[int] | None = None) -> int:
    """Compute the suggestions of the named parts anew, or of all active ones with their classes; returns how many.

    An override whose suggestion has changed is ended. What was suggested on an earlier day is kept beside the new one.
    """
    facts = planning_facts(session, today, part_ids)
    if not facts:
        return 0
    classes = _classes(session, facts, everything=part_ids is None)
    found = compute(facts, classes, policy(session), today)
    rows = [_row(one, classes[one.facts.part.number], today) for one in found]
    make = (postgresql if session.get_bind().dialect.name == "postgresql" else sqlite).insert(Suggestion)
    kept = {name: make.excluded[name] for name in rows[0] if name != "part_id"}
    # The suggestion of an earlier day moves aside in the database: reading it would decode two documents a part.
    older = col(Suggestion.computed_on) < make.excluded["computed_on"]
    kept["before"] = case((older, col(Suggestion.facts)), else_=col(Suggestion.before))
    session.connection().execute(make.on_conflict_do_update(index_elements=["part_id"], set_=kept), rows)
    _end_overrides(session, {row["part_id"]: row["quantity"] for row in rows}, at)
    return len(rows)


def refresh_suggestions(session: Session, today: date, *, at: datetime, limit: int = AT_ONCE) -> int:
    """Bring suggestions up to date whose facts have changed or that are older than today, the changed ones first.

    Returns how many were computed: at most ``limit``. Where all parts are out of date and few enough, as in the
    morning of a small storeroom, the classes are computed anew too.
    """
    ids = stale_parts(session, today, limit + 1)
    if not ids:
        return 0
    if len(ids) <= limit and len(ids) == sum(count_classes(session).values()):
        return renew_suggestions(session, today, at=at)
    return renew_suggestions(session, today, at=at, part_ids=ids[:limit])


def _classes(session: Session, facts: Sequence[PartFacts], *, everything: bool) -> dict[str, ValueClass]:
    """Class all parts by what was used in a year; a few parts keep the class they had."""
    if everything:
        return value_classes([(f.part.number, f.part.price * f.used) for f in facts])
    few = [f.part.id for f in facts]
    rows = session.exec(
        select(Suggestion.part_id, Suggestion.value_class).where(col(Suggestion.part_id).in_(few))
    ).all()
    known = {part_id: ValueClass(letter) for part_id, letter in rows}
    return {f.part.number: known.get(f.part.id or 0, ValueClass.C) for f in facts}


def _row(one: Computed, value_class: ValueClass, today: date) -> dict[str, Any]:
    part, suggested = one.facts.part, one.suggestion
    by_hand = by_card(suggested.method, part.order_up_to)
    return {
        "part_id": part.id,
        "computed_on": today,
        "changes_seen": one.facts.changes,
        "part_version": part.version,
        "value_class": value_class.value,
        "by_hand": by_hand,
        "quantity": suggested.quantity,
        "position": suggested.position,
        "reorder_point": suggested.reorder_point,
        "order_up_to": suggested.order_up_to,
        "words": short_words(suggested)[:600],
        "facts": as_data(suggested),
    }


def _end_overrides(session: Session, suggested: dict[int, int], at: datetime) -> None:
    for row in session.exec(select(SuggestionOverride).where(col(SuggestionOverride.ended_at).is_(None))).all():
        now = suggested.get(row.part_id)
        if now is not None and now != row.suggested:
            row.ended_at, row.ended_why = at, f"The suggestion is now {now}, was {row.suggested}."
            session.add(row)
    session.flush()


def forget_suggestions(session: Session) -> None:
    """Let every suggestion be computed anew, as after a change of the policy or a rebuilt ledger."""
    session.connection().execute(update(Suggestion).values(changes_seen=-1))
