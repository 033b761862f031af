"""What a workshop's finished steps say of its procedure's standard times, and of how far to trust them.

The model, on the logarithm of time, so that everything is a factor on the standard time: a step of a job takes
``standard × pace × step × day × chance``. *pace* is the workshop's against the procedure; *step* is what is peculiar
to the step; *day* is common to all steps of one job (the person, the device); *chance* is what is left. Each is drawn
toward 1 by as much as the history leaves it uncertain (empirical Bayes, normal-normal, see ``shrinkage``), so that
without history the standard time stands, with a width that is our own assumption and is said to be one.

A standard time is a mean (that is how times are studied), and most times of a skewed kind lie below their mean. So a
single step is expected a little below its standard time, and a plan of many steps at the sum of them.

Variances are estimated from the history and mixed with the assumptions below, each of which counts like a stated
number of observations: a handful of jobs cannot make the forecast narrow by accident.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from math import exp, log
from types import MappingProxyType
from typing import Final

from app.rules.shrinkage import between_variance, shrink
from app.rules.step_times import StepKey

# Assumptions of ours, not measurements: standard deviations of the logarithm. 0.25 is about a quarter either way.
PACE_SD: Final = 0.25
STEP_SD: Final = 0.30
DAY_SD: Final = 0.20
CHANCE_SD: Final = 0.35
CENTRE: Final = -(STEP_SD**2 + CHANCE_SD**2) / 2
"""Logarithm of a step's usual time over its standard time, without history."""
# How many observations each assumption counts for beside the history: steps, jobs and timed steps.
STEPS_ASSUMED: Final = 5
JOBS_ASSUMED: Final = 5
TIMES_ASSUMED: Final = 20
# A single time counts as if it were no further from the standard than this factor: somebody forgot to pause.
FURTHEST: Final = log(8)


@dataclass(frozen=True, slots=True)
class Observation:
    """A finished step of a job: ``job`` is any name of the job, the same for all of its steps."""

    job: str
    key: StepKey
    seconds: int


@dataclass(frozen=True, slots=True)
class StepExpectation:
    """What one step should take next time, as a log-normal.

    ``location`` is the mean of the logarithm of seconds. The variance of a next time is ``own`` + ``day`` +
    ``share``² · ``pace``: own of this step alone, the others common to the steps of a job. ``count`` is how many
    times it was timed, ``weight`` how far they outweigh the standard time, 0 to 1.
    """

    key: StepKey
    standard_s: int
    location: float
    own: float
    day: float
    pace: float
    share: float
    count: int
    weight: float

    @property
    def variance(self) -> float:
        """Variance of the logarithm of the next time."""
        return self.own + self.day + self.share**2 * self.pace

    @property
    def median_s(self) -> float:
        """Half of the times should be shorter, in seconds."""
        return exp(self.location)

    @property
    def mean_s(self) -> float:
        """The mean of the next time, in seconds."""
        return exp(self.location + self.variance / 2)


@dataclass(frozen=True, slots=True)
class StepHistory:
    """The fitted model. ``pace`` is what a plan of many steps takes over its standard time, 1 without history.

    ``centre`` is the mean of the logarithm of actual over standard of a step, ``pace_variance`` its variance.
    ``step_sd``, ``day_sd`` and ``chance_sd`` are standard deviations of the logarithm; ``jobs`` and ``times`` say
    what the figures rest on; ``by_step`` holds (mean of the logarithm of actual over standard, times) by step.
    """

    centre: float
    pace_variance: float
    step_sd: float
    day_sd: float
    chance_sd: float
    jobs: int
    times: int
    by_step: Mapping[StepKey, tuple[float, int]]

    @property
    def pace(self) -> float:
        """The workshop's factor on the standard time of a plan."""
        return exp(self.centre + (self.step_sd**2 + self.chance_sd**2) / 2)

    def expect(self, key: StepKey, standard_s: int) -> StepExpectation:
        """Return what a step should take next time; a step that was never timed has the workshop's pace.

        ``standard_s`` must be positive: a step that takes no time has no logarithm. Raises ValueError otherwise.
        """
        if standard_s <= 0:
            raise ValueError("a step with an expected time takes at least a second")
        mean, count = self.by_step.get(key, (0.0, 0))
        chance, day, step = self.chance_sd**2, self.day_sd**2, self.step_sd**2
        own, weight, location = step, 0.0, self.centre
        if count:
            found = shrink(self.centre, step, mean, (chance + day) / count)
            own, weight, location = found.variance, found.weight, found.mean
        return StepExpectation(
            key=key,
            standard_s=standard_s,
            location=log(standard_s) + location,
            own=own + chance,
            day=day,
            pace=self.pace_variance,
            share=1 - weight,
            count=count,
            weight=weight,
        )


def fit_steps(standard: Mapping[StepKey, int], observations: Iterable[Observation]) -> StepHistory:
    """Fit the model to finished steps of one procedure.

    ``standard`` gives standard seconds by step; observations of steps it does not name, or of a standard time of 0,
    are left out (an older revision's). The order of the observations does not matter. Raises ValueError for a time
    below one second.
    """
    ratios: dict[StepKey, dict[str, list[float]]] = {}
    for one in observations:
        if one.seconds < 1:
            raise ValueError("a finished step took at least a second")
        if standard.get(one.key, 0) > 0:
            ratio = log(one.seconds / standard[one.key])
            ratios.setdefault(one.key, {}).setdefault(one.job, []).append(max(-FURTHEST, min(FURTHEST, ratio)))
    # A step done in several passes of one job is one observation of it: the same hands, the same device.
    by_job = {key: {job: sum(found) / len(found) for job, found in jobs.items()} for key, jobs in ratios.items()}
    by_step = {key: (sum(jobs.values()) / len(jobs), len(jobs)) for key, jobs in by_job.items()}
    day, chance = _spread_within(by_job, by_step)
    means = [mean for mean, _count in by_step.values()]
    noise = [(day + chance) / count for _mean, count in by_step.values()]
    more = max(len(by_step) - 1, 0)
    step = (STEPS_ASSUMED * STEP_SD**2 + more * between_variance(means, noise)) / (STEPS_ASSUMED + more)
    jobs = len({job for found in by_job.values() for job in found})
    middle, pace_variance = CENTRE, PACE_SD**2
    if means:
        weights = [1 / (step + variance) for variance in noise]
        found_mean = sum(w * m for w, m in zip(weights, means, strict=True)) / sum(weights)
        # The days of few jobs do not average out over steps, so they stay in the pace's variance.
        found = shrink(CENTRE, PACE_SD**2, found_mean, 1 / sum(weights) + day / jobs)
        middle, pace_variance = found.mean, found.variance
    return StepHistory(
        centre=middle,
        pace_variance=pace_variance,
        step_sd=step**0.5,
        day_sd=day**0.5,
        chance_sd=chance**0.5,
        jobs=jobs,
        times=sum(len(found) for found in by_job.values()),
        by_step=MappingProxyType(by_step),
    )


def _spread_within(
    by_job: Mapping[StepKey, Mapping[str, float]], by_step: Mapping[StepKey, tuple[float, int]]
) -> tuple[float, float]:
    """Return the variances (of the day, of chance), each mixed with its assumption.

    Moment estimators of a one-way analysis of variance by job, on what is left when each step's mean is taken off.
    A residual is stretched by n/(n − 1) for the mean that was fitted to it; steps timed once have none.
    """
    residuals: dict[str, list[float]] = {}
    for key, jobs in by_job.items():
        mean, count = by_step[key]
        if count > 1:
            for job, ratio in jobs.items():
                residuals.setdefault(job, []).append((ratio - mean) * (count / (count - 1)) ** 0.5)
    groups = list(residuals.values())
    times = sum(len(group) for group in groups)
    chance, free = _pooled(groups)
    mixed = (TIMES_ASSUMED * CHANCE_SD**2 + free * chance) / (TIMES_ASSUMED + free)
    if len(groups) < 2 or not free:
        return DAY_SD**2, mixed
    squares = sum((sum(group) / len(group)) ** 2 * len(group) for group in groups)
    typical = (times - sum(len(group) ** 2 for group in groups) / times) / (len(groups) - 1)
    day = max(0.0, (squares / (len(groups) - 1) - chance) / typical)
    more = len(groups) - 1
    return (JOBS_ASSUMED * DAY_SD**2 + more * day) / (JOBS_ASSUMED + more), mixed


def _pooled(groups: Collection[list[float]]) -> tuple[float, int]:
    """Return the pooled variance inside groups and its degrees of freedom."""
    free = sum(len(group) - 1 for group in groups)
    squares = sum(sum((r - sum(group) / len(group)) ** 2 for r in group) for group in groups)
    return (squares / free if free else 0.0), free
