"""Goods sent back to their supplier: why, and when the matter is closed."""

from decimal import Decimal
from enum import StrEnum

from app.rules.verdict import Refused


class ReturnReason(StrEnum):
    """Why goods go back."""

    WRONG = "wrong goods"
    FAULTY = "faulty"
    OVER = "more than ordered"


class ReturnState(StrEnum):
    """A return waits for its answer, then it is credited or the supplier has refused."""

    SENT = "sent"
    CREDITED = "credited"
    REFUSED = "refused"
    REPLACED = "replaced"


def expected_credit(quantity: int, unit_cost: Decimal, *, replaced: bool) -> Decimal:
    """Return the credit to expect, exact: what the goods cost us, or nothing where others are sent instead."""
    return Decimal(0) if replaced else quantity * unit_cost


def check_close(number: str, state: ReturnState, credited: Decimal | None, expected: Decimal, note: str) -> ReturnState:
    """Return the state that a return closes with; Refused when it is closed, or less comes without a word.

    ``credited`` is the amount on the credit note, zero when the supplier refuses. None: the replacement came.
    """
    if state is not ReturnState.SENT:
        raise Refused(f"Return {number} is closed already: {state.value}.")
    if credited is None:
        if expected:
            raise Refused("Enter the amount of the credit note, 0 when the supplier refuses.", "credited")
        return ReturnState.REPLACED
    if credited < 0:
        raise Refused("A credit is not below zero.", "credited")
    if credited < expected and not note:
        raise Refused("Less came than was expected. Say what the supplier answered.", "note")
    return ReturnState.CREDITED if credited else ReturnState.REFUSED
