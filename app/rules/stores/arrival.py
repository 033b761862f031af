"""When a part that is on order will be here: no date is taken at its word, each is moved by what was learnt of it.

A supplier's own date is moved by how late that supplier's orders usually come. Where nobody has named a date, the
order takes as long as the part's orders took before. Both lean on the catalogue's lead time while little has come, and
the spread leans with them, so that a supplier nobody knows yet is given room instead of trust.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, exp, floor, log, sqrt
from statistics import NormalDist
from typing import Final

from app.rules.stores.lead_time import STATED_SPREAD, STATED_WEIGHT, LeadTime
from app.rules.working_calendar import day_words

SHARE: Final = 0.8
"""The stated percentile: four orders in five are there by the *late* day; as many come after the *earliest*."""

LOST: Final = 0.98
"""An order that is later than this share of its kind tells nothing more by its history: an assumption of ours."""


@dataclass(frozen=True, slots=True)
class Lateness:
    """How many days later than expected a supplier's orders come, and how much that scatters; rests on ``orders``."""

    mean_days: float
    sd_days: float
    orders: int


@dataclass(frozen=True, slots=True)
class Awaited:
    """An open order of a part. ``due`` is the expected day; ``named`` that the supplier named it; ``sent`` when."""

    sent: date
    due: date
    named: bool
    supplier: str


@dataclass(frozen=True, slots=True)
class Arrival:
    """Days on which the part will be here: ``earliest`` and ``late`` at the 20 and 80 % points, ``likely`` half way."""

    earliest: date
    likely: date
    late: date
    words: str


def lateness(stated_days: float, late_days: Sequence[float] = ()) -> Lateness:
    """Return a supplier's usual lateness from days late (negative: early) of its orders, one figure an order.

    Drawn toward no lateness, with a quarter of the stated lead time as spread: the same update of a normal prior as
    ``lead_time`` (A. Gelman et al., Bayesian Data Analysis, 3.3). Raises ValueError for a negative lead time.
    """
    if stated_days < 0:
        raise ValueError("a lead time is not negative")
    n, k = len(late_days), STATED_WEIGHT
    found = sum(late_days) / n if n else 0.0
    squares = sum((day - found) ** 2 for day in late_days)
    squares += n * k / (n + k) * found**2 + k * (STATED_SPREAD * stated_days) ** 2
    return Lateness(n * found / (n + k), sqrt(squares / (n + k)), n)


def arrival(order: Awaited, lead: LeadTime, usual: Lateness, today: date) -> Arrival:
    """Return when an order that has not come by ``today`` will, from its part's lead time and its supplier's lateness.

    The wait since it was sent is taken as log-normal with the learnt mean and spread, widened by (1 + 1/(n + k)) for
    the mean that is not known exactly, and cut off at today: what should have been here already may come today, and
    the longer it is overdue the less is expected of the days to come. Beyond the ``LOST`` point of its wait one and
    two spreads from today are given.
    """
    since = (order.due - order.sent).days
    mean = since + usual.mean_days if order.named else lead.mean_days
    known = usual.orders if order.named else lead.receipts
    spread = max((usual.sd_days if order.named else lead.sd_days) * sqrt(1 + 1 / (known + STATED_WEIGHT)), 0.5)
    mean, waited = max(mean, 0.5), (today - order.sent).days
    width = log(1 + (spread / mean) ** 2)
    middle = log(mean) - width / 2
    passed = NormalDist().cdf((log(waited - 0.5) - middle) / sqrt(width)) if waited >= 1 else 0.0
    if passed > LOST:
        likely, late = today + timedelta(days=ceil(spread)), today + timedelta(days=ceil(2 * spread))
        return Arrival(today, likely, late, f"It is long overdue ({day_words(order.due)}): ask {order.supplier}.")

    def point(share: float) -> float:
        return exp(middle + sqrt(width) * NormalDist().inv_cdf(passed + share * (1 - passed)))

    earliest = max(today, order.sent + timedelta(days=floor(point(1 - SHARE))))
    likely = max(earliest, order.sent + timedelta(days=round(point(0.5))))
    late = max(likely, order.sent + timedelta(days=ceil(point(SHARE))))
    return Arrival(earliest, likely, late, _words(order, lead, usual))


def _words(order: Awaited, lead: LeadTime, usual: Lateness) -> str:
    if not order.named:
        if not lead.receipts:
            return f"{order.supplier} has named no day and the part never came before: the catalogue's lead time holds."
        came = "1 delivery" if lead.receipts == 1 else f"{lead.receipts} deliveries"
        return f"{order.supplier} has named no day; after {came} the part takes {lead.mean_days:.0f} days."
    if not usual.orders:
        return f"{order.supplier} says {day_words(order.due)}; none of its orders has come yet to judge that by."
    rests = "its 1 order so far" if usual.orders == 1 else f"its last {usual.orders} orders"
    days = f"{abs(usual.mean_days):.1f} days"
    off = "about on the day" if abs(usual.mean_days) < 0.25 else f"{days} {'late' if usual.mean_days > 0 else 'early'}"
    return f"{order.supplier} says {day_words(order.due)}; by {rests} it comes {off}."
