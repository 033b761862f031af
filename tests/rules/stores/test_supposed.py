"""What is supposed of a new part: pieces from procedures, jobs from devices; nothing once it has use of its own."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.stores.forecast import prior_from_procedures
from app.rules.stores.supposed import ModelUse, supposed_use

DECK = ModelUse("Deckphone", "Deckphone, exchange of units", devices=50, jobs=40, days=365.25, pieces=60, planned=30)


def test_pieces_a_job_and_jobs_a_device_come_from_the_models_jobs() -> None:
    found = supposed_use([DECK], 0)
    assert found is not None
    # 60 pieces in 30 planned jobs are 2 a job; 40 jobs a year on 50 devices are 0.8; together 80 a year. By hand.
    assert (found.uses_per_job, found.devices) == (2.0, 50)
    assert found.jobs_per_device_year == pytest.approx(0.8)
    prior = prior_from_procedures(found.uses_per_job, found.jobs_per_device_year, found.devices)
    assert prior.rate_per_day * 365.25 == pytest.approx(80)
    assert found.words == (
        "Supposed from procedures: Deckphone, exchange of units takes 60 in the 30 jobs planned of 40 jobs on 50 known "
        "Deckphone in 365 days."
    )


def test_two_models_add_up() -> None:
    other = ModelUse("Scanner", "Scanner", devices=10, jobs=5, days=365.25, pieces=5, planned=5)
    found = supposed_use([DECK, other], 0)
    assert found is not None
    # 80 and 5 pieces a year in 45 jobs a year on 60 devices.
    assert found.uses_per_job * found.jobs_per_device_year * found.devices == pytest.approx(85)
    assert found.devices == 60
    assert found.jobs_per_device_year == pytest.approx(0.75)


def test_a_part_with_use_of_its_own_or_without_procedure_gets_nothing() -> None:
    assert supposed_use([DECK], 5) is None
    assert supposed_use([], 0) is None
    assert supposed_use([ModelUse("Scanner", "Scanner", 10, 0, 365, 0, 0)], 0) is None
    with pytest.raises(ValueError, match="not negative"):
        supposed_use([DECK], -1)


@given(st.integers(1, 500), st.integers(1, 500), st.floats(0.1, 4000), st.integers(1, 900), st.integers(1, 500))
def test_a_few_days_never_count_as_more_than_a_season(
    devices: int, jobs: int, days: float, pieces: int, planned: int
) -> None:
    found = supposed_use([ModelUse("M", "P", devices, jobs, days, pieces, planned)], 0)
    assert found is not None
    yearly = found.uses_per_job * found.jobs_per_device_year * found.devices
    assert yearly <= pieces / planned * jobs * 365.25 / 90 * (1 + 1e-9)
