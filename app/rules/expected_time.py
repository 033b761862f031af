"""How long a plan will take at the bench: a median and an 80 % point, with what they rest on."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import exp, log, sqrt
from typing import Final

from app.rules.planning import Plan
from app.rules.sheet import Sheet
from app.rules.statistics import Rate, wilson_interval
from app.rules.step_history import StepExpectation, StepHistory
from app.rules.step_times import REST, plan_keys, standard_times

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


def from_standard(standard_s: int) -> ExpectedTime:
    """Return the expected bench time, in seconds, of a plan of which nothing but its standard time is known.

    ``standard_s`` is hands-on time, teardown and refit; the 80 % point is ``STANDARD_P80`` times it. Raises
    ValueError for a negative time.
    """
    if standard_s < 0:
        raise ValueError("a time is not negative")
    return ExpectedTime(
        median_s=standard_s,
        p80_s=_whole(standard_s * STANDARD_P80),
        jobs=0,
        basis="The procedure's standard time. The 80 % point assumes a quarter more; it is not measured.",
    )


Z_80: Final = 0.8416212335729143
"""The 80 % point of the normal distribution."""


def sum_of_steps(steps: Iterable[StepExpectation]) -> tuple[float, float]:
    """Return median and 80 % point, in seconds, of a job that does all these steps; (0, 0) for none.

    The sum of log-normal times is taken for log-normal with the sum's own mean and variance. Source: L. F. Fenton,
    The sum of log-normal probability distributions in scatter transmission systems, IRE Transactions on
    Communications Systems 8 (1960), pages 57-67 (the Fenton-Wilkinson method). The steps of one job share its day
    and the workshop's pace, so their covariances are counted too: they do not average out.
    """
    listed = tuple(steps)
    if not listed:
        return 0.0, 0.0
    mean = sum(step.mean_s for step in listed)
    # Steps timed equally often lean on the pace by the same share: a sum over the few shares, not over all pairs.
    by_share: dict[float, float] = {}
    own = 0.0
    for step in listed:
        by_share[step.share] = by_share.get(step.share, 0.0) + step.mean_s
        common = step.day + step.share**2 * step.pace
        own += step.mean_s**2 * (exp(step.variance) - exp(common))
    day, pace = listed[0].day, listed[0].pace
    together = sum(
        one * other * (exp(day + a * b * pace) - 1) for a, one in by_share.items() for b, other in by_share.items()
    )
    width = log(1 + (own + together) / mean**2)
    middle = mean * exp(-width / 2)
    return middle, middle * exp(Z_80 * sqrt(width))


def plan_expected_time(sheet: Sheet, plan: Plan, history: StepHistory, rest: int = 0) -> ExpectedTime:
    """Return the expected bench time of a plan from its steps' own history, in seconds.

    ``rest`` is what a job takes beside its steps (``step_times.rest_s``), learnt from the history like a step; with 0
    the steps alone are counted.

    ``history`` is fitted to the same procedure (``fit_steps``). Steps drawn toward the standard time, summed by
    ``sum_of_steps``. Without history the median lies near the standard time and the 80 % point is an assumption;
    ``basis`` says in words what the figures rest on.
    """
    standard = standard_times(sheet)
    keys = [key for key in plan_keys(plan) if standard[key] > 0]
    steps = [history.expect(key, standard[key]) for key in keys]
    beside = [history.expect(REST, rest)] if rest else []
    middle, high = sum_of_steps([*steps, *beside])
    return ExpectedTime(round(middle), round(high), history.jobs, _step_basis(steps, history))


def _step_basis(steps: Sequence[StepExpectation], history: StepHistory) -> str:
    if not history.jobs:
        return (
            "The procedure's standard times, as no step of it was timed yet. "
            "The 80 % point rests on assumptions; it is not measured."
        )
    timed = sum(1 for step in steps if step.count)
    jobs = "1 finished job" if history.jobs == 1 else f"{history.jobs} finished jobs"
    words = f"{timed} of {len(steps)} steps were timed in {jobs}; few times are drawn toward the standard time."
    share = sum(step.weight * step.mean_s for step in steps) / max(sum(step.mean_s for step in steps), 1)
    if share < 0.5:
        words += " The standard times still weigh more than the history."
    return words


@dataclass(frozen=True, slots=True)
class Calibration:
    """How often jobs stayed within their 80 % point. ``rate`` has Wilson's 95 % interval, None without jobs.

    ``kept`` is whether 80 % lies in that interval; None where there are too few jobs for it to mean much.
    """

    rate: Rate | None
    kept: bool | None
    words: str


ENOUGH_TO_JUDGE: Final = 10
"""From this many jobs on, a calibration says whether the 80 % point holds."""


def calibration(jobs: Iterable[tuple[int, int]]) -> Calibration:
    """Judge forecasts by what came of them: pairs of (80 % point given before, actual bench time), in seconds."""
    pairs = list(jobs)
    if not pairs:
        return Calibration(None, None, "No finished job had an 80 % point yet.")
    hits = sum(1 for p80, actual in pairs if actual <= p80)
    rate = wilson_interval(hits, len(pairs))
    words = (
        f"{hits} of {len(pairs)} finished jobs took no longer than their 80 % point: {round(100 * rate.share)} %, "
        f"by chance {round(100 * rate.low)} to {round(100 * rate.high)} %."
    )
    if len(pairs) < ENOUGH_TO_JUDGE:
        return Calibration(rate, None, f"{words} Too few to judge by.")
    if rate.high < 0.8:
        return Calibration(rate, False, f"{words} The 80 % point is too short: jobs overrun it too often.")
    if rate.low > 0.8:
        return Calibration(rate, False, f"{words} The 80 % point is longer than it need be.")
    return Calibration(rate, True, f"{words} It holds.")


def _whole(seconds: Fraction) -> int:
    """Whole seconds, half up."""
    return int(seconds + Fraction(1, 2))
