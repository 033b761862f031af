"""Cycle counts: when a part is due to be counted, when a blind count stands, and how right the book was.

Sources: the words of APICS Dictionary for *cycle counting* and *inventory accuracy*, from memory; the days by value
class are the site's own.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta


@dataclass(frozen=True, slots=True)
class CountDays:
    """How often a part is counted, in days by value class."""

    a: int = 30
    b: int = 91
    c: int = 365

    def of(self, value_class: str) -> int:
        """Return the days of a class; what has none is counted like C."""
        return {"A": self.a, "B": self.b}.get(value_class, self.c)


def due_on(last_counted: date | None, came: date, days: int) -> date:
    """Return when a part at a place is due: ``days`` after its last count, or after it came when never counted."""
    return (last_counted or came) + timedelta(days=days)


def stands(counts: Sequence[int], book: int) -> bool:
    """Say whether a blind count stands: the last one agrees with the book, or the last two agree with one another."""
    if not counts:
        return False
    return counts[-1] == book or (len(counts) > 1 and counts[-1] == counts[-2])


@dataclass(frozen=True, slots=True)
class Accuracy:
    """How right the book was in a month: lots counted, lots that agreed, and by how many pieces the rest differed."""

    month: str
    counted: int
    agreed: int
    pieces_off: int

    @property
    def month_words(self) -> str:
        """The month as it is written: Nov 2026."""
        return f"{date.fromisoformat(f'{self.month}-01'):%b %Y}"

    @property
    def share(self) -> float:
        """Agreed of counted, between 0 and 1."""
        return self.agreed / self.counted if self.counted else 0.0


def accuracy(lines: Iterable[tuple[date, int, int]]) -> tuple[Accuracy, ...]:
    """Add posted lines, as (day, counted, book), up by month, the oldest first. Months without a count are left out."""
    months: dict[str, list[int]] = {}
    for day, counted, book in lines:
        sums = months.setdefault(f"{day:%Y-%m}", [0, 0, 0])
        sums[0] += 1
        sums[1] += counted == book
        sums[2] += abs(counted - book)
    return tuple(Accuracy(month, *months[month]) for month in sorted(months))


@dataclass(frozen=True, slots=True)
class PlaceDue:
    """A place to count: the earliest day any of its parts is due, and the parts that are due by class."""

    location_id: int
    due: date
    parts: int
    by_class: Mapping[str, int]


def places_due(rows: Iterable[tuple[int, str, date]], today: date) -> tuple[PlaceDue, ...]:
    """Return the places with anything due, the longest overdue first, from (place, value class, due day) by part."""
    found: dict[int, list[tuple[str, date]]] = {}
    for place, value_class, due in rows:
        if due <= today:
            found.setdefault(place, []).append((value_class, due))
    places = [
        PlaceDue(
            place,
            min(due for _c, due in parts),
            len(parts),
            {name: sum(1 for c, _due in parts if c == name) for name in sorted({c for c, _due in parts})},
        )
        for place, parts in found.items()
    ]
    return tuple(sorted(places, key=lambda p: (p.due, p.location_id)))
