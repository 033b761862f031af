"""Picking line by line: a line taken off the shelf belongs to its picker until it is handed out or put back."""

from collections.abc import Iterable
from datetime import date, datetime

from sqlalchemy import update
from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused
from app.rules.stock import check_hand_out
from app.stores.actions.ledger import balance, lock_part_ids, lock_parts
from app.stores.actions.lot_checks import check_lots
from app.stores.models import Lot, PickClaim, Reservation, ShortPick
from app.stores.queries.shelf import Pick, usable_by_part


def claim_pick(
    session: Session,
    source_ref: str,
    pick: Pick,
    most: int,
    *,
    scanned: bool,
    at: datetime,
    who: int | None,
    today: date,
) -> None:
    """Take a line for a source off the shelf: nobody else is proposed or handed these pieces.

    ``most`` is how many of the part the source still needs, those in pickers' hands included. A second claim of the
    same lot and place adds to the first. Refused for a lot that may not be used, for more than lies there beside
    what other pickers hold, and for more than is needed or free.
    """
    held = lock_parts(session, [pick.part_number])[pick.part_number]
    if pick.quantity < 1:
        raise Refused("Take at least one piece, or say that it is short.", "quantity")
    check_lots(session, [pick], {pick.part_number: held}, today, source_ref)
    claims = session.exec(
        select(PickClaim).where(col(PickClaim.part_id) == held.id, col(PickClaim.outcome) == "")
    ).all()
    mine = [claim for claim in claims if claim.source_ref == source_ref]
    in_hand = sum(claim.quantity for claim in mine)
    if in_hand + pick.quantity > most:
        if in_hand >= most:
            raise Refused(f"{pick.part_number} is picked already. Nothing was taken twice.", "code")
        raise Refused(f"{pick.part_number}: {most - in_hand} still to pick, not {pick.quantity}.", "quantity")
    same = next((c for c in mine if (c.lot_id, c.location_id) == (pick.lot_id, pick.location_id)), None)
    there = balance(session, pick.lot_id, pick.location_id)
    if same is not None and same.quantity + pick.quantity > there:
        raise Refused(f"{pick.part_number}: {there} lie there, and {same.quantity} are picked already.", "quantity")
    usable = usable_by_part(session, [held.id], today).get(held.id, 0)
    own, others = _spoken_for(session, held.id, source_ref, claims)
    check_hand_out(pick.part_number, in_hand + pick.quantity, usable, own + others, own)
    if same is None:
        same = PickClaim(
            source_ref=source_ref, part_id=held.id, lot_id=pick.lot_id, location_id=pick.location_id,
            quantity=pick.quantity, serials=" ".join(pick.serials), scanned=scanned, person_id=who, at=at,
        )  # fmt: skip
    else:
        if set(pick.serials) & set(same.serials.split()):
            raise Refused(f"{pick.part_number}: serial {' '.join(pick.serials)} is picked already.", "code")
        same.quantity += pick.quantity
        same.serials = " ".join([*same.serials.split(), *pick.serials])
    session.add(same)
    session.flush()


def _spoken_for(session: Session, part_id: int, source_ref: str, claims: Iterable[PickClaim]) -> tuple[int, int]:
    """Return what is promised to the source, and what others are promised or hold, whichever is more of each."""
    promised = dict(
        session.exec(select(Reservation.source_ref, Reservation.quantity).where(col(Reservation.part_id) == part_id))
        .all()
    )  # fmt: skip
    held: dict[str, int] = {}
    for claim in claims:
        held[claim.source_ref] = held.get(claim.source_ref, 0) + claim.quantity
    others = sum(max(promised.get(s, 0), held.get(s, 0)) for s in promised.keys() | held.keys() if s != source_ref)
    return promised.get(source_ref, 0), others


def put_back_pick(session: Session, source_ref: str, claim_id: int, *, at: datetime, who: int | None) -> None:
    """Put a picked line back on the shelf; nothing had moved in the book. Raises NotFound or Refused."""
    claim = session.get(PickClaim, claim_id)
    if claim is None or claim.source_ref != source_ref:
        raise NotFound(f"pick {claim_id}")
    lock_part_ids(session, [claim.part_id])
    session.refresh(claim)
    if claim.outcome:
        raise Refused(f"That line was {claim.outcome} already.")
    claim.outcome, claim.ended_at = "put back", at
    session.add(claim)
    session.flush()


def note_short_pick(
    session: Session,
    source_ref: str,
    pick: Pick,
    found: int,
    reason: str,
    *,
    at: datetime,
    who: int | None,
) -> None:
    """Note that a picker found fewer than the line says: no more is proposed from there until the place is counted."""
    held = lock_parts(session, [pick.part_number])[pick.part_number]
    lot = session.get(Lot, pick.lot_id)
    if lot is None or lot.part_id != held.id:
        raise NotFound(f"lot {pick.lot_id}")
    reason = " ".join(reason.split())
    if not reason:
        raise Refused("Say why, as far as you know. Whoever counts the place will read it.", "reason")
    if not 0 <= found < pick.quantity:
        raise Refused(f"The line says {pick.quantity}. Enter fewer than that, or pick the line as it is.", "found")
    session.add(
        ShortPick(
            source_ref=source_ref, part_id=held.id, lot_id=pick.lot_id, location_id=pick.location_id,
            wanted=pick.quantity, found=found, reason=reason[:300], person_id=who, at=at,
        )
    )  # fmt: skip
    session.flush()


def end_claims(session: Session, source_ref: str, picks: Iterable[Pick], at: datetime) -> None:
    """End the claims of what was just handed out. The parts must be locked."""
    places = {(pick.lot_id, pick.location_id) for pick in picks}
    for claim in session.exec(
        select(PickClaim).where(col(PickClaim.source_ref) == source_ref, col(PickClaim.outcome) == "")
    ).all():
        if (claim.lot_id, claim.location_id) in places:
            claim.outcome, claim.ended_at = "handed out", at
            session.add(claim)
    session.flush()


def drop_claims(session: Session, source_ref: str, at: datetime) -> None:
    """End all claims of a source that is over: what was in hand goes back."""
    session.exec(
        update(PickClaim)
        .where(col(PickClaim.source_ref) == source_ref, col(PickClaim.outcome) == "")
        .values(outcome="put back", ended_at=at)
    )


def settle_short_picks(session: Session, location_id: int, at: datetime) -> None:
    """The place was counted: what pickers found missing there is settled."""
    session.exec(
        update(ShortPick)
        .where(col(ShortPick.location_id) == location_id, col(ShortPick.settled_at).is_(None))
        .values(settled_at=at)
    )
