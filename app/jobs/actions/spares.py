"""Decide how many spares the kits of a step carry, and withdraw that again."""

from datetime import datetime
from decimal import Decimal

from sqlmodel import Session

from app.jobs.models import SpareDecision
from app.jobs.queries.spares import Key, factors
from app.platform.errors import NotFound
from app.procedures import queries as procedures
from app.rules.spares import check_spares, check_withdrawal


def decide_spares(
    session: Session, key: Key, factor: Decimal, reason: str, words: str, *, at: datetime, who: int, entry_id: str
) -> None:
    """Plan spares for a part at a step of a procedure from now on: jobs planned later get them, others keep theirs.

    ``factor`` is spare pieces per piece on the sheet; ``words`` say what the jobs showed. Raises Refused; NotFound for
    a step that the newest revision of the procedure does not have.
    """
    _check_step(session, key)
    check_spares(factor, factors(session, key[0]).get(key, Decimal(0)), reason)
    _write(session, key, factor, reason, words, at=at, who=who, entry_id=entry_id)


def withdraw_spares(session: Session, key: Key, reason: str, *, at: datetime, who: int, entry_id: str) -> None:
    """Plan no spares for a part at a step any more. Raises Refused."""
    check_withdrawal(factors(session, key[0]).get(key, Decimal(0)), reason)
    _write(session, key, Decimal(0), reason, "", at=at, who=who, entry_id=entry_id)


def _check_step(session: Session, key: Key) -> None:
    newest = procedures.newest_revision(session, key[0])
    if newest is None or all(step.id != key[1] for step in procedures.sheet(session, newest.id).steps):
        raise NotFound(f"step {key[1]} of procedure {key[0]}")


def _write(
    session: Session, key: Key, factor: Decimal, reason: str, words: str, *, at: datetime, who: int, entry_id: str
) -> None:
    code, step, part = key
    session.add(
        SpareDecision(
            entry_id=entry_id, procedure_code=code, step=step, part_number=part, factor=factor, reason=reason,
            words=words[:300], at=at, person_id=who,
        )
    )  # fmt: skip
    session.flush()
