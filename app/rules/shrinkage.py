"""Shrinkage: what few figures say is drawn toward what is known beforehand, by as much as they are uncertain.

Sources: B. Efron & C. Morris, Stein's paradox in statistics, Scientific American 236(5), 1977, pages 119-127, and
Data analysis using Stein's estimator, J. Am. Stat. Assoc. 70 (1975), pages 311-319; the normal-normal posterior is
that of any textbook (A. Gelman et al., Bayesian Data Analysis, section 2.5); the variance between groups is the
moment estimator of R. DerSimonian & N. Laird, Controlled Clinical Trials 7 (1986), pages 177-188.
"""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Shrunk:
    """An estimate between a prior and a sample: ``weight`` is the sample's share, ``variance`` that of ``mean``."""

    mean: float
    variance: float
    weight: float


def shrink(prior: float, between: float, sample: float, within: float) -> Shrunk:
    """Return the posterior of a mean: prior N(``prior``, ``between``), and a sample mean of variance ``within``.

    Both are variances in the square of the mean's unit. Raises ValueError for a negative one or when both are 0.
    """
    if between < 0 or within < 0 or between + within == 0:
        raise ValueError("shrinkage needs variances, and not both of them 0")
    weight = between / (between + within)
    return Shrunk(prior + weight * (sample - prior), weight * within, weight)


def stein_factor(values: Sequence[float], variance: float) -> float:
    """Return how much of each value's distance from the grand mean is kept: 1 − (k − 3)·variance / Σ(y − ȳ)².

    That of Efron & Morris for k values of one known variance, not below 0 (the positive-part rule). Raises
    ValueError for fewer than 4 values or a variance that is not positive.
    """
    if len(values) < 4 or variance <= 0:
        raise ValueError("the factor needs at least 4 values and a variance")
    mean = sum(values) / len(values)
    spread = sum((value - mean) ** 2 for value in values)
    return 0.0 if spread == 0 else max(0.0, 1 - (len(values) - 3) * variance / spread)


def stein_estimates(values: Sequence[float], variance: float) -> tuple[float, ...]:
    """Return each value drawn toward the grand mean by ``stein_factor``. Raises like it."""
    factor = stein_factor(values, variance)
    mean = sum(values) / len(values)
    return tuple(mean + factor * (value - mean) for value in values)


def between_variance(means: Sequence[float], variances: Sequence[float]) -> float:
    """Return the variance between groups beyond what their own ``variances`` explain, not below 0.

    The moment estimator of DerSimonian & Laird for groups of unequal size; 0 for fewer than 2 groups. Raises
    ValueError for a variance that is not positive.
    """
    if any(variance <= 0 for variance in variances):
        raise ValueError("each mean needs a variance")
    if len(means) < 2:
        return 0.0
    weights = [1 / variance for variance in variances]
    total = sum(weights)
    centre = sum(w * m for w, m in zip(weights, means, strict=True)) / total
    spread = sum(w * (m - centre) ** 2 for w, m in zip(weights, means, strict=True))
    scale = total - sum(w * w for w in weights) / total
    return max(0.0, (spread - (len(means) - 1)) / scale)
