"""The rate of demand: Croston's method, its corrections by Syntetos & Boylan, and Teunter, Syntetos & Babai's.

All work on histories of parts × periods, oldest first, in stock units, and give a rate per period.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from scipy import special

from app.rules.stores.arrays import Flags, Reals, Wholes, ratio, reals
from app.rules.stores.demand import Shapes, alive

SMOOTHING: Final = 0.1
"""Weight of the newest demand, usual for intermittent demand (between 0.05 and 0.2)."""

QUIET_LIMIT: Final = 0.02
"""A silence less likely than this is taken for the end of a part's use."""


class Method(StrEnum):
    """How a part's rate was found."""

    NONE = "no demand"
    CROSTON = "Croston"
    SBA = "Croston, corrected by Syntetos and Boylan"
    TSB = "Teunter, Syntetos and Babai"
    PRIOR = "usage of the procedures, corrected by what was used"


@dataclass(frozen=True, slots=True)
class Smoothed:
    """Smoothed figures of parts after their last period; one place a part.

    ``size`` of a demand, ``interval`` between demands (periods), ``probability`` of demand in a period; ``weight``
    is the sum of squared weights of the smoothing (variance of a smoothed mean over that of one demand);
    ``quiet`` periods without demand at the end.
    """

    size: Reals
    interval: Reals
    probability: Reals
    weight: Reals
    quiet: Wholes


def smooth(
    history: Reals,
    alpha: float = SMOOTHING,
    beta: float = SMOOTHING,
    *,
    first: Wholes | None = None,
    warm: bool = False,
) -> Smoothed:
    """Smooth sizes and intervals (weight ``alpha``) and the probability of demand (weight ``beta``).

    Cold start, as published: from the first size, the first interval (the periods up to the first demand) and the
    first period's demand or none. ``warm`` lets the weight be 1/n until n demands (periods) make that smaller than
    alpha (beta): the plain mean of what there is, so that the first demand does not rule a short history.
    Sources: J. D. Croston (1972), Operational Research Quarterly 23, 289-303; R. H. Teunter, A. A. Syntetos &
    M. Z. Babai (2011), European Journal of Operational Research 214, 606-615.
    """
    live = alive(history, first)
    parts = history.shape[0]
    size, interval, probability, weight = (np.zeros(parts) for _ in range(4))
    gap, count, seen = (np.zeros(parts) for _ in range(3))
    for column in range(history.shape[1]):
        now, on = history[:, column], live[:, column]
        hit = on & (now > 0)
        gap = gap + on
        count = count + hit
        seen = seen + on
        a = _weight(count, alpha, warm)
        b = _weight(seen, beta, warm)
        size = np.where(hit, size + a * (now - size), size)
        interval = np.where(hit, interval + a * (gap - interval), interval)
        weight = np.where(hit, (1 - a) ** 2 * weight + a**2, weight)
        probability = np.where(on, probability + b * (hit - probability), probability)
        gap = np.where(hit, 0.0, gap)
    return Smoothed(size, interval, probability, weight, gap.astype(np.int64))


def _weight(count: Reals, weight: float, warm: bool) -> Reals:
    start = 1.0 / np.maximum(count, 1.0)
    return np.maximum(start, weight) if warm else np.where(count <= 1, 1.0, weight)


def croston(history: Sequence[float], alpha: float = SMOOTHING) -> float:
    """Return Croston's rate of one history: smoothed size over smoothed interval, per period; 0 without demand."""
    found = smooth(reals(history)[None, :], alpha)
    return float(ratio(found.size, found.interval)[0])


def sba(history: Sequence[float], alpha: float = SMOOTHING) -> float:
    """Return Croston's rate times (1 − alpha/2).

    Source: A. A. Syntetos & J. E. Boylan (2005), The accuracy of intermittent demand estimates, International
    Journal of Forecasting 21, 303-314. The correction supposes long intervals.
    """
    return croston(history, alpha) * (1 - alpha / 2)


def tsb(history: Sequence[float], alpha: float = SMOOTHING, beta: float = SMOOTHING) -> float:
    """Return the smoothed probability of demand times the smoothed size: it falls while nothing is wanted."""
    found = smooth(reals(history)[None, :], alpha, beta)
    return float((found.probability * found.size)[0])


@dataclass(frozen=True, slots=True)
class Rates:
    """Rates of parts per period, how they were found (places of ``METHODS``), and how sure they are.

    ``error`` is the squared relative standard error of the rate.
    """

    rate: Reals
    method: Wholes
    error: Reals


METHODS: Final = (Method.NONE, Method.CROSTON, Method.SBA, Method.TSB, Method.PRIOR)


def rates(history: Reals, shape: Shapes, first: Wholes | None = None, alpha: float = SMOOTHING) -> Rates:
    """Choose a method for each part and return its rate.

    TSB where the part fell silent for longer than its demand makes likely, else Croston where it is wanted in
    nearly every period (ADI below 1.32), else SBA. Smoothing starts warm. The correction of SBA, 1 − alpha/2
    = 1/(1 + w) with w = alpha/(2 − alpha) the sum of squared weights, is taken as 1/(1 + w·(1 − 1/p)): with the
    weights there really are and the variance of intervals of mean p, of which the published one is the limit for
    long histories and long intervals (A. A. Syntetos, thesis, 2001; L. Shenstone & R. J. Hyndman (2005), Journal
    of Forecasting 24, 389-402, discuss the models).
    """
    found = smooth(history, alpha, alpha, first=first, warm=True)
    plain = ratio(found.size, found.interval)
    chance = 1 - ratio(np.ones_like(plain), found.interval, 1.0)
    sparse = ratio(shape.periods.astype(np.float64), shape.demands.astype(np.float64), np.inf) >= 1.32
    silent = fell_silent(shape, found)
    corrected = plain / (1 + found.weight * chance)
    rate = np.where(silent, found.probability * found.size, np.where(sparse, corrected, plain))
    method = np.where(silent, 3, np.where(sparse, 2, 1))
    error = found.weight * (shape.cv2_sample + chance)
    none = shape.demands == 0
    return Rates(np.where(none, 0.0, rate), np.where(none, 0, method), np.where(none, 0.0, error))


def fell_silent(shape: Shapes, found: Smoothed) -> Flags:
    """Return which parts have been quiet for longer than their demand makes likely.

    The share of periods with demand, up to the last one, has a beta distribution (Jeffreys' prior); the chance of k
    quiet periods after it is B(a, b + k)/B(a, b). Below ``QUIET_LIMIT`` the part is taken to go out of use.
    """
    hits = shape.demands + 0.5
    misses = np.maximum(shape.periods - found.quiet - shape.demands, 0) + 0.5
    chance = np.exp(special.betaln(hits, misses + found.quiet) - special.betaln(hits, misses))
    silent: Flags = (shape.demands > 0) & (chance < QUIET_LIMIT)
    return silent


@dataclass(frozen=True, slots=True)
class Prior:
    """What is supposed of a new part: a rate a day, and how many days of history it weighs as much as."""

    rate_per_day: float
    weight_days: float
    words: str


PRIOR_DAYS: Final = 180.0
"""Half a year: what a part really does in its first half year counts as much as what was supposed."""


def prior_from_procedures(uses_per_job: float, jobs_per_device_year: float, devices: int) -> Prior:
    """Suppose a new part's rate from the procedures' usage and the devices in the field.

    ``uses_per_job`` is the quantity a job takes on average, ``jobs_per_device_year`` how often a device comes in
    for such a job. Weight: ``PRIOR_DAYS``, an assumption of ours. Raises ValueError for figures below zero.
    """
    if min(uses_per_job, jobs_per_device_year, devices) < 0:
        raise ValueError("usage and devices are not negative")
    rate = uses_per_job * jobs_per_device_year * devices / 365.25
    words = (
        f"{uses_per_job:g} a job × {jobs_per_device_year:g} jobs a year and device × {devices} devices "
        f"= {rate * 365.25:.1f} a year, weighed like {PRIOR_DAYS:.0f} days of use"
    )
    return Prior(rate, PRIOR_DAYS, words)


def with_prior(prior_rate: Reals, prior_days: Reals, used: Reals, days: Reals) -> tuple[Reals, Reals]:
    """Return rate a day and squared relative error from a gamma prior and ``used`` in ``days``.

    Demands come at an unknown Poisson rate with a gamma prior of shape rate·days and scale 1/days; the posterior is
    gamma again, and demand ahead is negative binomial. Source: A. Gelman et al., Bayesian Data Analysis, 2.6.
    """
    shape = prior_rate * prior_days + used
    return ratio(shape, prior_days + days), ratio(np.ones_like(shape), shape)
