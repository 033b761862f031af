"""Approved alternates: which part may be used where another is wanted, and whether a job may be given it.

Anybody of the stores proposes a pair, a supervisor approves it, either may withdraw it. Nothing of it is forgotten:
each word on a pair is a fact, and where the pair stands is the last of them.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from app.rules.verdict import Refused


class AlternateState(StrEnum):
    """Where a pair of parts stands; only an approved one is offered."""

    PROPOSED = "proposed"
    APPROVED = "approved"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True)
class Pair:
    """``alternate`` in place of ``part``, as far as the facts go; ``both_ways``: the other way round too."""

    part: str
    alternate: str
    state: AlternateState
    both_ways: bool = False
    fits_from: str = ""


def check_proposal(part: str, alternate: str, before: AlternateState | None) -> None:
    """Raise Refused for a part as its own alternate, and for a pair that is approved already."""
    if part == alternate:
        raise Refused("A part is no alternate of itself. Enter another part number.", "alternate")
    if before is AlternateState.APPROVED:
        raise Refused(f"{alternate} is an approved alternate of {part} already. Withdraw that first.", "alternate")


def check_decision(pair: str, before: AlternateState | None, after: AlternateState, *, supervisor: bool) -> None:
    """Raise Refused unless a pair may go from one state to the other by this person's word.

    Approving is a supervisor's; withdrawing is anybody's in the stores, as it only ever makes the shelf safer.
    """
    if before is None:
        raise Refused(f"{pair} was never proposed. Propose it first.")
    if after is AlternateState.APPROVED and not supervisor:
        raise Refused("A supervisor approves an alternate. Ask one to sign in and approve it here.")
    if before is after or (after is AlternateState.APPROVED and before is AlternateState.WITHDRAWN):
        raise Refused(f"{pair} is {before.value}. " + ("Propose it anew." if before is not after else ""))


def approved_for(part: str, pairs: Iterable[Pair]) -> tuple[str, ...]:
    """Return the part numbers that may be used in place of a part, in the order of the pairs; pairs both ways count."""
    found = []
    for pair in pairs:
        if pair.state is not AlternateState.APPROVED:
            continue
        if pair.part == part:
            found.append(pair.alternate)
        elif pair.both_ways and pair.alternate == part:
            found.append(pair.part)
    return tuple(dict.fromkeys(found))


def check_substitution(part: str, alternate: str, quantity: int, needed: int, free: int, pairs: Sequence[Pair]) -> None:
    """Raise Refused unless ``quantity`` of an alternate may stand in for a part that is still ``needed``.

    ``free`` is what of the alternate is usable and promised to nobody: neither expired nor set aside.
    """
    if alternate not in approved_for(part, pairs):
        asked = next((p for p in pairs if {p.part, p.alternate} == {part, alternate}), None)
        why = "nobody has proposed it" if asked is None else f"it is {asked.state.value}"
        if asked is not None and asked.state is AlternateState.APPROVED:
            why = f"it is approved the other way round only, {asked.alternate} in place of {asked.part}"
        raise Refused(
            f"{alternate} is not an approved alternate of {part}: {why}. Have a supervisor approve it first.",
            "pair",
        )
    if quantity < 1 or quantity > needed:
        raise Refused(f"{needed} of {part} are still to hand out. Enter 1 to {needed}.", "alternate_quantity")
    if quantity > free:
        raise Refused(
            f"{free} of {alternate} are free on the shelf, not {quantity}. Take {free} or fewer."
            if free
            else f"None of {alternate} is free on the shelf. Choose another alternate, or order.",
            "alternate_quantity",
        )


@dataclass(frozen=True, slots=True)
class StandIn:
    """``quantity`` of an alternate that a job takes in place of a part, of what was planned and of what was added."""

    part: str
    alternate: str
    planned: int
    added: int

    @property
    def quantity(self) -> int:
        """All of it."""
        return self.planned + self.added


def split(quantity: int, planned: int, added: int, open_now: int) -> tuple[int, int]:
    """Split a substitution into what it takes over of the planned and of the added need: the planned first.

    ``open_now`` is what is still to hand out, at least ``quantity``. Raises ValueError when the need is smaller.
    """
    if quantity > min(open_now, planned + added):
        raise ValueError("more would stand in than is needed")
    first = min(quantity, planned)
    return first, quantity - first


def moved(needs: Mapping[str, int], shifts: Iterable[tuple[str, str, int]]) -> dict[str, int]:
    """Return the need of each part once alternates have taken over: each shift is (part, alternate, quantity)."""
    found = dict(needs)
    for part, alternate, quantity in shifts:
        found[part] = found.get(part, 0) - quantity
        found[alternate] = found.get(alternate, 0) + quantity
    return found


def to_give_up(need: int, taken: Sequence[tuple[str, int]]) -> tuple[tuple[str, int], ...]:
    """Return what alternates must give up, as (alternate, quantity), when a need has shrunk below what they took.

    ``need`` is what is needed of the wanted part in all; ``taken`` is what each alternate took over, the last one
    gives up first.
    """
    over = sum(quantity for _alternate, quantity in taken) - need
    found = []
    for alternate, quantity in reversed(taken):
        share = min(over, quantity)
        if share > 0:
            found.append((alternate, share))
            over -= share
    return tuple(found)
