"""Where a PIN is taken, under which right a late tap counts, when a contact is noted."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.tablets import (
    AFTER_EXPIRY,
    TRUSTED_WITHIN,
    TapStanding,
    check_pin_place,
    contact_due,
    right_ended,
    tap_refusal,
)
from app.rules.verdict import Refused

T0 = datetime(2026, 3, 31, 9, 0, tzinfo=UTC)
times = st.datetimes(datetime(2026, 1, 1), datetime(2026, 12, 31), timezones=st.just(UTC))  # noqa: DTZ001
standings = st.builds(
    TapStanding,
    active=st.booleans(),
    at_bench=st.booleans(),
    revoked=st.booleans(),
    tablet_revoked=st.booleans(),
    signed_out_at=st.none() | times,
    expires_at=times,
)


@given(standings, times)
def test_a_tap_counts_exactly_when_nothing_ended_and_it_was_made_in_time(
    standing: TapStanding, tapped_at: datetime
) -> None:
    whole = standing.active and standing.at_bench and not standing.revoked and not standing.tablet_revoked
    before_out = standing.signed_out_at is None or tapped_at <= standing.signed_out_at + TRUSTED_WITHIN
    in_time = before_out and tapped_at <= standing.expires_at + AFTER_EXPIRY
    assert (right_ended("Ines", standing) == "") == whole
    assert (tap_refusal("Ines", standing, tapped_at) == "") == (whole and in_time)


@given(standings, times, st.timedeltas(timedelta(0), timedelta(days=300)))
def test_an_earlier_tap_is_never_worse_off(standing: TapStanding, tapped_at: datetime, earlier: timedelta) -> None:
    if tap_refusal("Ines", standing, tapped_at) == "":
        assert tap_refusal("Ines", standing, tapped_at - earlier) == ""


@pytest.mark.parametrize(
    ("pin", "enrolled", "demo", "taken"),
    [
        (True, True, False, True),
        (True, False, True, True),
        (True, False, False, False),
        (False, False, False, True),
        (False, True, True, True),
    ],
)
def test_a_pin_is_taken_on_an_enrolled_tablet_or_in_the_demo(
    pin: bool, enrolled: bool, demo: bool, taken: bool
) -> None:
    if taken:
        check_pin_place(pin=pin, enrolled=enrolled, demo=demo)
        return
    with pytest.raises(Refused, match="Ask a supervisor"):
        check_pin_place(pin=pin, enrolled=enrolled, demo=demo)


@pytest.mark.parametrize(
    ("seen_s_ago", "had", "has", "due"),
    [(None, 0, 0, True), (19, 0, 0, False), (20, 0, 0, True), (1, 0, 1, True), (1, 4, 0, True), (1, 4, 3, False)],
)
def test_a_contact_is_noted_now_and_then_and_when_waiting_begins_or_ends(
    seen_s_ago: int | None, had: int, has: int, due: bool
) -> None:
    seen = None if seen_s_ago is None else T0 - timedelta(seconds=seen_s_ago)
    assert contact_due(seen, had, T0, has) is due
