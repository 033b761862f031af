"""Approved alternates: propose, approve and withdraw a pair of parts; let one stand in for the other in a promise."""

from collections.abc import Mapping
from datetime import date, datetime

from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused
from app.rules.stock import available
from app.rules.stores.alternates import AlternateState, check_decision, check_proposal, check_substitution
from app.stores.actions.ledger import Entry, Locked, lock_parts, promise, promised_to
from app.stores.models import Alternate, AlternateEvent
from app.stores.queries.alternates import pairs_of
from app.stores.queries.shelf import usable_by_part


def propose_alternate(
    session: Session,
    part: str,
    alternate: str,
    reason: str,
    *,
    both_ways: bool = False,
    fits_from: str = "",
    entry_id: str,
    at: datetime,
    who: int | None,
) -> None:
    """Propose that a part may be used where another is wanted; a withdrawn pair may be proposed anew.

    Raises NotFound for an unknown number, Refused without a reason and for a pair that is approved already.
    """
    if part == alternate:
        check_proposal(part, alternate, None)
    held = lock_parts(session, [part, alternate])
    row = _row(session, held, part, alternate)
    check_proposal(part, alternate, row.state if row else None)
    reason = _reasoned(reason, "Say why it fits: same maker's drawing, tried on a device, the supplier's word.")
    if row is None:
        row = Alternate(
            part_id=held[part].id, alternate_id=held[alternate].id, state=AlternateState.PROPOSED, proposed_at=at
        )
    row.state, row.both_ways, row.fits_from, row.reason = AlternateState.PROPOSED, both_ways, fits_from, reason
    row.proposed_by, row.proposed_at, row.decided_by, row.decided_at = who, at, None, None
    _say(session, row, entry_id, at, who)


def approve_alternate(
    session: Session,
    part: str,
    alternate: str,
    *,
    supervisor: bool,
    entry_id: str,
    at: datetime,
    who: int | None,
) -> None:
    """Approve a proposed pair, by a supervisor. Raises NotFound or Refused."""
    row = _known(session, part, alternate, AlternateState.APPROVED, supervisor)
    row.state, row.decided_by, row.decided_at = AlternateState.APPROVED, who, at
    _say(session, row, entry_id, at, who)


def withdraw_alternate(
    session: Session,
    part: str,
    alternate: str,
    reason: str,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
) -> None:
    """Withdraw a pair: it is offered no more. What jobs were given in place already stays. NotFound or Refused."""
    row = _known(session, part, alternate, AlternateState.WITHDRAWN, supervisor=False)
    row.reason = _reasoned(reason, "Say why it is withdrawn. Whoever proposes it again will read it.")
    row.state, row.decided_by, row.decided_at = AlternateState.WITHDRAWN, who, at
    _say(session, row, entry_id, at, who)


def _reasoned(reason: str, without: str) -> str:
    reason = " ".join(reason.split())
    if not reason:
        raise Refused(without, "reason")
    return reason[:300]


def _row(session: Session, held: Mapping[str, Locked], part: str, alternate: str) -> Alternate | None:
    return session.exec(
        select(Alternate).where(
            col(Alternate.part_id) == held[part].id, col(Alternate.alternate_id) == held[alternate].id
        )
    ).first()


def _known(session: Session, part: str, alternate: str, after: AlternateState, supervisor: bool) -> Alternate:
    row = _row(session, lock_parts(session, [part, alternate]), part, alternate)
    check_decision(f"{alternate} in place of {part}", row.state if row else None, after, supervisor=supervisor)
    if row is None:
        raise NotFound(f"alternate {alternate} of {part}")
    return row


def _say(session: Session, row: Alternate, entry_id: str, at: datetime, who: int | None) -> None:
    session.add(row)
    session.add(
        AlternateEvent(
            entry_id=entry_id, part_id=row.part_id, alternate_id=row.alternate_id, state=row.state,
            both_ways=row.both_ways, fits_from=row.fits_from, reason=row.reason, at=at, person_id=who,
        )
    )  # fmt: skip
    session.flush()


def stand_in(
    session: Session,
    source_ref: str,
    part: str,
    alternate: str,
    quantity: int,
    needed: int,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    today: date,
) -> None:
    """Promise a source an approved alternate in place of a part that it still needs ``needed`` of.

    What is promised of the part beyond the rest of that need is given free. Raises NotFound, or Refused for a pair
    that is not approved and for more than is free: not expired, not set aside, not promised.
    """
    held = lock_parts(session, [part, alternate])
    wanted, other = held[part], held[alternate]
    usable = usable_by_part(session, [other.id], today).get(other.id, 0)
    pairs = pairs_of(session, [part])
    check_substitution(part, alternate, quantity, needed, available(usable, other.reserved), pairs)
    own = promised_to(session, source_ref).get(wanted.id, 0)
    surplus = max(own - (needed - quantity), 0)
    changes = [(wanted.id, source_ref, -surplus), (other.id, source_ref, quantity)]
    promise(session, Entry(entry_id, at, who, source_ref), changes)
