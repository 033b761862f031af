"""A few tablets of the load that ``python -m tests.faults.many_tablets`` is for: no error. Rates are a machine's."""

import pytest

from tests.faults.conftest import Rig
from tests.faults.many_tablets import measure


@pytest.mark.slow
def test_tablets_that_tick_each_second_meet_no_error(rig: Rig, pytestconfig: pytest.Config) -> None:
    tablets, seconds = (200, 60) if pytestconfig.getoption("--long") else (6, 2)
    load = measure(rig.db, rig.server, tablets, seconds, 7, print)
    assert load.errors == []
    assert len(load.each_s) >= tablets
