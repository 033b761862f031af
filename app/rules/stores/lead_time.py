"""How long orders really take: learnt from receipts, leaning on the stated lead time while there are few."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

STATED_WEIGHT: Final = 3
"""The stated lead time counts like this many receipts: an assumption of ours."""

STATED_SPREAD: Final = 0.25
"""Spread supposed before anything came, as a share of the stated lead time: an assumption of ours."""


@dataclass(frozen=True, slots=True)
class LeadTime:
    """Mean and standard deviation in days, the number of receipts they rest on, and that in words."""

    mean_days: float
    sd_days: float
    receipts: int
    words: str


def lead_time(stated_days: float, receipts_days: Sequence[float] = ()) -> LeadTime:
    """Return a part's lead time from the days between order and receipt, shrunk towards the stated one.

    Mean (n·x̄ + k·stated)/(n + k); variance (Σ(x − x̄)² + n·k/(n + k)·(x̄ − stated)² + k·s₀²)/(n + k), with k =
    ``STATED_WEIGHT`` and s₀ = ``STATED_SPREAD``·stated: the update of a normal prior with unknown mean and variance
    (A. Gelman et al., Bayesian Data Analysis, 3.3). Raises ValueError for negative days.
    """
    if stated_days < 0 or min(receipts_days, default=0.0) < 0:
        raise ValueError("a lead time is not negative")
    n, k = len(receipts_days), STATED_WEIGHT
    found = sum(receipts_days) / n if n else stated_days
    mean = (n * found + k * stated_days) / (n + k)
    squares = sum((x - found) ** 2 for x in receipts_days)
    squares += n * k / (n + k) * (found - stated_days) ** 2 + k * (STATED_SPREAD * stated_days) ** 2
    sd = sqrt(squares / (n + k))
    if n == 0:
        words = f"{stated_days:.0f} days as stated; nothing has been received yet, so a quarter of that as spread"
    else:
        came = "1 receipt" if n == 1 else f"{n} receipts"
        words = f"{mean:.1f} days, give or take {sd:.1f}: {came} took {found:.1f} on average, {stated_days:.0f} stated"
    return LeadTime(mean, sd, n, words)
