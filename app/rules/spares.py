"""Spares in a kit: unused pieces that go to the bench because a step spoils some, and come back to the shelf after."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import Final

from app.rules.planning import KitLine
from app.rules.verdict import Refused

MOST: Final = Decimal(2)
"""Two spares a piece: a step that spoils more is mended, not supplied. An assumption of ours."""
FEW_WORDS: Final = 3


@dataclass(frozen=True, slots=True)
class Spare:
    """``count`` spare pieces of a part go into the kit for a step."""

    part: str
    step: str
    count: int


def kit_spares(kit: Iterable[KitLine], factors: Mapping[tuple[str, str], Decimal]) -> tuple[Spare, ...]:
    """Return the spares of a kit, by step in the kit's order.

    ``factors`` are spare pieces per piece on the sheet, by (step, part); a step of n pieces gets n × factor, rounded
    up, so that n × (1 + factor), rounded up, are there.
    """
    pieces: dict[tuple[str, str], int] = {}
    for line in kit:
        for use in line.uses:
            key = (use.step, line.part)
            pieces[key] = pieces.get(key, 0) + use.count
    return tuple(
        Spare(part, step, int((count * factors[step, part]).to_integral_value(ROUND_CEILING)))
        for (step, part), count in pieces.items()
        if factors.get((step, part), 0) > 0
    )


def check_spares(factor: Decimal, now: Decimal, reason: str) -> None:
    """Refuse spares that are none, too many or those planned already, and a decision without its reason."""
    if factor <= 0:
        raise Refused("Enter a share above zero. To plan no spares any more, withdraw the decision.", "percent")
    if factor > MOST:
        raise Refused(
            f"More than {100 * MOST:.0f} % spare means that the step spoils most of what it takes. "
            "Mend the step first.",
            "percent",
        )
    if factor == now:
        raise Refused("That is what is planned already. Enter another share.", "percent")
    _check_reason(reason)


def check_withdrawal(now: Decimal, reason: str) -> None:
    """Refuse to withdraw what is not planned, and to do so without a reason."""
    if now == 0:
        raise Refused("No spares are planned for this step, so there is nothing to withdraw.")
    _check_reason(reason)


def _check_reason(reason: str) -> None:
    if len(reason.split()) < FEW_WORDS:
        raise Refused("Give the reason in a few words: why the kits of this step change.", "reason")
