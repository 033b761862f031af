"""How often a sign-in may fail before it has to wait: pure, the attempts and the time are passed in."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta


@dataclass(frozen=True)
class Limit:
    """At most ``failures`` within ``window``."""

    failures: int
    window: timedelta


PERSON_LIMITS = (
    Limit(5, timedelta(minutes=5)),
    Limit(20, timedelta(hours=1)),
    Limit(50, timedelta(days=1)),
)
# One address can be a whole workshop behind one router, so its limits are wider than a person's.
ADDRESS_LIMITS = (
    Limit(30, timedelta(minutes=5)),
    Limit(120, timedelta(hours=1)),
    Limit(300, timedelta(days=1)),
)
LONGEST = timedelta(days=1)


def most(limits: Sequence[Limit]) -> int:
    """Return how many of the newest failures must be known to judge all the limits."""
    return max(limit.failures for limit in limits)


def wait_s(failures: Sequence[datetime], at: datetime, limits: Sequence[Limit]) -> int:
    """Return the seconds to wait before another try; 0 when one is allowed now.

    ``failures`` are the newest failures, newest first, at least ``most(limits)`` of them where there are so many.
    A limit is reached when its n-th newest failure is still inside its window; the wait ends when it leaves.
    """
    waits = [0]
    for limit in limits:
        if len(failures) >= limit.failures:
            left = failures[limit.failures - 1] + limit.window - at
            waits.append(-int(-left.total_seconds() // 1))
    return max(waits)


def wait_words(seconds: int) -> str:
    """Return a wait as people say it, rounded up to whole minutes."""
    minutes = -(-seconds // 60)
    if minutes <= 1:
        return "a minute"
    if minutes < 120:
        return f"{minutes} minutes"
    return f"{-(-minutes // 60)} hours"
