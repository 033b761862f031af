"""Keep what is supposed of the use of new parts, so that their first suggestions rest on something."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from sqlalchemy import delete, update
from sqlmodel import Session, col, select

from app.rules.stores.supposed import Supposed
from app.stores.models import Part, Suggestion, SupposedUse


def keep_supposed(session: Session, supposed: Mapping[str, Supposed], today: date) -> int:
    """Keep what is supposed by part number in place of what was before; returns how many parts changed.

    Unknown numbers are left out. What is set by hand for a part goes before it.
    """
    ids = {number: part_id or 0 for part_id, number in session.exec(select(Part.id, Part.number)).all()}
    kept = {row.part_id: row for row in session.exec(select(SupposedUse)).all()}
    wanted = {ids[number]: one for number, one in supposed.items() if number in ids}
    gone = kept.keys() - wanted.keys()
    if gone:
        session.connection().execute(delete(SupposedUse).where(col(SupposedUse.part_id).in_(gone)))
    changed = set(gone)
    for part_id, one in wanted.items():
        row = kept.get(part_id)
        uses, jobs = _four(one.uses_per_job), _four(one.jobs_per_device_year)
        if row is None or (row.uses_per_job, row.jobs_per_device_year, row.devices) != (uses, jobs, one.devices):
            changed.add(part_id)
        session.merge(
            SupposedUse(
                part_id=part_id, uses_per_job=uses, jobs_per_device_year=jobs, devices=one.devices,
                words=one.words[:300], computed_on=today,
            )
        )  # fmt: skip
    session.flush()
    if changed:
        stale = update(Suggestion).where(col(Suggestion.part_id).in_(changed)).values(changes_seen=-1)
        session.connection().execute(stale)
    return len(changed)


def _four(value: float) -> Decimal:
    """Return a figure to the 4 decimals that are kept, never rounded to nothing."""
    return max(Decimal(f"{value:.4f}"), Decimal("0.0001"))
