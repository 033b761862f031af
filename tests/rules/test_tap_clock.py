"""When was it tapped: the monotonic clock inside a page life, the wall clock over a reload, order and receipt too."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.tap_clock import ASIDE_MS, FLAGGED_MS, LONGEST, Reading, TapTime, tap_time

RECEIVED = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
WALL = 1_772_452_800_000
ms = st.integers(0, 2_000_000_000)
anything = st.integers(-(2**53), 2**53)


def after(wall: int, mono: int, *, life: str = "b", not_before: datetime | None = None) -> TapTime:
    """Return the time of a tap that was sent so many milliseconds later by each clock; life ``a`` is the tap's."""
    return tap_time(Reading(WALL, 5_000, "a"), Reading(WALL + wall, 5_000 + mono, life), RECEIVED, not_before)


def test_inside_one_page_life_the_monotonic_clock_tells() -> None:
    found = after(90_000, 90_000, life="a")
    assert found == TapTime(RECEIVED - timedelta(seconds=90), 0, "")
    assert (found.verdict, found.remark) == ("ok", None)


def test_over_a_reload_the_wall_clock_tells() -> None:
    assert after(3_600_000, -4_000).at == RECEIVED - timedelta(hours=1)


def test_a_clock_set_wrong_by_years_does_no_harm_as_only_the_difference_counts() -> None:
    tap, sent = Reading(1_000, 5_000, "a"), Reading(61_000, 65_000, "a")
    assert tap_time(tap, sent, RECEIVED) == TapTime(RECEIVED - timedelta(minutes=1), 0, "")


@pytest.mark.parametrize(
    ("wall", "verdict"),
    [(60_000, "ok"), (60_000 + FLAGGED_MS, "ok"), (60_001 + FLAGGED_MS, "skew"), (60_000 + ASIDE_MS, "skew"),
     (60_001 + ASIDE_MS, "aside"), (60_000 - 3_000, "skew"), (-600_000, "aside")],
)  # fmt: skip
def test_two_clocks_that_disagree_are_flagged_over_two_seconds_and_set_aside_over_five_minutes(
    wall: int, verdict: str
) -> None:
    found = after(wall, 60_000, life="a")
    assert found.at == RECEIVED - timedelta(minutes=1)
    assert found.verdict == verdict
    assert (found.remark or {}).get("aside", False) == (verdict == "aside")
    assert (found.remark is None) == (verdict == "ok")


def test_nothing_is_tapped_after_it_was_received() -> None:
    found = after(-120_000, 0)
    assert found.at == RECEIVED
    assert (found.skew_ms, found.by, found.verdict) == (120_000, "receipt", "skew")


def test_times_of_one_tablet_never_run_backwards() -> None:
    before = RECEIVED - timedelta(minutes=10)
    found = after(3_600_000, 0, not_before=before)
    assert found.at == before
    assert (found.skew_ms, found.by, found.verdict) == (3_000_000, "order", "aside")
    assert after(60_000, 0, not_before=before).at == RECEIVED - timedelta(minutes=1)


def test_a_tap_from_another_age_is_set_aside_at_its_receipt() -> None:
    found = after(int(LONGEST / timedelta(milliseconds=1)) + 1, 0)
    assert (found.at, found.verdict) == (RECEIVED, "aside")


@given(wall=ms, mono=ms, taps=st.lists(st.integers(0, 100_000), min_size=2, max_size=12))
def test_a_backlog_keeps_its_order_and_its_distances(wall: int, mono: int, taps: list[int]) -> None:
    """Taps in one life, sent later in the same life one after the other."""
    last: datetime | None = None
    passed, times = 0, []
    for gap in taps:
        passed += gap
        times.append((Reading(WALL + passed, mono + passed, "a"), passed))
    end = passed + 1_000
    for n, (tap, _at) in enumerate(times):
        sent = Reading(WALL + end + n, mono + end + n, "a")
        found = tap_time(tap, sent, RECEIVED + timedelta(milliseconds=n), last)
        assert found.verdict == "ok"
        assert last is None or found.at >= last
        assert abs((RECEIVED - found.at) / timedelta(milliseconds=1) - (end - times[n][1])) <= 1
        last = found.at


@given(anything, anything, anything, anything, st.booleans(), st.one_of(st.none(), st.integers(-100_000, 100_000)))
def test_whatever_the_clocks_show_the_time_lies_between_the_entry_before_and_the_receipt(
    wall: int, mono: int, sent_wall: int, sent_mono: int, same: bool, before_s: int | None
) -> None:
    lower = None if before_s is None else RECEIVED + timedelta(seconds=before_s)
    found = tap_time(
        Reading(wall, mono, "a"), Reading(sent_wall, sent_mono, "a" if same else "b"), RECEIVED, lower
    )  # fmt: skip
    assert found.at <= RECEIVED
    assert found.at >= RECEIVED - LONGEST
    assert lower is None or found.at >= min(lower, RECEIVED)
    assert found.skew_ms >= 0
