"""The year of the demo workshop: two crews' stories, told at the same time, joined, and the last day after them."""

from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from app.demo import clerk_day, finale, rounds
from app.demo.joining import copy_all, copy_file, join_crews
from app.demo.second import second_crew
from app.demo.seed import sow, stage
from app.demo.workshop import CREWS, MODELS, Workshop
from app.demo.year import Coming, Year, no_collection, play_year
from app.jobs.actions.supposing import suppose_use
from app.platform.db import Database
from app.platform.migrations import upgrade
from app.platform.settings import Settings
from app.stores.actions import renew_suggestions

DAYS = 365
# Days before the end on which the last ordinary device comes in: the last day has its own stories.
QUIET_DAYS = 2

Progress = Callable[[int, int], None]


def make_history(
    db: Database, settings: Settings, *, jobs: int, seed: int, until: datetime, progress: Progress
) -> None:
    """Fill an empty, migrated database with a workshop and a year of its work that ends at ``until``.

    The same seed and end make the same facts; only the ids of entries differ. ``progress`` is told how many of
    the jobs are done, and of how many.
    """
    if db.is_sqlite:
        _make(db, settings, jobs, seed, until, progress)
        return
    with TemporaryDirectory(prefix="countback-demo-") as folder:
        passing = Database(f"sqlite:///{Path(folder) / 'whole.db'}")
        upgrade(passing)
        _make(passing, settings, jobs, seed, until, progress)
        copy_all(passing, db)
        passing.dispose()


def _make(db: Database, settings: Settings, jobs: int, seed: int, until: datetime, progress: Progress) -> None:
    first = until - timedelta(days=DAYS)
    done = [0] * CREWS

    def told(crew: int, finished: int) -> None:
        done[crew] = finished
        progress(min(sum(done), jobs), jobs)

    with no_collection(), TemporaryDirectory(prefix="countback-demo-") as folder, second_crew() as second:
        with db.write() as session:
            sow(session, first)
            shop = stage(session, settings, Random(seed))  # noqa: S311  Chance of a story, not of a secret.
            coming = _coming(shop, first, until - timedelta(days=QUIET_DAYS), max(jobs - finale.JOBS, 1))
        files = [Path(folder) / f"crew-{n}.db" for n in range(CREWS)]
        for file in files:
            copy_file(db, file)
        end = shop.at(shop.today(until - finale.LEAD))
        years = [Year(str(file), n, seed, first, end, coming[n]) for n, file in enumerate(files)]
        second.begin(years[1], settings, lambda finished: told(1, finished))

        def told_both(finished: int) -> None:
            told(0, finished)
            second.look()

        play_year(years[0], settings, told_both)
        second.finish()
        join_crews(db, files)
        _last_day(db, settings, seed, until, lambda n: progress(min(sum(done) + n, jobs), jobs))
    progress(jobs, jobs)


def _last_day(db: Database, settings: Settings, seed: int, until: datetime, told: Callable[[int], None]) -> None:
    with db.write() as session:
        shop = stage(session, settings, Random(f"last day {seed}"))  # noqa: S311  Chance of a story.
        shop.crew = CREWS  # Its serials and lots are told apart from both crews'.
        clerk_day.plan_spares(shop, until - timedelta(hours=6))
        for n in finale.play(shop, until):
            told(n)
        clerk_day.arrange(shop, until)
        rounds.play(shop, until)
        suppose_use(session, shop.today(until), at=until)
        renew_suggestions(session, shop.today(until), at=until)


def _coming(shop: Workshop, first: datetime, last: datetime, count: int) -> list[list[Coming]]:
    """Spread arrivals over the working days, more of them in the summer timetable; returns them by crew."""
    days: list[date] = []
    day = shop.today(first) + timedelta(days=1)
    while day < shop.today(last):
        if day.weekday() < 5:
            days.append(day)
        day += timedelta(days=1)
    weights = [1.35 if 5 <= day.month <= 8 else 1.0 for day in days]
    chosen = sorted(shop.chance.choices(days, weights=weights, k=count))
    moments = sorted(shop.at(day, time(7, 40)) + timedelta(minutes=shop.chance.randrange(0, 440)) for day in chosen)
    models = shop.chance.choices(list(MODELS), weights=[often for _crew, often, _prefix in MODELS.values()], k=count)
    found: list[list[Coming]] = [[] for _ in range(CREWS)]
    for n, (at, model) in enumerate(zip(moments, models, strict=True), start=1):
        found[MODELS[model][0]].append(Coming(at, model, n))
    return found
