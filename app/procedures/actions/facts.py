"""What a procedure cannot know of the ease of repair: entered by hand, one set a procedure."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from app.platform.errors import Stale
from app.procedures.models import RepairFacts


def keep_facts(
    session: Session, procedure_id: int, version: int, facts: Mapping[str, Any], address: str, *, at: datetime, who: int
) -> None:
    """Keep the facts of a procedure. Raises Stale when somebody else changed them since ``version`` (0 for none)."""
    row = session.exec(
        select(RepairFacts).where(col(RepairFacts.procedure_id) == procedure_id).with_for_update()
    ).first()
    if (row.version if row else 0) != version:
        raise Stale("These facts", ("entered anew",), address)
    if row is None:
        row = RepairFacts(procedure_id=procedure_id, facts={}, entered_at=at, version=0)
    row.facts, row.entered_at, row.entered_by, row.version = dict(facts), at, who, row.version + 1
    session.add(row)
    session.flush()
