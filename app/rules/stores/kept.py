"""A suggestion as it is kept and read again, and the levels on a part's card while there is no forecast."""

from dataclasses import fields, replace
from datetime import date
from typing import Any

from app.rules.reorder import ReorderRule, Stock, reorder
from app.rules.stores.demand import DemandClass
from app.rules.stores.forecast import Method
from app.rules.stores.laws import Law
from app.rules.stores.suggestion import Suggestion

NO_FORECAST = (
    "Nothing was used unforeseen in the time looked at, so there is no forecast: until there is, the levels on the "
    "part's card hold."
)
# Looked up once: a storeroom keeps tens of thousands of suggestions.
_NAMES = tuple(one.name for one in fields(Suggestion))


def by_card(method: Method, order_up_to: int) -> bool:
    """Whether the levels on a part's card hold: there is no forecast, and the card has levels."""
    return method is Method.NONE and order_up_to > 0


def with_card(found: Suggestion, stock: Stock, rule: ReorderRule) -> Suggestion:
    """Return the suggestion by the levels on the card. What planned jobs want counts as reserved."""
    known = Stock(stock.on_hand, stock.on_order, stock.reserved + found.known_demand)
    answer = reorder(known, rule)
    return replace(
        found,
        position=answer.position,
        reorder_point=rule.reorder_point,
        order_up_to=rule.order_up_to,
        quantity=answer.quantity,
        because=(answer.words, NO_FORECAST, *found.because[2:]),
    )


def short_words(found: Suggestion) -> str:
    """Return why in two sentences, as it stands on the list."""
    return " ".join(found.because[:1] if found.method is Method.NONE and found.order_up_to else found.because[:2])


def as_data(found: Suggestion) -> dict[str, Any]:
    """Return a suggestion as plain data for JSON: days as text, words for the enumerations."""
    data = {name: getattr(found, name) for name in _NAMES}
    return data | {
        "on": found.on.isoformat(),
        "horizon": found.horizon.isoformat(),
        "method": found.method.value,
        "demand_class": found.demand_class.value,
        "law": found.law.value,
        "because": list(found.because),
    }


def from_data(data: dict[str, Any]) -> Suggestion:
    """Read back what ``as_data`` wrote. Raises KeyError, TypeError or ValueError for anything else."""
    return Suggestion(
        **{
            **data,
            "on": date.fromisoformat(data["on"]),
            "horizon": date.fromisoformat(data["horizon"]),
            "method": Method(data["method"]),
            "demand_class": DemandClass(data["demand_class"]),
            "law": Law(data["law"]),
            "because": tuple(data["because"]),
        }
    )
