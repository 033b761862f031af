"""From fault to units: the table first, then what was really exchanged."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.likely_targets import likely_targets, preselected

UNITS = ("cell", "port", "display", "board", "camera")


def test_without_history_the_table_leads_and_the_interval_is_wide() -> None:
    found = likely_targets(UNITS, ["port"], {}, 0)
    assert found[0].unit == "port"
    assert found[0].share == pytest.approx(0.8)
    assert found[1].share == pytest.approx(0.05)
    assert found[0].high - found[0].low > 0.6
    assert found[0].rate is None
    assert found[0].words == "Named by the fault table; no finished job with this fault yet."
    assert preselected(found) == ("port",)


def test_history_outweighs_the_table() -> None:
    found = likely_targets(UNITS, ["port"], {"cell": 18, "port": 2}, 20)
    assert [one.unit for one in found[:2]] == ["cell", "port"]
    # Beta(4·0.05 + 18, 4·0.95 + 2): mean 18.2/24.
    assert found[0].share == pytest.approx(18.2 / 24)
    assert found[0].words == "Not in the fault table; exchanged in 18 of 20 finished jobs with this fault."
    assert preselected(found) == ("cell",)


def test_the_interval_is_that_of_the_beta_distribution() -> None:
    # scipy 1.17.1, beta.ppf([.025, .975], 1 + 3, 1 + 7): a uniform prior and 3 of 10.
    found = likely_targets(("a", "b"), [], {"a": 3}, 10, table_weight=2)[0]
    assert (found.low, found.high) == pytest.approx((0.10926344, 0.60974256), abs=1e-7)


def test_one_job_does_not_overthrow_the_table() -> None:
    found = likely_targets(UNITS, ["port"], {"cell": 1}, 1)
    assert found[0].unit == "port"


def test_two_units_of_the_table_share_its_weight_and_an_empty_table_ticks_nothing() -> None:
    found = likely_targets(UNITS, ["port", "cell"], {}, 0)
    assert [one.share for one in found[:2]] == pytest.approx([0.4, 0.4])
    assert preselected(found) == ("cell", "port")
    assert preselected(likely_targets(UNITS, [], {}, 0)) == ()


def test_impossible_counts_are_refused() -> None:
    with pytest.raises(ValueError, match="no more jobs"):
        likely_targets(UNITS, [], {"cell": 3}, 2)
    with pytest.raises(ValueError, match="weight"):
        likely_targets(UNITS, [], {}, 0, table_weight=0)


@given(st.integers(0, 200), st.data())
def test_more_jobs_of_the_same_share_narrow_the_interval(jobs: int, data: st.DataObject) -> None:
    hits = data.draw(st.integers(0, jobs))
    found = likely_targets(UNITS, ["cell"], {"cell": hits}, jobs)
    mine = next(one for one in found if one.unit == "cell")
    assert 0 <= mine.low <= mine.share <= mine.high <= 1
    ten = likely_targets(UNITS, ["cell"], {"cell": 10 * hits}, 10 * jobs)
    again = next(one for one in ten if one.unit == "cell")
    if jobs > 4:
        assert again.high - again.low < mine.high - mine.low
    assert sorted(found, key=lambda one: -one.share) == list(found)
