"""From a fault to the units that likely explain it: the supervisor's table, sharpened by what was really exchanged.

For each unit the question is: of the jobs with this fault on this model, in what share was this unit exchanged? The
table is the prior, a Beta distribution of stated weight; each finished job counts as one observation more. Units are
judged one by one, as a job may exchange several. Source: the Beta-Binomial posterior of any textbook (A. Gelman et
al., Bayesian Data Analysis, section 2.4). The interval holds the middle 95 % of the posterior: wide as long as few
jobs are known, and never beyond 0 and 1.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from scipy import special

from app.rules.statistics import Rate, wilson_interval

TABLE_WEIGHT: Final = 4.0
"""The table counts like this many finished jobs: an assumption of ours; a workshop with history outweighs it soon."""

TABLE_SHARE: Final = 0.8
"""How much of the prior the table's units have together; the rest is spread over the other units."""


@dataclass(frozen=True, slots=True)
class LikelyTarget:
    """One unit for a fault. ``share`` is the posterior mean, ``low`` and ``high`` its middle 95 %, all 0 to 1.

    ``rate`` is the plain count, exchanged in so many of so many jobs, with Wilson's interval; None without jobs.
    ``in_table`` is whether the supervisor's table names it; ``words`` say what it rests on.
    """

    unit: str
    share: float
    low: float
    high: float
    in_table: bool
    rate: Rate | None
    words: str


def likely_targets(
    units: Sequence[str],
    table: Collection[str],
    exchanged: Mapping[str, int],
    jobs: int,
    table_weight: float = TABLE_WEIGHT,
) -> tuple[LikelyTarget, ...]:
    """Rank all units of a model for one fault, the likeliest first; equal ones in the order of ``units``.

    ``table`` are the units that the supervisor's table names for the fault, ``exchanged`` in how many of the ``jobs``
    finished ones with that fault each unit was exchanged. Units that are not of the model are left out (another
    revision's). Raises ValueError for a count above ``jobs``, or a weight that is not positive.
    """
    if table_weight <= 0:
        raise ValueError("the table needs a weight above 0")
    if any(not 0 <= count <= jobs for count in exchanged.values()):
        raise ValueError("a unit is exchanged in no more jobs than there are")
    named = [unit for unit in units if unit in table]
    found = []
    for unit in dict.fromkeys(units):
        prior = _prior(unit in table, len(named), len(units))
        hits = exchanged.get(unit, 0)
        a = table_weight * prior + hits
        b = table_weight * (1 - prior) + jobs - hits
        low, high = (float(special.betaincinv(a, b, point)) for point in (0.025, 0.975))
        rate = wilson_interval(hits, jobs) if jobs else None
        words = _words(hits, jobs, in_table=unit in table)
        found.append(LikelyTarget(unit, a / (a + b), low, high, unit in table, rate, words))
    found.sort(key=lambda one: -one.share)
    return tuple(found)


def _prior(in_table: bool, named: int, units: int) -> float:
    """Return a unit's prior share; a table that names nothing, or everything, leaves all units alike."""
    others = units - named
    if not named or not others:
        return min(0.5, 1 / units)
    return TABLE_SHARE / named if in_table else (1 - TABLE_SHARE) / others


def _words(hits: int, jobs: int, *, in_table: bool) -> str:
    table = "Named by the fault table" if in_table else "Not in the fault table"
    if not jobs:
        return f"{table}; no finished job with this fault yet."
    count = "1 finished job" if jobs == 1 else f"{jobs} finished jobs"
    return f"{table}; exchanged in {hits} of {count} with this fault."


def preselected(ranked: Sequence[LikelyTarget], least: float = 0.5) -> tuple[str, ...]:
    """Return the units to tick beforehand: those at least as likely as not, else the table's, which is at hand.

    With no unit above ``least`` and an empty table nothing is ticked: the technician looks first.
    """
    likely = tuple(one.unit for one in ranked if one.share >= least)
    return likely or tuple(one.unit for one in ranked if one.in_table)
