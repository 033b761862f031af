"""The year: many stories on one calendar, told in the order in which things happen."""

import gc
import heapq
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from random import Random

from app.demo import finale, storeroom, visits
from app.demo.seed import sow
from app.demo.workshop import Workshop
from app.platform.db import Database
from app.platform.settings import Settings

DAYS = 365
# Days before the end on which the last ordinary device comes in: the last day has its own stories.
QUIET_DAYS = 2

Story = Iterator[datetime]
Progress = Callable[[int, int], None]


@dataclass(order=True)
class _Turn:
    """A story's next moment; ``place`` keeps stories of the same moment in the order they came."""

    at: datetime
    place: int
    story: Story = field(compare=False)


class _Calendar:
    """Goes from moment to moment and lets each story go on at its own."""

    def __init__(self) -> None:
        self._turns: list[_Turn] = []
        self._places = 0

    def add(self, at: datetime, story: Story) -> None:
        """Enter a story that goes on at a moment."""
        self._places += 1
        heapq.heappush(self._turns, _Turn(at, self._places, story))

    def run(self, until: datetime) -> None:
        """Let everything happen that happens before a moment."""
        while self._turns and self._turns[0].at < until:
            turn = heapq.heappop(self._turns)
            following = next(turn.story, None)
            if following is not None:
                self.add(max(following, turn.at), turn.story)

    @property
    def next_at(self) -> datetime | None:
        """The moment at which the next story goes on."""
        return self._turns[0].at if self._turns else None


def make_history(
    db: Database, settings: Settings, *, jobs: int, seed: int, until: datetime, progress: Progress
) -> None:
    """Fill an empty, migrated database with a workshop and a year of its work that ends at ``until``.

    The same seed and end make the same facts; only the ids of entries differ. ``progress`` is told how many of
    the jobs are done. A transaction is a simulated week, so that the disk is waited for 52 times.
    """
    with _no_collection():
        chance = Random(seed)  # noqa: S311  Chance of a story, not of a secret.
        first = until - timedelta(days=DAYS)
        with db.write() as session:
            shop = sow(session, settings, chance, first)
        calendar = _Calendar()
        opens = shop.working(first)
        calendar.add(opens, storeroom.goods_in(shop, opens))
        calendar.add(opens, storeroom.order_round(shop, opens))
        calendar.add(opens, storeroom.monthly_round(shop, opens))
        ordinary = max(jobs - finale.JOBS, 1)
        for at in _arrivals(shop, first, until - timedelta(days=QUIET_DAYS), ordinary):
            calendar.add(at, _visit(shop, at))
        _weeks(db, shop, calendar, shop.at(shop.today(until - finale.LEAD)), lambda: progress(shop.finished, jobs))
        done = [shop.finished]

        def told() -> None:
            done[0] += 1
            progress(done[0], jobs)

        with db.write() as session:
            shop.session = session
            finale.play(shop, until, told)
            # The day's order round comes after the shelf ran short.
            next(storeroom.order_round(shop, until - timedelta(minutes=30)), None)
        progress(jobs, jobs)


def _visit(shop: Workshop, at: datetime) -> Story:
    """Draw the device when it comes in, so that chance is asked in the order of time."""
    yield from visits.visit(shop, visits.draw(shop), at)


def _arrivals(shop: Workshop, first: datetime, last: datetime, count: int) -> list[datetime]:
    """Spread arrivals over the working days, more of them in the summer timetable."""
    days: list[date] = []
    day = shop.today(first) + timedelta(days=1)
    while day < shop.today(last):
        if day.weekday() < 5:
            days.append(day)
        day += timedelta(days=1)
    weights = [1.35 if 5 <= day.month <= 8 else 1.0 for day in days]
    chosen = sorted(shop.chance.choices(days, weights=weights, k=count))
    found = [shop.at(day, time(7, 40)) + timedelta(minutes=shop.chance.randrange(0, 440)) for day in chosen]
    return sorted(found)


def _weeks(db: Database, shop: Workshop, calendar: _Calendar, end: datetime, told: Callable[[], None]) -> None:
    """Play week after week, each in one transaction."""
    while (at := calendar.next_at) is not None and at < end:
        day = shop.today(at)
        monday = shop.at(day + timedelta(days=7 - day.weekday()), time(0, 0))
        with db.write() as session:
            shop.session = session
            calendar.run(min(monday, end))
        told()


@contextmanager
def _no_collection() -> Iterator[None]:
    """Hold the garbage collector off: nearly everything that is made here lives until its day's end."""
    gc.collect()
    gc.freeze()
    was = gc.get_threshold()
    gc.set_threshold(200_000, 20, 50)
    try:
        yield
    finally:
        gc.set_threshold(*was)
        gc.unfreeze()
