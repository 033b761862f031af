"""When was it tapped? The time of an entry that a tablet kept for a while, from the tablet's clocks and its receipt.

A tablet says, for the tap and again for the sending, what its wall clock and its monotonic clock showed and which
life of the page it was. The monotonic clock is right inside one page life, whatever happens to the wall clock; over
a reload or a restart only the wall clock goes on. Either way only the *difference* between tap and sending is taken
from the tablet, and counted back from the moment of receipt, so that a clock set wrong does no harm. Round trips
are inside the difference's error: a second or so.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

FLAGGED_MS: Final = 2_000
"""A disagreement over this is kept with the entry."""
ASIDE_MS: Final = 300_000
"""A disagreement over this sets the time aside: the fact counts, its time leaves no mark in the bench time."""


LONGEST: Final = timedelta(days=30)
"""No tablet waits longer than this; a clock that says so was set by a year."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What a tablet's clocks show: Unix milliseconds, milliseconds of the page's own life, and the id of that life."""

    wall_ms: int
    mono_ms: int
    life: str


@dataclass(frozen=True, slots=True)
class TapTime:
    """When an entry was tapped, by the server's clock.

    ``skew_ms`` is the largest disagreement found, ``by`` what disagreed: ``wall clock`` (with the monotonic one),
    ``order`` (with the entry before it from the same tablet) or ``receipt`` (tapped after it was sent, or ages before).
    """

    at: datetime
    skew_ms: int
    by: str

    @property
    def verdict(self) -> str:
        """``ok``, ``skew`` or ``aside``, as the tablet is told."""
        return "aside" if self.skew_ms > ASIDE_MS else "skew" if self.skew_ms > FLAGGED_MS else "ok"

    @property
    def remark(self) -> dict[str, object] | None:
        """What the entry keeps about its time; None where there is nothing to say."""
        if self.skew_ms <= FLAGGED_MS:
            return None
        found: dict[str, object] = {"skew_ms": self.skew_ms, "by": self.by}
        return found | {"aside": True} if self.skew_ms > ASIDE_MS else found


def tap_time(tap: Reading, sent: Reading, received: datetime, not_before: datetime | None = None) -> TapTime:
    """Return when it was tapped: ``received`` less the time between tap and sending, never after the receipt.

    ``not_before`` is the time of the entry that the same tablet tapped before this one: times of one tablet never
    run backwards. What had to be bent for that, and what the two clocks disagree by, is the skew.
    """
    wall_ms, mono_ms = sent.wall_ms - tap.wall_ms, sent.mono_ms - tap.mono_ms
    same_life = tap.life == sent.life
    elapsed_ms = mono_ms if same_life else wall_ms
    found = [(abs(wall_ms - mono_ms), "wall clock")] if same_life else []
    if elapsed_ms < 0:
        found.append((-elapsed_ms, "receipt"))
        elapsed_ms = 0
    elapsed = timedelta(milliseconds=elapsed_ms)
    if elapsed > LONGEST:
        # The receipt is the best that is known then.
        found.append((elapsed_ms, "receipt"))
        elapsed = timedelta(0)
    at = received - elapsed
    if not_before is not None and at < not_before:
        found.append(((not_before - at) // timedelta(milliseconds=1), "order"))
        at = min(not_before, received)
    skew_ms, by = max(found, default=(0, ""))
    return TapTime(at, skew_ms, by if skew_ms > FLAGGED_MS else "")
