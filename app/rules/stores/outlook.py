"""A part's stock over time: what it was, and what is to be expected with what is known, forecast and on order."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import sqrt
from typing import Final

from app.rules.stores.netting import Coming, Requirement

BAND_Z: Final = 1.2816
"""Eight in ten: the normal distribution's 10 % and 90 % points (scipy.stats.norm.ppf(0.9))."""


@dataclass(frozen=True, slots=True)
class OutlookDay:
    """Stock at the end of a day. ``low`` and ``high`` hold eight times in ten; past days have one figure thrice.

    ``wanted`` is what jobs are known to want that day, ``comes`` what open orders bring.
    """

    on: date
    expected: float
    low: float
    high: float
    wanted: int = 0
    comes: int = 0


def past(on_hand: int, changes: Mapping[date, int], today: date, days: int) -> tuple[OutlookDay, ...]:
    """Return the stock of the last ``days`` days up to today, counted back from what is on hand now.

    ``changes`` is the sum of all movements of a day.
    """
    found = []
    level = on_hand
    for back in range(days + 1):
        day = today - timedelta(days=back)
        found.append(OutlookDay(day, level, level, level))
        level -= changes.get(day, 0)
    return tuple(reversed(found))


def ahead(
    usable: int,
    wants: Sequence[Requirement],
    coming: Sequence[Coming],
    *,
    rate_per_day: float,
    dispersion: float,
    rate_error: float,
    today: date,
    days: int,
) -> tuple[OutlookDay, ...]:
    """Return the stock to be expected on each of the next ``days`` days, nothing more being ordered.

    Usable stock less promises and known wants, plus what is coming on its day, less the unforeseen at its rate. The
    band is the normal one of variance dispersion·rate·t + error·(rate·t)² (errors of the rate add in full). What
    is overdue counts as tomorrow's. Stock does not fall below zero on the drawing; what is owed waits.
    """
    found = []
    known = 0
    for n in range(1, days + 1):
        day = today + timedelta(days=n)
        wanted = sum(w.quantity for w in wants if w.on == day or (n == 1 and w.on <= today))
        comes = sum(c.quantity for c in coming if c.on == day or (n == 1 and c.on <= today))
        known += comes - wanted
        mean = rate_per_day * n
        sd = sqrt(max(dispersion, 0.0) * mean + rate_error * mean**2)
        middle = usable + known - mean
        low, high = middle - BAND_Z * sd, middle + BAND_Z * sd
        found.append(OutlookDay(day, max(0.0, middle), max(0.0, low), max(0.0, high), wanted, comes))
    return tuple(found)
