"""Distributions of demand over a time: Poisson, negative binomial or normal, by how much it scatters.

All figures are arrays, one place a part. Distribution functions are those of scipy.special: the incomplete gamma
function gives Poisson's, the incomplete beta function the negative binomial's (Abramowitz & Stegun 26.4.21, 26.5.24).
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from scipy import special

from app.rules.stores.arrays import Flags, Reals, Wholes, reals


class Law(StrEnum):
    """Which distribution."""

    POISSON = "Poisson"
    NEGATIVE_BINOMIAL = "negative binomial"
    NORMAL = "normal"


LAWS: Final = (Law.POISSON, Law.NEGATIVE_BINOMIAL, Law.NORMAL)
"""By the whole number that arrays name a law with."""

_NOTHING: Final = 1e-9
STEADY_LIMIT: Final = 0.9
NORMAL_MEAN: Final = 10.0
"""The normal distribution is taken for demand steadier than Poisson's (variance below 0.9 of the mean) from a mean
of ten on; below that, a Poisson distribution errs on the safe side."""


@dataclass(frozen=True, slots=True)
class Demand:
    """Demand over a time: law (place of ``LAWS``), mean and variance of each part, in stock units.

    The normal law gives whole numbers: P(D ≤ k) is the normal distribution function at k + ½.
    """

    law: Wholes
    mean: Reals
    variance: Reals

    def take(self, places: Flags | Wholes) -> "Demand":
        """Return some of the parts."""
        return Demand(self.law[places], self.mean[places], self.variance[places])

    def along(self, count: int) -> "Demand":
        """Return one part's demand at ``count`` places, to ask it about many quantities at once."""
        return Demand(
            np.repeat(self.law[:1], count), np.repeat(self.mean[:1], count), np.repeat(self.variance[:1], count)
        )


def demand(mean: Reals | float, variance: Reals | float) -> Demand:
    """Choose the law of each part by the dispersion: variance over mean.

    Above 1: negative binomial (its parameters by moments); at 1, or a little less: Poisson; clearly less: normal.
    Raises ValueError for a negative mean or variance.
    """
    means, variances = np.broadcast_arrays(reals(mean), reals(variance))
    if means.size and min(float(means.min()), float(variances.min())) < 0:
        raise ValueError("demand and its variance are not negative")
    means = np.where(means < _NOTHING, 0.0, means)
    steady = (variances < STEADY_LIMIT * means) & (means >= NORMAL_MEAN)
    law = np.where(variances > means * (1 + 1e-6), 1, np.where(steady, 2, 0)).astype(np.int64)
    law = np.where(means == 0, 0, law)
    return Demand(law, means.astype(np.float64), np.where(law == 0, means, variances))


def _nb(of: Demand) -> tuple[Reals, Reals]:
    """Return the negative binomial's r and p: mean r(1 − p)/p, variance mean/p. Harmless values elsewhere."""
    mine = of.law == 1
    mean = np.where(mine, of.mean, 1.0)
    variance = np.where(mine, of.variance, 2.0)
    return mean**2 / (variance - mean), mean / variance


def at_most(of: Demand, k: Reals | Wholes) -> Reals:
    """Return P(D ≤ k) for whole k, one for each part; 0 below zero (the normal law too)."""
    places = np.floor(np.asarray(k, dtype=np.float64))
    at = np.maximum(places, 0.0)
    found = np.ones(np.broadcast_shapes(at.shape, of.mean.shape))
    law, mean, variance, at = np.broadcast_arrays(of.law, of.mean, of.variance, at)
    poisson = (law == 0) & (mean > 0)
    found[poisson] = special.gammaincc(at[poisson] + 1, mean[poisson])
    wide = law == 1
    if wide.any():
        r, p = (np.broadcast_to(x, law.shape)[wide] for x in _nb(of))
        found[wide] = special.betainc(r, at[wide] + 1, p)
    normal = law == 2
    found[normal] = special.ndtr((at[normal] + 0.5 - mean[normal]) / np.sqrt(np.maximum(variance[normal], 1e-12)))
    return np.where(places < 0, 0.0, found)


def from_zero(of: Demand, steps: int) -> Reals:
    """Return P(D ≤ u) for u = 0 … steps, one row a part: for demand whose mean is some hundreds at most.

    The chance of each quantity follows from that of the one before; this costs a tenth of ``at_most``.
    """
    u = np.arange(1, steps + 1, dtype=np.float64)[None, :]
    r, p = (x[:, None] for x in _nb(of))
    wide = (of.law == 1)[:, None]
    mean = of.mean[:, None]
    growth = np.where(wide, (r + (u - 1)) / u * (1 - p), mean / u)
    first = np.where(wide, np.exp(r * np.log(p)), np.exp(-mean))
    chance = np.hstack([first, first * np.cumprod(growth, axis=1)])
    found = np.minimum(np.cumsum(chance, axis=1), 1.0)
    return _with_normal(of, found, np.broadcast_to(np.arange(steps + 1), found.shape))


def down_from(of: Demand, k: Wholes, steps: int) -> Reals:
    """Return P(D ≤ k − u) for u = 0 … steps, one row a part; the chance of each quantity from that of the next."""
    u = np.arange(steps, dtype=np.float64)[None, :]
    at = k.astype(np.float64)[:, None] - u
    r, p = (x[:, None] for x in _nb(of))
    wide = (of.law == 1)[:, None]
    log_mean = np.log(np.where(of.mean > 0, of.mean, 1.0))[:, None]
    top = np.maximum(at[:, :1], 0.0)
    many = special.gammaln(top + r) - special.gammaln(r) + r * np.log(p) + top * np.log1p(-p)
    chance = np.where(wide, many, top * log_mean - of.mean[:, None]) - special.gammaln(top + 1)
    below = np.maximum(at[:, :-1], 1.0)
    shrink = np.log(below) - np.where(wide, np.log(r + (below - 1)) + np.log1p(-p), log_mean)
    # In logarithms, as far from the mean the chances are too small to be divided; below zero there is none.
    shrink = np.where(at[:, :-1] > 0, shrink, -1e9)
    chances = np.exp(np.hstack([chance, chance + np.cumsum(shrink, axis=1)]))
    whole = at_most(of, k)[:, None]
    found = np.hstack([whole, np.maximum(whole - np.cumsum(chances, axis=1), 0.0)])
    places = k[:, None] - np.arange(steps + 1)[None, :]
    found = np.where((of.mean == 0)[:, None], 1.0, found)
    return np.where(places < 0, 0.0, _with_normal(of, found, places))


def _with_normal(of: Demand, found: Reals, places: Wholes) -> Reals:
    normal = of.law == 2
    if normal.any():
        sd = np.sqrt(np.maximum(of.variance[normal], 1e-12))[:, None]
        found[normal] = special.ndtr((places[normal] + 0.5 - of.mean[normal][:, None]) / sd)
    return found


def quantile(of: Demand, share: Reals | float) -> Wholes:
    """Return the least whole k of each part with P(D ≤ k) ≥ share; raises ValueError unless 0 < share < 1."""
    shares = np.broadcast_to(reals(share), of.mean.shape)
    if shares.size and not (float(shares.min()) > 0 and float(shares.max()) < 1):
        raise ValueError("a quantile's share lies between 0 and 1")
    low = np.full(of.mean.shape, -1.0)
    guess = of.mean + (special.ndtri(np.maximum(shares, 0.9)) + 2) * np.sqrt(of.variance) + 2
    high = np.ceil(guess)
    short = at_most(of, high) < shares
    while short.any():
        high = np.where(short, 2 * high, high)
        short = at_most(of, high) < shares
    while (high - low > 1).any():
        middle = np.floor((low + high) / 2)
        enough = at_most(of, middle) >= shares
        high = np.where(enough, middle, high)
        low = np.where(enough, low, np.maximum(middle, low))
    return high.astype(np.int64)


def expected_short(of: Demand, x: Reals | Wholes) -> Reals:
    """Return E(D − x)⁺ for whole x ≥ 0, in stock units: what is short when x are there."""
    at = np.asarray(x, dtype=np.float64)
    above, first, _second = _partial(of, at)
    return np.maximum(first - at * above, 0.0)


def summed_short(of: Demand, x: Reals | Wholes) -> Reals:
    """Return the sum of E(D − y)⁺ over all whole y > x, for whole x ≥ −1.

    It is ½E[(D − x)(D − x − 1); D > x]; the difference at two places sums the expected shortage over a range.
    """
    at = np.asarray(x, dtype=np.float64)
    above, first, second = _partial(of, at)
    return np.maximum(0.5 * (second - 2 * at * first + at * (at + 1) * above), 0.0)


def _partial(of: Demand, x: Reals) -> tuple[Reals, Reals, Reals]:
    """Return P(D > x), E[D; D > x] and E[D(D − 1); D > x].

    For Poisson with mean m, E[D; D > x] = m·P(D ≥ x) and E[D(D − 1); D > x] = m²·P(D ≥ x − 1); for the negative
    binomial the same with r + 1 and r + 2 (P. H. Zipkin, Foundations of Inventory Management, appendix C).
    """
    raised = [_raised(of, 0), _raised(of, 1), _raised(of, 2)]
    above, first, second = (1 - at_most(raised[n], x - n) for n in range(3))
    first = of.mean * first
    second = np.where(of.law == 1, of.mean**2 + of.variance - of.mean, of.mean**2) * second
    normal = of.law == 2
    if normal.any():
        sd = np.sqrt(np.maximum(of.variance, 1e-12))
        # Whole numbers by k + ½: the law beyond x begins at x + ½.
        z = (x + 0.5 - of.mean) / sd
        tail, density = special.ndtr(-z), np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi)
        mean_beyond = of.mean * tail + sd * density
        square_beyond = (of.mean**2 + of.variance) * tail + sd * (of.mean + x + 0.5) * density
        first = np.where(normal, mean_beyond, first)
        second = np.where(normal, square_beyond - mean_beyond, second)
    return above, first, second


def _raised(of: Demand, by: int) -> Demand:
    """Return the negative binomial with r + by and the same p; the other laws as they are."""
    if by == 0 or not (of.law == 1).any():
        return of
    r, p = _nb(of)
    wide = of.law == 1
    mean = np.where(wide, (r + by) * (1 - p) / p, of.mean)
    return Demand(of.law, mean, np.where(wide, mean / p, of.variance))


def over(days: Reals, rate: Reals, dispersion: Reals, error: Reals, sd_days: Reals | float = 0.0) -> Demand:
    """Return demand over a time of mean ``days`` and standard deviation ``sd_days``.

    ``rate`` a day; ``dispersion`` = variance over mean of the demand itself; ``error`` = squared relative standard
    error of the rate. Mean d·t; variance dispersion·d·t + d²·σt² + error·(d·t)². The first two terms are the
    handbooks' (E. A. Silver, D. F. Pyke & D. J. Thomas, Inventory and Production Management in Supply Chains, 6.7);
    the third carries that the rate is only estimated, without which the promised service is missed (D. Prak,
    R. Teunter & A. Syntetos (2017), European Journal of Operational Research 256, 454-461).
    """
    mean = rate * days
    variance = dispersion * mean + rate**2 * np.asarray(sd_days, dtype=np.float64) ** 2 + error * mean**2
    return demand(mean, variance)
