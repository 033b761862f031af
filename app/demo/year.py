"""One crew's year: many stories on one calendar, told in the order in which things happen."""

import gc
import heapq
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from random import Random

from app.demo import storeroom, visits
from app.demo.joining import give_ids
from app.demo.seed import fill_shelves, stage
from app.demo.workshop import Crew, Workshop
from app.platform.db import Database
from app.platform.settings import Settings

Story = Iterator[datetime]


@dataclass(frozen=True)
class Coming:
    """A device that will come in: when, of which model, and the id of the job it becomes."""

    at: datetime
    model: str
    job_id: int


@dataclass(frozen=True)
class Year:
    """What a crew's year is told from: its sown database file, its dates, its chance and its devices."""

    file: str
    crew: int
    seed: int
    first: datetime
    end: datetime
    coming: Sequence[Coming]


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


def play_year(year: Year, settings: Settings, told: Callable[[int], None]) -> None:
    """Tell a crew's year into its file; ``told`` is told how many jobs are done, about once a simulated week.

    A transaction is a week, so that the disk is waited for 52 times.
    """
    db = Database(f"sqlite:///{year.file}")
    with no_collection():
        chance = Random(f"crew {year.crew} {year.seed}")  # noqa: S311  Chance of a story, not of a secret.
        with db.write() as session:
            shop = stage(session, settings, chance, Crew(year.crew))
            give_ids(session, shop)
            fill_shelves(shop, year.first)
        calendar = _Calendar()
        opens = shop.working(year.first)
        for story in (storeroom.goods_in, storeroom.order_round, storeroom.monthly_round):
            calendar.add(opens, story(shop, opens))
        for one in year.coming:
            calendar.add(one.at, _visit(shop, one))
        _weeks(db, shop, calendar, year.end, told)
    db.dispose()


def _visit(shop: Workshop, one: Coming) -> Story:
    """Draw the device's fault when it comes in, so that chance is asked in the order of time."""
    shop.next_job_id = one.job_id
    yield from visits.visit(shop, visits.draw(shop, one.model), one.at)


def _weeks(db: Database, shop: Workshop, calendar: _Calendar, end: datetime, told: Callable[[int], None]) -> None:
    while (at := calendar.next_at) is not None and at < end:
        day = shop.today(at)
        monday = shop.at(day + timedelta(days=7 - day.weekday()), time(0, 0))
        with db.write() as session:
            shop.session = session
            give_ids(session, shop)
            calendar.run(min(monday, end))
        told(shop.finished)


@contextmanager
def no_collection() -> Iterator[None]:
    """Hold the garbage collector off: nearly everything that is made here lives until its week's end."""
    gc.collect()
    gc.freeze()
    was = gc.get_threshold()
    gc.set_threshold(200_000, 20, 50)
    try:
        yield
    finally:
        gc.set_threshold(*was)
        gc.unfreeze()
