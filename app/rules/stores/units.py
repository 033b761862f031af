"""Units that go round: the old unit that came out of a device is repaired and put back, or owed to its supplier.

*Rotable* is the trade's word for a unit that is repaired again and again; a *core* is the old unit that a supplier
wants back for the price of an exchange. Both leave the count of the job as exchanged, wait in the stores, and are no
stock until a repair makes them a new lot.

A lithium cell is never a rotable, and one that is damaged or defective is shipped by road or sea under ADR special
provision 376 or its like, never by air (49 CFR 173.185(f); ICAO Technical Instructions, special provision A154, the
latter from memory).
"""

from collections.abc import Iterable
from datetime import date, timedelta
from enum import StrEnum

from app.rules.sheet import WasteStream
from app.rules.verdict import Refused


class UnitKind(StrEnum):
    """How a part goes round."""

    CONSUMED = "consumed"
    ROTABLE = "rotable"
    EXCHANGE = "exchange"


class UnitState(StrEnum):
    """Where an old unit is on its way: a rotable waits, is mended, and is stock again; a core is owed and sent."""

    WAITS = "waits"
    REPAIR = "in repair"
    STOCK = "stock again"
    SCRAPPED = "scrapped"
    OWED = "owed"
    SENT = "on its way"
    ACCEPTED = "accepted"
    CHARGED = "charged"


OPEN = (UnitState.WAITS, UnitState.REPAIR, UnitState.OWED, UnitState.SENT)
"""States in which something is still to do."""


class Deed(StrEnum):
    """What is done with an old unit."""

    CAME = "came out"
    MOVE = "moved"
    SEND = "sent to repair"
    MEND = "repaired"
    GIVE_UP = "beyond repair"
    RETURN = "core sent back"
    ACCEPT = "core accepted"
    CHARGE = "core charged"


_WAY: dict[tuple[UnitState, Deed], UnitState] = {
    (UnitState.WAITS, Deed.MOVE): UnitState.WAITS,
    (UnitState.WAITS, Deed.SEND): UnitState.REPAIR,
    (UnitState.WAITS, Deed.GIVE_UP): UnitState.SCRAPPED,
    (UnitState.REPAIR, Deed.MEND): UnitState.STOCK,
    (UnitState.REPAIR, Deed.GIVE_UP): UnitState.SCRAPPED,
    (UnitState.OWED, Deed.MOVE): UnitState.OWED,
    (UnitState.OWED, Deed.RETURN): UnitState.SENT,
    (UnitState.OWED, Deed.CHARGE): UnitState.CHARGED,
    (UnitState.SENT, Deed.ACCEPT): UnitState.ACCEPTED,
    (UnitState.SENT, Deed.CHARGE): UnitState.CHARGED,
}


def check_kind(kind: UnitKind, waste: WasteStream) -> None:
    """Raise Refused for a cell as a rotable: what is in a used cell cannot be made good again."""
    if kind is UnitKind.ROTABLE and waste is WasteStream.CELL:
        raise Refused(
            "A cell is not repaired and put back. Keep it as consumed, or as an exchange unit if its supplier wants "
            "the old one.",
            "kind",
        )


def first_state(kind: UnitKind) -> UnitState:
    """Return where an old unit begins; Refused for a part that is consumed: its old one is scrapped."""
    if kind is UnitKind.CONSUMED:
        raise Refused("The old one of this part is scrapped. Say on its card that it is repaired or owed first.")
    return UnitState.OWED if kind is UnitKind.EXCHANGE else UnitState.WAITS


def after(number: str, state: UnitState, deed: Deed) -> UnitState:
    """Return the state after a deed; Refused when it does not follow from where the unit is."""
    found = _WAY.get((state, deed))
    if found is None:
        raise Refused(f"Unit {number} is {_WORDS[state]}, so it cannot be entered as {deed.value}.")
    return found


_WORDS = {
    UnitState.WAITS: "waiting for its repair",
    UnitState.REPAIR: "in repair",
    UnitState.STOCK: "stock again",
    UnitState.SCRAPPED: "scrapped",
    UnitState.OWED: "owed to the supplier",
    UnitState.SENT: "on its way to the supplier",
    UnitState.ACCEPTED: "accepted by the supplier",
    UnitState.CHARGED: "charged by the supplier",
}


def fold_unit(kind: UnitKind, deeds: Iterable[Deed]) -> UnitState:
    """Fold what happened to a unit, ``came out`` first, into where it is. Raises Refused for an impossible order."""
    state = None
    for deed in deeds:
        if deed is Deed.CAME:
            if state is not None:
                raise Refused("A unit came out twice.")
            state = first_state(kind)
        elif state is None:
            raise Refused("A unit was dealt with before it came out.")
        else:
            state = after("", state, deed)
    if state is None:
        raise Refused("Nothing is said of this unit.")
    return state


def check_shipping(defective_cell: bool, by_air: bool) -> None:
    """Raise Refused for a damaged or defective lithium cell by air (49 CFR 173.185(f))."""
    if defective_cell and by_air:
        raise Refused(
            "A damaged or defective lithium cell never goes by air. Send it by road or sea, packed and marked as "
            "damaged or defective (ADR special provision 376), or give it to the cell waste.",
            "by_air",
        )


def keeps_old(kind: UnitKind, defective_cell: bool) -> bool:
    """Say whether the old unit of a part is kept: a consumed one is not, nor a defective cell to be repaired."""
    if kind is UnitKind.CONSUMED:
        return False
    return not (defective_cell and kind is UnitKind.ROTABLE)


def due_day(came: date, days: int) -> date:
    """Return the last day on which a core is expected at its supplier's."""
    return came + timedelta(days=days)


def days_left(due: date, today: date) -> int:
    """Return the days until a core is due, below zero when it is late."""
    return (due - today).days
