"""Statistics of the review: rates with their uncertainty, and medians."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

Z_95: Final = 1.959963984540054
"""The 97.5 % point of the normal distribution: a two-sided interval of 95 %."""


@dataclass(frozen=True, slots=True)
class Rate:
    """``hits`` of ``trials`` and the interval that the true rate lies in, all between 0 and 1."""

    hits: int
    trials: int
    share: float
    low: float
    high: float


def wilson_interval(hits: int, trials: int, z: float = Z_95) -> Rate:
    """Return the share of hits with Wilson's score interval, without continuity correction.

    It stays within 0 and 1 and is honest for few trials and for no hits at all, where the usual plus-or-minus
    is not. Source: E. B. Wilson (1927), J. Am. Stat. Assoc. 22, 209-212; compared with others by R. G. Newcombe
    (1998), Statistics in Medicine 17, 857-872, method 3. Raises ValueError without trials or for impossible hits.
    """
    if trials < 1 or not 0 <= hits <= trials:
        raise ValueError("a rate needs trials, and no more hits than those")
    share = hits / trials
    square = z * z
    middle = share + square / (2 * trials)
    half = z * sqrt(share * (1 - share) / trials + square / (4 * trials * trials))
    low = 0.0 if hits == 0 else (middle - half) / (1 + square / trials)
    high = 1.0 if hits == trials else (middle + half) / (1 + square / trials)
    return Rate(hits, trials, share, low, high)


def median(values: Sequence[int]) -> int | None:
    """Return the middle value, the mean of the middle two rounded down, or None for no values."""
    if not values:
        return None
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) // 2
