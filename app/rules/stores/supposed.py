"""What a new part's use is supposed to be: from the procedures that take it and the devices in the field."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from app.rules.stores.arrays import DAYS_PER_YEAR
from app.rules.stores.planning import ENOUGH_DEMANDS

SHORTEST_DAYS: Final = 90.0
"""A model seen for less than a season is counted as seen for one: a few days say little of a year. Ours."""


@dataclass(frozen=True, slots=True)
class ModelUse:
    """One device model: ``devices`` known, ``jobs`` booked in ``days``, and what a part's procedures take in them.

    ``pieces`` is the sum over those jobs of what the newest sheet of the procedure plans for the units they were
    about; ``planned`` is how many of the jobs had such units.
    """

    model: str
    procedure: str
    devices: int
    jobs: int
    days: float
    pieces: int
    planned: int


@dataclass(frozen=True, slots=True)
class Supposed:
    """Pieces a job, such jobs a device and year, devices in the field, and where that comes from in words."""

    uses_per_job: float
    jobs_per_device_year: float
    devices: int
    words: str


def supposed_use(models: Sequence[ModelUse], taken_by: int) -> Supposed | None:
    """Return what is supposed of a part that ``taken_by`` jobs have taken so far; None where history says it.

    From ``ENOUGH_DEMANDS`` jobs on a part has a history of its own. Several models add up: devices and jobs a year are
    sums, pieces a job the average over all their jobs. Raises ValueError for counts below zero.
    """
    if taken_by < 0 or any(min(m.devices, m.jobs, m.pieces, m.planned) < 0 for m in models):
        raise ValueError("counts are not negative")
    known = [m for m in models if m.pieces and m.devices and m.jobs and m.planned]
    if taken_by >= ENOUGH_DEMANDS or not known:
        return None
    devices = sum(m.devices for m in known)
    yearly = [m.jobs * DAYS_PER_YEAR / max(m.days, SHORTEST_DAYS) for m in known]
    pieces = sum(jobs * m.pieces / m.planned for jobs, m in zip(yearly, known, strict=True))
    named = "; ".join(
        f"{m.procedure} takes {m.pieces} in the {_jobs(m.planned)} planned of {_jobs(m.jobs)} on {m.devices} known "
        f"{m.model} in {max(m.days, SHORTEST_DAYS):.0f} days"
        for m in known
    )
    return Supposed(pieces / sum(yearly), sum(yearly) / devices, devices, f"Supposed from procedures: {named}.")


def _jobs(count: int) -> str:
    return "1 job" if count == 1 else f"{count} jobs"
