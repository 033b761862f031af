"""Discards against the plan: how many single-use parts a step really takes, and what to plan for."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil
from typing import Final

from app.rules.statistics import wilson_interval

ENOUGH_USED: Final = 20
"""Fewer pieces than this give an interval and no change: an assumption of ours."""

MANY_SPOILED: Final = 3
"""Fewer spoiled pieces than this at a step may be chance alone: an assumption of ours."""


@dataclass(frozen=True, slots=True)
class StepUse:
    """What the finished jobs used of one part at one step. ``sheet`` is what their sheets planned without spares,
    ``used`` all that was taken and not returned, good or spoiled; ``factor`` the scrap factor planned now.
    """

    step: str
    part: str
    jobs: int
    sheet: int
    used: int
    factor: float = 0.0


@dataclass(frozen=True, slots=True)
class ScrapFactor:
    """Share of pieces spoiled with its 95 % interval, and the factor: spare pieces per piece on the sheet.

    ``suggested`` is the factor to plan with; ``change`` whether it differs from the present one.
    """

    spoiled: int
    share: float
    low: float
    high: float
    factor: float
    factor_low: float
    factor_high: float
    suggested: float
    change: bool
    because: tuple[str, ...]

    def to_kit(self, sheet: int) -> int:
        """Return how many to put in a kit for ``sheet`` pieces, rounded up."""
        return ceil(sheet * (1 + self.suggested) - 1e-9)


def scrap_factor(use: StepUse) -> ScrapFactor:
    """Return what a step spoils: of ``used`` pieces, ``used`` − ``sheet`` did not end up in a device.

    Every piece used is good or spoiled; the share spoiled has Wilson's interval, which stays wide for few pieces. A
    share w needs w/(1 − w) spares a good piece. The present factor stays while it lies in the interval, or while
    fewer than ``ENOUGH_USED`` pieces were used. Fewer used than on the sheet (a step left out) counts as none
    spoiled. Raises ValueError for figures below zero.
    """
    if min(use.jobs, use.sheet, use.used) < 0 or use.factor < 0:
        raise ValueError("pieces and factors are not negative")
    if use.sheet == 0 or use.used == 0:
        words = (f"No finished job has used {use.part} at this step yet; the sheet's factor stays.",)
        return ScrapFactor(0, 0.0, 0.0, 1.0, 0.0, 0.0, float("inf"), use.factor, False, words)
    used = max(use.used, use.sheet)
    rate = wilson_interval(used - use.sheet, used)
    factor, low, high = (w / (1 - w) if w < 1 else float("inf") for w in (rate.share, rate.low, rate.high))
    jobs = "1 job" if use.jobs == 1 else f"{use.jobs} jobs"
    because = [
        f"{use.sheet} on the sheets of {jobs}, {use.used} used: {rate.hits} of {rate.trials} spoilt, "
        f"{100 * rate.share:.1f} % (between {100 * rate.low:.1f} % and {100 * rate.high:.1f} % with 95 % certainty)."
    ]
    if used < ENOUGH_USED:
        because.append(
            f"That is too few to tell; the factor of {100 * use.factor:.0f} % stays until {ENOUGH_USED} were used."
        )
        suggested = use.factor
    elif low <= use.factor <= high:
        because.append(f"The factor planned now, {100 * use.factor:.0f} %, agrees with that.")
        suggested = use.factor
    else:
        suggested = round(factor, 2)
        more = "more" if factor > use.factor else "fewer"
        because.append(
            f"Plan {100 * factor:.0f} % spare instead of {100 * use.factor:.0f} %: "
            f"this step spoils {more} than planned."
        )
    return ScrapFactor(
        rate.hits, rate.share, rate.low, rate.high, factor, low, high, suggested, suggested != use.factor,
        tuple(because),
    )  # fmt: skip


def steps_to_look_at(spoiled: Mapping[str, tuple[int, int]]) -> Mapping[str, str]:
    """Return the steps of a procedure on which its waste is concentrated, with the words that say so.

    ``spoiled`` is (pieces spoiled, pieces used) by step. A step stands out when ``MANY_SPOILED`` pieces or more were
    spoiled there, when that is half or more of all that the procedure spoils, and when even the low end of its 95 %
    interval (Wilson) lies above the share of all its other steps together. Spares help little there: the step, its
    words or its tool want a look.
    """
    every, used = (sum(pair[n] for pair in spoiled.values()) for n in (0, 1))
    found: dict[str, str] = {}
    for step, (mine, pieces) in spoiled.items():
        if mine < MANY_SPOILED or 2 * mine < every or pieces == used:
            continue
        rate = wilson_interval(mine, pieces)
        others = (every - mine) / (used - pieces)
        if rate.low > others:
            found[step] = (
                f"{mine} of the {every} pieces that this procedure spoils are spoilt here, "
                f"{100 * rate.share:.1f} % of what the step uses; all other steps together spoil {100 * others:.1f} %."
            )
    return found
