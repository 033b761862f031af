"""What a demand history looks like: how often something is wanted, how much the wants differ, and its class.

A history is demand by period, oldest first, in stock units; of many parts it has one row a part. The two figures
are the average interval between periods with demand (ADI = periods / periods with demand) and the squared
coefficient of variation of the sizes, zeros left out (CV²).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Final

import numpy as np

from app.rules.stores.arrays import Flags, Reals, Wholes, ratio, reals

ADI_LIMIT: Final = 1.32
CV2_LIMIT: Final = 0.49
"""Limits between the classes: A. A. Syntetos, J. E. Boylan & J. D. Croston (2005), On the categorization of demand
patterns, Journal of the Operational Research Society 56, 495-503."""


class DemandClass(StrEnum):
    """The four classes of Syntetos, Boylan & Croston, and no demand at all."""

    NONE = "none"
    SMOOTH = "smooth"
    ERRATIC = "erratic"
    INTERMITTENT = "intermittent"
    LUMPY = "lumpy"


CLASS_WORDS: Final = {
    DemandClass.NONE: "nothing was wanted in the time looked at",
    DemandClass.SMOOTH: "wanted nearly every month, in much the same quantity",
    DemandClass.ERRATIC: "wanted nearly every month, in very different quantities",
    DemandClass.INTERMITTENT: "wanted now and then, in much the same quantity",
    DemandClass.LUMPY: "wanted now and then, in very different quantities",
}


@dataclass(frozen=True, slots=True)
class DemandShape:
    """One history's figures. ``cv2`` has the divisor n and decides the class; ``cv2_sample`` has n − 1.

    ``adi`` is in periods and infinite without demand; ``cv2_sample`` is 0 with fewer than two demands.
    """

    periods: int
    demands: int
    adi: float
    cv2: float
    cv2_sample: float
    kind: DemandClass


@dataclass(frozen=True, slots=True)
class Shapes:
    """The figures of many histories, one place a part; see ``DemandShape``.

    ``mean`` and ``variance`` (divisor n − 1) are per period, zeros included; ``unit`` is the greatest quantity
    that all demands are multiples of (1 with fewer than three demands).
    """

    periods: Wholes
    demands: Wholes
    adi: Reals
    cv2: Reals
    cv2_sample: Reals
    mean: Reals
    variance: Reals
    unit: Wholes


def shapes(history: Reals, first: Wholes | None = None) -> Shapes:
    """Return the figures of histories (parts × periods); ``first`` is each part's first period, 0 by default.

    Periods before a part's first are left out. Raises ValueError for demand below zero.
    """
    if history.size and float(history.min()) < 0:
        raise ValueError("demand is not negative")
    live = alive(history, first)
    wanted = (history > 0) & live
    kept = np.where(live, history, 0.0)
    periods = live.sum(axis=1)
    demands = wanted.sum(axis=1)
    total = kept.sum(axis=1)
    size = ratio(total, demands.astype(np.float64))
    spread = np.where(wanted, (kept - size[:, None]) ** 2, 0.0).sum(axis=1)
    cv2 = ratio(ratio(spread, demands.astype(np.float64)), size**2)
    mean = ratio(total, periods.astype(np.float64))
    squares = np.where(live, (kept - mean[:, None]) ** 2, 0.0).sum(axis=1)
    units = np.gcd.reduce(np.rint(kept).astype(np.int64), axis=1) if history.shape[1] else np.zeros_like(demands)
    return Shapes(
        periods=periods,
        demands=demands,
        adi=ratio(periods.astype(np.float64), demands.astype(np.float64), np.inf),
        cv2=cv2,
        cv2_sample=np.where(demands > 1, cv2 * demands / np.maximum(demands - 1, 1), 0.0),
        mean=mean,
        variance=np.where(periods > 1, squares / np.maximum(periods - 1, 1), 0.0),
        unit=np.where(demands >= 3, np.maximum(units, 1), 1),
    )


def alive(history: Reals, first: Wholes | None) -> Flags:
    """Return which periods count: those from each part's first period on."""
    columns = np.arange(history.shape[1])[None, :]
    return np.broadcast_to(columns >= (0 if first is None else first[:, None]), history.shape)


def demand_class(adi: float, cv2: float) -> DemandClass:
    """Return the class of an average interval and a squared coefficient of variation of the sizes."""
    if adi == float("inf"):
        return DemandClass.NONE
    if adi < ADI_LIMIT:
        return DemandClass.SMOOTH if cv2 < CV2_LIMIT else DemandClass.ERRATIC
    return DemandClass.INTERMITTENT if cv2 < CV2_LIMIT else DemandClass.LUMPY


def demand_shape(history: Sequence[float]) -> DemandShape:
    """Return the figures and the class of one history; raises ValueError for demand below zero."""
    found = shapes(reals(history)[None, :])
    adi, cv2 = float(found.adi[0]), float(found.cv2[0])
    kind = demand_class(adi, cv2)
    return DemandShape(len(history), int(found.demands[0]), adi, cv2, float(found.cv2_sample[0]), kind)


@dataclass(frozen=True, slots=True)
class Use:
    """Stock that went out: the day, the net quantity, and when it was first known that it would be wanted.

    ``known_on`` is the day the job was booked or planned with this part; None when nobody knew.
    """

    on: date
    quantity: int
    known_on: date | None = None


def unforeseen(uses: Iterable[Use], lead_time_days: int) -> tuple[Use, ...]:
    """Return the uses that no plan announced in time to order for them: the demand a forecast has to cover.

    What was known a lead time ahead is netted as known demand when it comes; to forecast it as well would stock it
    twice.
    """
    return tuple(u for u in uses if u.known_on is None or (u.on - u.known_on).days < lead_time_days)


def by_month(uses: Iterable[Use], until: date, months: int) -> list[int]:
    """Return demand by calendar month: the ``months`` months that end before the month of ``until``.

    A month still running is left out, as it would look like a fall in demand. What was returned counts against
    its month, which does not go below zero.
    """
    last = until.year * 12 + until.month - 1
    found = [0] * months
    for use in uses:
        place = use.on.year * 12 + use.on.month - 1 - (last - months)
        if 0 <= place < months:
            found[place] += use.quantity
    return [max(0, quantity) for quantity in found]
