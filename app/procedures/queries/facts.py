"""SELECTs of what is entered by hand for the ease of repair."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from app.procedures.models import RepairFacts


@dataclass(frozen=True)
class EnteredFacts:
    """The facts of a procedure as JSON, with who entered them and when; ``version`` 0 before anything is entered."""

    facts: Mapping[str, Any]
    entered_at: datetime | None
    entered_by: int | None
    version: int


def entered_facts(session: Session, procedure_id: int) -> EnteredFacts:
    """Return what is entered for a procedure; empty when nothing is."""
    row = session.exec(select(RepairFacts).where(col(RepairFacts.procedure_id) == procedure_id)).first()
    if row is None:
        return EnteredFacts({}, None, None, 0)
    return EnteredFacts(row.facts, row.entered_at, row.entered_by, row.version)
