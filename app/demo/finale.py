"""The last day: jobs left at every stage, so that a visitor finds each page with work on it."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

from app.demo import bench, visits
from app.demo.bench import BenchWork
from app.demo.visits import Arrival
from app.demo.workshop import Technician, Workshop
from app.jobs.models import Coverage
from app.stores import actions as stores
from app.stores import queries as shelf

# How long before the end of the history the last day's work begins.
LEAD = timedelta(hours=5)
JOBS = 13


class _Day:
    """Arranges the last day's jobs, all a known time before its end."""

    def __init__(self, shop: Workshop, until: datetime) -> None:
        self.shop = shop
        self.until = until
        self._owners = iter(visits.OWNERS * 3)

    def before(self, minutes: float) -> datetime:
        """Return the moment some minutes before the end."""
        return self.until - timedelta(minutes=minutes)

    def arrival(self, model: str, unit: str, coverage: Coverage = Coverage.INTERNAL) -> Arrival:
        """Return a device of a model with the fault that the unit explains."""
        found = next(m for m in self.shop.models if m.info.code == model)
        fault = next(f for f in found.faults if f.unit == unit)
        owner = visits.OUTSIDE[0] if coverage is Coverage.OWNER else next(self._owners)
        return Arrival(found, self.shop.free_serial(found), fault, (unit,), coverage, owner)

    def booked(self, arrival: Arrival, minutes: float) -> str:
        """Book a device in some minutes before the end."""
        return visits.book(self.shop, arrival, self.before(minutes))

    def planned(self, arrival: Arrival, minutes: float) -> str:
        """Book in, make safe and plan."""
        number = self.booked(arrival, minutes)
        who = self.shop.staff.technicians[-1].id
        visits.secure(self.shop, number, self.before(minutes - 6), who)
        visits.plan(self.shop, number, arrival.targets, self.before(minutes - 9), who)
        if arrival.coverage is not Coverage.OWNER:
            visits.promise(self.shop, number, self.before(minutes - 10))
        return number

    def kitted(self, arrival: Arrival, minutes: float) -> str:
        """Bring a job as far as its kit."""
        number = self.planned(arrival, minutes)
        bench.hand_out(self.shop, number, self.before(minutes - 20))
        return number

    def seated(self, arrival: Arrival, minutes: float, who: int) -> BenchWork:
        """Bring a job to the bench of a technician, opened and not begun, some minutes before the end."""
        number = self.kitted(arrival, minutes + 60)
        technician: Technician = self.shop.staff.technicians[who]
        job = BenchWork(self.shop, number, technician, self.before(minutes))
        bench.open_bench(job)
        return job


def play(shop: Workshop, until: datetime) -> Iterator[int]:
    """Leave a job at every stage; yields how many are there. Needs stock for all but one of them."""
    for n, _ in enumerate(_scenes(_Day(shop, until)), start=1):
        yield n


def _scenes(day: _Day) -> Iterator[None]:
    shop = day.shop
    _run_short(day, "S4-150")
    day.planned(day.arrival("lomvi-s4", "scan-engine"), 290)
    yield
    _run(day.seated(day.arrival("skarv-h2", "loudspeaker"), 75, 3), bench.teardown, bench.refit, bench.count)
    yield
    tested = day.seated(day.arrival("lomvi-s4", "trigger"), 130, 3)
    _run(tested, bench.teardown, bench.refit, bench.count)
    bench.run_tests(tested)
    yield
    _run(day.seated(day.arrival("teist-b8", "loudspeakers"), 62, 2), bench.teardown, bench.refit)
    yield
    half = day.seated(day.arrival("lomvi-s4", "keypad"), 48, 1)
    _run(half, bench.teardown)
    for _ in bench.refit(half, steps=5):
        pass
    yield
    ready = day.seated(day.arrival("skarv-h2", "cell"), 11, 0)
    for _ in bench.teardown(ready, steps=5):
        pass
    yield
    hot = day.booked(day.arrival("teist-b8", "cell"), 95)
    visits.secure(shop, hot, day.before(88), shop.staff.technicians[2].id, cell="swollen")
    yield
    awaiting = day.planned(day.arrival("skarv-h2", "display", Coverage.OWNER), 240)
    visits.quote(shop, awaiting, day.before(205), further=("cell",))
    yield
    approved = day.planned(day.arrival("teist-b8", "camera", Coverage.OWNER), 260)
    visits.quote(shop, approved, day.before(230))
    visits.answer(shop, approved, day.before(120), approved=True)
    visits.promise(shop, approved, day.before(119))
    yield
    day.planned(day.arrival("lomvi-s4", "display", Coverage.OWNER), 80)
    yield
    day.kitted(day.arrival("teist-b8", "pass-reader"), 150)
    yield
    safe = day.booked(day.arrival("skarv-h2", "side-keys"), 45)
    visits.secure(shop, safe, day.before(39), shop.staff.technicians[1].id)
    yield
    day.booked(day.arrival("skarv-h2", "port-board", Coverage.WARRANTY), 14)
    yield


def _run(job: BenchWork, *parts: Callable[[BenchWork], Iterator[datetime]]) -> None:
    for part in parts:
        for _ in part(job):
            pass


def _run_short(day: _Day, part: str) -> None:
    """A tray is dropped: what lies there of a part is scrapped, and ordered anew."""
    shop, at = day.shop, day.before(299)
    today = shop.today(at)
    for lot in shelf.lots_of(shop.session, [part]):
        stores.scrap_stock(
            shop.session, lot.lot_id, lot.location_id, lot.on_hand, "Tray dropped at the shelf, lenses cracked",
            entry_id=shop.id(at), at=at, who=shop.staff.clerk, today=today,
        )  # fmt: skip
