"""Known demand by date, netted against stock and open orders: what is missing when, and when to order it.

The gross-to-net step of material requirements planning (J. Orlicky, Material Requirements Planning, 1975): what is
there and what is coming is used first; what is missing is planned to arrive on the day it is needed and to be ordered
a lead time before.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta


@dataclass(frozen=True, slots=True)
class LotRule:
    """How a missing quantity becomes an order: whole packs, a minimum, or whole ``fixed`` lots (0: lot for lot)."""

    pack: int = 1
    minimum: int = 1
    fixed: int = 0

    def __post_init__(self) -> None:
        if self.pack < 1 or self.minimum < 0 or self.fixed < 0:
            raise ValueError("a pack holds at least one, and lots are not negative")

    def quantity(self, missing: int) -> int:
        """Return the quantity to order for what is missing (above zero)."""
        step = self.fixed or self.pack
        return -(-max(missing, self.minimum) // step) * step


@dataclass(frozen=True, slots=True)
class Netted:
    """One place a period: what is on hand at its end, what was missing, and what is planned to arrive in it."""

    on_hand: tuple[int, ...]
    net: tuple[int, ...]
    planned: tuple[int, ...]

    def releases(self, lead: int) -> tuple[tuple[int, ...], int]:
        """Return planned orders by the period they are placed in, ``lead`` periods earlier, and what is too late."""
        placed = (*self.planned[lead:], *(0,) * min(lead, len(self.planned)))
        return placed, sum(self.planned[:lead])


def net(on_hand: int, gross: Sequence[int], scheduled: Sequence[int], rule: LotRule | None = None) -> Netted:
    """Net gross requirements by period; ``scheduled`` is what open orders bring in each.

    On hand at the start may be below zero when more is promised than is there. Raises ValueError for series of
    different length or figures below zero.
    """
    if len(gross) != len(scheduled) or min([*gross, *scheduled, 0]) < 0:
        raise ValueError("requirements and receipts have the same periods and are not negative")
    rule = rule or LotRule()
    left, after, missing, planned = on_hand, [], [], []
    for wanted, comes in zip(gross, scheduled, strict=True):
        left += comes - wanted
        short = max(0, -left)
        order = rule.quantity(short) if short else 0
        left += order
        after.append(left)
        missing.append(short)
        planned.append(order)
    return Netted(tuple(after), tuple(missing), tuple(planned))


@dataclass(frozen=True, slots=True)
class Requirement:
    """What a booked or planned job will need, and on which day. Already promised stock is not named again."""

    on: date
    quantity: int
    source: str


@dataclass(frozen=True, slots=True)
class Coming:
    """What an open order is expected to bring."""

    on: date
    quantity: int
    order: str


@dataclass(frozen=True, slots=True)
class DayLine:
    """A day on which something is needed or comes; ``left`` at its end, planned orders included."""

    on: date
    needed: int
    comes: int
    missing: int
    planned: int
    left: int
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class KnownDemand:
    """Known demand of a part, netted by day; ``order_by`` is the last day to order what is missing first."""

    lines: tuple[DayLine, ...]
    order_by: date | None
    because: tuple[str, ...]

    @property
    def total(self) -> int:
        """All that is needed."""
        return sum(line.needed for line in self.lines)

    def needed_until(self, day: date) -> int:
        """What is needed up to and on a day."""
        return sum(line.needed for line in self.lines if line.on <= day)

    def missing_until(self, day: date) -> int:
        """What is missing up to and on a day, after stock and open orders."""
        return sum(line.missing for line in self.lines if line.on <= day)


def known_demand(
    free: int,
    requirements: Iterable[Requirement],
    coming: Iterable[Coming],
    *,
    today: date,
    lead_time_days: int,
    rule: LotRule | None = None,
) -> KnownDemand:
    """Net the requirements of jobs by day. ``free`` is usable stock less what is promised already.

    What should have happened before today counts as today's: an overdue order is taken to come today, an overdue
    need is still a need. On one day orders come before jobs take.
    """
    needs, comes = list(requirements), list(coming)
    days = sorted({max(today, day) for day in (*(n.on for n in needs), *(c.on for c in comes))})
    gross = [sum(n.quantity for n in needs if max(today, n.on) == day) for day in days]
    bring = [sum(c.quantity for c in comes if max(today, c.on) == day) for day in days]
    found = net(free, gross, bring, rule)
    lines = tuple(
        DayLine(day, gross[n], bring[n], found.net[n], found.planned[n], found.on_hand[n], _sources(needs, day, today))
        for n, day in enumerate(days)
    )
    short = [line for line in lines if line.missing]
    order_by = short[0].on - timedelta(days=lead_time_days) if short else None
    because = tuple(_words(line, lines, today, lead_time_days) for line in short)
    return KnownDemand(lines, order_by, because)


def _sources(needs: Sequence[Requirement], day: date, today: date) -> tuple[str, ...]:
    return tuple(dict.fromkeys(need.source for need in needs if max(today, need.on) == day))


def _words(short: DayLine, lines: Sequence[DayLine], today: date, lead_time_days: int) -> str:
    who = ", ".join(short.sources) or "what is promised already"
    words = f"{short.missing} short on {day_words(short.on)} for {who}"
    latest = short.on - timedelta(days=lead_time_days)
    if latest >= today:
        return f"{words}: order by {day_words(latest)}."
    arrives = day_words(today + timedelta(days=lead_time_days))
    later = next((line.on for line in lines if line.on > short.on and line.comes), None)
    chase = f" An order is due on {day_words(later)}: ask for it sooner." if later else ""
    return f"{words}; ordered today it comes on {arrives}, too late: move the job or find a faster source.{chase}"


def day_words(day: date) -> str:
    """Return a day as it is written in a sentence: 3 December 2026."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
