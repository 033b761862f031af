"""How long a plan will take at the bench: a median and an 80 % point, with what they rest on."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

ENOUGH_JOBS: Final = 5
"""From this many finished jobs of the same targets on, their times are used instead of the standard."""

STANDARD_P80: Final = Fraction(5, 4)
"""The 80 % point without history, as a multiple of the standard time: a planning assumption of ours,
not a measurement, and said to be one wherever it is shown."""


@dataclass(frozen=True, slots=True)
class ExpectedTime:
    """Half of the jobs should take no longer than ``median_s``, four in five no longer than ``p80_s``.

    ``jobs`` is how many finished jobs the figures rest on, 0 when they rest on the standard time;
    ``basis`` says so in words.
    """

    median_s: int
    p80_s: int
    jobs: int
    basis: str

    @property
    def measured(self) -> bool:
        """Whether the figures come from finished jobs."""
        return self.jobs > 0


def expected_time(standard_s: int, history_s: Sequence[int] = ()) -> ExpectedTime:
    """Return the expected bench time of a plan, in seconds.

    ``standard_s`` is the plan's standard hands-on time, teardown and refit; ``history_s`` the bench
    times of finished jobs with the same procedure and targets. From ``ENOUGH_JOBS`` jobs on, the
    figures are sample quantiles of the history; otherwise the standard time and ``STANDARD_P80``
    times it. Raises ValueError for a negative time.
    """
    if standard_s < 0 or min(history_s, default=0) < 0:
        raise ValueError("a time is not negative")
    count = len(history_s)
    if count >= ENOUGH_JOBS:
        return ExpectedTime(
            median_s=_whole(quantile(history_s, Fraction(1, 2))),
            p80_s=_whole(quantile(history_s, Fraction(4, 5))),
            jobs=count,
            basis=f"Bench times of {count} finished jobs with the same targets.",
        )
    none = "no finished job" if count == 0 else "1 finished job" if count == 1 else f"{count} finished jobs"
    return ExpectedTime(
        median_s=standard_s,
        p80_s=_whole(standard_s * STANDARD_P80),
        jobs=0,
        basis=(
            f"The procedure's standard time, as there is {none} with the same targets yet "
            f"and {ENOUGH_JOBS} are needed. The 80 % point assumes a quarter more; it is not measured."
        ),
    )


def quantile(sample: Sequence[int], share: Fraction) -> Fraction:
    """Return a sample quantile, linear between order statistics: exact, in the sample's unit.

    Definition 7 of Hyndman & Fan, Sample quantiles in statistical packages, The American
    Statistician 50 (1996): position (n − 1)·share in the ordered sample, counted from 0. Raises
    ValueError for an empty sample or a share outside 0 to 1.
    """
    if not sample or not 0 <= share <= 1:
        raise ValueError("a quantile needs a sample, and a share from 0 to 1")
    ordered = sorted(sample)
    place = (len(ordered) - 1) * share
    below = place.numerator // place.denominator
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (place - below) * (ordered[above] - ordered[below])


def _whole(seconds: Fraction) -> int:
    """Whole seconds, half up."""
    return int(seconds + Fraction(1, 2))
