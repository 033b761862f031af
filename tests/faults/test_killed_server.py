"""The server is killed with SIGKILL in the middle of ticking: what was acknowledged is there, once."""

from pathlib import Path

import pytest

from tests.faults.kill_cycles import JOBS_EACH, postgres_rounds, run_on, sqlite_rounds
from tests.faults.served import Nursery


@pytest.mark.slow
def test_a_server_killed_again_and_again_loses_nothing_and_counts_nothing_twice(
    database_kind: str, request: pytest.FixtureRequest, tmp_path: Path, nursery: Nursery
) -> None:
    cycles, jobs_each = (1000, JOBS_EACH) if request.config.getoption("--long") else (8, 3)
    if database_kind == "sqlite":
        make = sqlite_rounds(tmp_path, jobs_each)
    else:
        make = postgres_rounds(request.getfixturevalue("postgres_server"), jobs_each)
    figures = run_on(make, nursery, cycles, 24 * 3600, 7, tmp_path, print)
    assert (figures.lost, figures.doubled, figures.other) == (0, 0, [])
    assert figures.cycles == cycles
    assert figures.acknowledged > 0
