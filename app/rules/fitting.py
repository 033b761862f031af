"""New parts that go in: from which of the lots in hand they are drawn, and which lots must not be used."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from app.rules.verdict import Refused


class SetAside(Refused):
    """A lot in hand must not be fitted: it was set aside after it was handed out."""


Taken = dict[tuple[str, int | str], int]
"""What was drawn already: by ("lot", lot id), and by (wanted part, alternate) for what stands in."""


@dataclass(frozen=True, slots=True)
class LotInHand:
    """What of a lot was handed out to the job and is not used yet. ``serials`` are of tracked units.

    ``part`` is the lot's own part where it stands in for the wanted one, of which ``most`` pieces of that part in all
    may; empty for a lot of the wanted part itself. ``aside`` is why the lot was set aside since, empty when it was not.
    """

    lot_id: int
    code: str
    free: int
    serials: tuple[str, ...] = ()
    part: str = ""
    most: int = 0
    aside: str = ""


@dataclass(frozen=True, slots=True)
class Fitted:
    """A new part that goes in, with its lot. ``instead_of`` is the part that was wanted, where an alternate goes in."""

    item: str
    part: str
    lot_id: int
    lot_code: str
    count: int
    serial: str = ""
    instead_of: str = ""


def draw(key: str, part: str, count: int, lots: Sequence[LotInHand], taken: Taken) -> list[Fitted]:
    """Draw new pieces from lots in their order; fewer where they do not reach. ``taken`` are used up already."""
    found = []
    for lot in lots:
        used = taken.get(("lot", lot.lot_id), 0)
        here = min(count, lot.free - used)
        if lot.part:
            here = min(here, lot.most - taken.get((part, lot.part), 0))
        if here <= 0:
            continue
        own, wanted = (lot.part, part) if lot.part else (part, "")
        serials = lot.serials[used : used + here]
        found += [Fitted(key, own, lot.lot_id, lot.code, 1, serial, wanted) for serial in serials]
        if here > len(serials):
            found.append(Fitted(key, own, lot.lot_id, lot.code, here - len(serials), "", wanted))
        taken["lot", lot.lot_id] = used + here
        if lot.part:
            taken[part, lot.part] = taken.get((part, lot.part), 0) + here
        count -= here
    return found


def check_not_aside(fitted: Iterable[Fitted], lots: Iterable[LotInHand]) -> None:
    """Raise Refused when a piece would go in from a lot that was set aside after it was handed out."""
    by_id = {lot.lot_id: lot for lot in lots}
    for fit in fitted:
        lot = by_id.get(fit.lot_id)
        if lot is None or not lot.aside:
            continue
        other = next((o.code for o in by_id.values() if o.free > 0 and not o.aside and o.part == lot.part), "")
        change = (
            f"Scan the label of lot {other}, which you have too, or bring this one back to stores"
            if other
            else "Bring it back to stores and have another lot handed out"
        )
        raise SetAside(
            f"Lot {lot.code} of {fit.part} was set aside: {lot.aside.rstrip('.')}. Do not fit it. {change}, then tick "
            "again."
        )


def with_alternates(
    in_hand: Mapping[str, Sequence[LotInHand]], left: Mapping[tuple[str, str], int]
) -> dict[str, list[LotInHand]]:
    """Offer the lots of alternates where their part is wanted; ``left`` is by (wanted, alternate) what may still.

    A part's own lots come first. An alternate's lots stay in hand for its own places too.
    """
    found = {part: list(lots) for part, lots in in_hand.items()}
    for (wanted, alternate), most in sorted(left.items()):
        if most > 0:
            found.setdefault(wanted, []).extend(
                replace(lot, part=alternate, most=most) for lot in in_hand.get(alternate, ()) if not lot.part
            )
    return found
