"""Whether lots may be picked."""

from collections.abc import Mapping, Sequence
from datetime import date

from sqlmodel import Session

from app.platform.errors import Refused
from app.rules.lots import is_expired
from app.rules.stores.netting import day_words
from app.stores.actions.ledger import Locked, balances_of, find_lots
from app.stores.models import Lot
from app.stores.queries.picking import claimed_at
from app.stores.queries.shelf import Pick, quarantined


def check_lots(
    session: Session, picks: Sequence[Pick], held: Mapping[str, Locked], day: date, source_ref: str
) -> dict[int, Lot]:
    """Check that lots may be picked for a source; returns them by id. The parts must be locked.

    Refused for a lot that is set aside, expired or of another part, for serials that do not match the quantity, and
    for more than lies there beside what other pickers hold.
    """
    lots = find_lots(session, [pick.lot_id for pick in picks])
    balances = balances_of(session, lots)
    aside = quarantined(session)
    elsewhere = claimed_at(session, set(lots), but_for=source_ref)
    taken: dict[tuple[int, int], int] = {}
    for pick in picks:
        lot = lots[pick.lot_id]
        number = pick.part_number
        if pick.lot_id in aside:
            raise Refused(f"{number}: lot {lot.code} is set aside ({aside[pick.lot_id]}). Pick another.", "quantity")
        if pick.quantity < 0:
            raise Refused(f"{number}: a picked quantity is not below zero.", "quantity")
        if lot.part_id != held[number].id:
            raise Refused(f"Lot {lot.code} is not a lot of {number}. Pick a lot of this part.", "quantity")
        if lot.expires_on is not None and is_expired(lot.expires_on, day):
            raise Refused(
                f"{number}: lot {lot.code} expired on {day_words(lot.expires_on)}. Pick another lot and scrap "
                "this one.",
                "quantity",
            )
        if pick.serials and len(set(pick.serials)) != pick.quantity:
            raise Refused(f"{number}: name {pick.quantity} different serials, one for each piece.", "serials")
        place = (pick.lot_id, pick.location_id)
        taken[place] = taken.get(place, 0) + pick.quantity
        there = balances.get(place, 0)
        others = elsewhere.get(place, 0)
        if others and taken[place] > there - others:
            raise Refused(
                f"{number}: {there} of lot {lot.code} are there, and another picker holds {others} of them. "
                f"Take at most {max(there - others, 0)}, or pick another lot.",
                "quantity",
            )
        if taken[place] > there:
            raise Refused(f"{number}: {taken[place]} picked of lot {lot.code}, {there} there. Pick fewer.", "quantity")
    return lots
