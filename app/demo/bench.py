"""Work at the bench: a technician takes a device down, turns, brings it back, with the trouble that happens.

Everything is a generator that yields the moment at which it goes on, so that many jobs share one calendar.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal

from app.demo.workshop import Technician, Workshop
from app.jobs.actions import bench as work
from app.jobs.actions import close, trouble
from app.jobs.actions.issue_kit import hand_out_kit
from app.jobs.actions.record import load_job
from app.jobs.queries.kit import outstanding
from app.rules.counting import BenchState, Item
from app.rules.descent import pocket_numbers
from app.rules.sheet import ReleaseTest, ReuseClass
from app.stores import queries as shelf
from app.stores.queries import Pick

Moments = Iterator[datetime]


@dataclass
class Luck:
    """What goes wrong in one pass, drawn beforehand."""

    damage: bool = False
    absent: bool = False
    spoiled: bool = False
    reject: bool = False
    leftover: bool = False
    undo: bool = False
    failed_test: bool = False
    takeover: bool = False


@dataclass
class BenchWork:
    """One job on the bench: whose it is, the time, and what is still to go wrong."""

    shop: Workshop
    number: str
    technician: Technician
    at: datetime
    luck: Luck = field(default_factory=Luck)

    def state(self) -> BenchState:
        """Return where the job stands."""
        return BenchState.from_json(load_job(self.shop.session, self.number).bench)

    def spend(self, seconds: float) -> None:
        """Let hands-on time go by, at the technician's pace with some spread."""
        spread = self.shop.chance.lognormvariate(0, 0.22)
        self.at += timedelta(seconds=max(4, round(seconds * self.technician.pace * spread)))

    def id(self) -> str:
        """Return a new entry id for now."""
        return self.shop.id(self.at)

    def tick(self, side: str, step: str) -> str:
        """Tick a step and return the entry's id. The job's row is written once, after several ticks."""
        entry = self.id()
        with self.shop.session.no_autoflush:
            work.tick(self.shop.session, self.number, side, step, at=self.at, who=self.technician.id, event_id=entry)
        return entry


def hand_out(shop: Workshop, number: str, at: datetime) -> bool:
    """Hand out what is promised to a job, oldest expiry first; returns whether there was anything."""
    day = shop.today(at)
    promised = shelf.reserved_for(shop.session, f"job:{number}")
    picks = []
    for pick in shelf.propose_picks(shop.session, promised, day):
        serials: tuple[str, ...] = ()
        if pick.serial_tracked:
            serials = tuple(shop.unit_serial(pick.part_number, at) for _ in range(pick.quantity))
        picks.append(Pick(pick.part_number, pick.lot_id, pick.location_id, pick.quantity, serials))
    if not picks:
        return False
    hand_out_kit(shop.session, number, picks, at=at, who=shop.staff.clerk, event_id=shop.id(at), today=day)
    return True


def take_seat(shop: Workshop, at: datetime, wanted: Technician | None = None) -> Iterator[datetime | Technician]:
    """Wait for a free technician (or for one in particular); the last thing yielded is who."""
    while True:
        at = shop.working(at)
        free = [t for t in shop.staff.seats if not t.busy and (wanted is None or t is wanted)]
        if free:
            chosen = shop.chance.choice(free)
            chosen.busy = True
            yield at
            yield chosen
            return
        at += timedelta(minutes=20)
        yield at


def open_bench(job: BenchWork) -> None:
    """Open the job; a recount that is due after a take-over is made at once."""
    work.open_job(job.shop.session, job.number, at=job.at, who=job.technician.id, event_id=job.id())
    state = job.state()
    if state.recount_due:
        sheet = work.Bench(job.shop.session, job.number).sheet
        pockets = pocket_numbers(sheet, state.teardown)
        counted: dict[int, int | None] = {n: state.items[key].waiting for key, n in pockets.items()}
        job.spend(90)
        work.recount(job.shop.session, job.number, counted, at=job.at, who=job.technician.id, event_id=job.id())


def rest(job: BenchWork, reason: str, until: datetime) -> Moments:
    """Pause the job until a later working moment, the seat kept, and open it again."""
    work.pause(job.shop.session, job.number, reason, at=job.at, who=job.technician.id, event_id=job.id())
    job.at = job.shop.working(until)
    yield job.at
    open_bench(job)
    job.spend(15)


def keep_hours(job: BenchWork, seconds: float) -> Moments:
    """Stop for the day when the next piece of work would run past closing time."""
    closes = job.shop.closes(job.at)
    if job.at + timedelta(seconds=seconds * 1.3) >= closes:
        yield from rest(job, "end of shift", closes + timedelta(seconds=60 + job.shop.chance.randrange(600)))


def teardown(job: BenchWork, steps: int | None = None) -> Moments:
    """Tick the teardown steps in plan order, or only the first few of them."""
    shop, bench = job.shop, work.Bench(job.shop.session, job.number)
    order = bench.state.teardown
    trouble_at = shop.chance.randrange(len(order))
    for place, step in enumerate(order[:steps]):
        yield from keep_hours(job, bench.sheet.step(step).time_s)
        job.spend(bench.sheet.step(step).time_s)
        tick = job.tick("down", step)
        if job.luck.undo and place == trouble_at:
            job.luck.undo = False
            _undo_and_tick_again(job, step, tick)
        if place >= trouble_at:
            yield from _trouble_down(job, step)
        if job.luck.takeover and place == trouble_at and place + 1 < len(order):
            job.luck.takeover = False
            yield from _hand_over(job)


def _undo_and_tick_again(job: BenchWork, step: str, tick: str) -> None:
    job.at += timedelta(seconds=6)
    session, who = job.shop.session, job.technician.id
    work.undo(session, job.number, tick, at=job.at, who=who, event_id=job.id())
    job.spend(40)
    job.tick("down", step)


def _hand_over(job: BenchWork) -> Moments:
    """Another technician goes on with the job, if one is free."""
    others = [t for t in job.shop.staff.seats if not t.busy]
    if not others:
        return
    job.technician.busy = False
    job.technician = job.shop.chance.choice(others)
    job.technician.busy = True
    job.at += timedelta(minutes=4)
    yield job.at
    open_bench(job)


def _trouble_down(job: BenchWork, step: str) -> Moments:
    bench = work.Bench(job.shop.session, job.number)
    here = [i for i in bench.items.values() if i.step == step and i.reuse is not ReuseClass.SINGLE_USE and i.part]
    loose = [i for i in here if i.kind != "unit" and bench.state.items[i.key].waiting > 0]
    if loose and job.luck.damage:
        job.luck.damage = False
        item = job.shop.chance.choice(loose)
        _report(job, "damage", item, "Came apart in the hand." if item.kind != "screw" else "Head stripped.")
    counts = {f.id: f.count for f in bench.sheet.step(step).releases}
    looks = [
        i
        for i in bench.sheet.step(step).inspect
        if i.of and i.on_reject.add and i.on_reject.add[0].count >= counts[i.of]
    ]
    if looks and job.luck.reject:
        job.luck.reject = False
        look = job.shop.chance.choice(looks)
        job.spend(25)
        trouble.report(
            job.shop.session, job.number, "reject", inspection=f"{step}/{look.id}", note="Did not pass.",
            at=job.at, who=job.technician.id, event_id=job.id(),
        )  # fmt: skip
    yield from ()


def _report(job: BenchWork, kind: str, item: Item, note: str) -> None:
    job.spend(30)
    trouble.report(
        job.shop.session, job.number, kind, item=item.key, count=1, note=note,
        at=job.at, who=job.technician.id, event_id=job.id(),
    )  # fmt: skip


def before_teardown(job: BenchWork) -> None:
    """Report a screw that was missing when the device came, when luck has it so."""
    if not job.luck.absent:
        return
    bench = work.Bench(job.shop.session, job.number)
    screws = [
        i for i in bench.items.values()
        if i.kind == "screw" and i.part and i.baseline > 1 and i.reuse is ReuseClass.REUSABLE
    ]  # fmt: skip
    if screws:
        _report(job, "absent", screws[0], "Not there when it came in.")


def refit(job: BenchWork, steps: int | None = None) -> Moments:
    """Turn, then tick the refit steps; parts still to come are waited for, cures run their time."""
    shop = job.shop
    yield from extra_parts(job)
    bench = work.Bench(shop.session, job.number)
    if not bench.state.turned:
        job.spend(20)
        job.tick("turn", "")
    for step in bench.state.refit[:steps]:
        side = bench.sheet.step(step).refit
        assert side is not None
        yield from keep_hours(job, side.time_s + side.press_s)
        if job.luck.spoiled:
            yield from _spoil(job, step)
        job.spend(side.time_s)
        job.tick("up", step)
        wait_s = side.cure_s or side.press_s
        if side.cure_s:
            yield from rest(job, "cure", job.at + timedelta(seconds=wait_s + 30))
        else:
            job.at += timedelta(seconds=wait_s + 1 if wait_s else 0)


def _spoil(job: BenchWork, step: str) -> Moments:
    bench = work.Bench(job.shop.session, job.number)
    state = bench.state
    new = [
        i for i in bench.items.values()
        if i.step == step and i.kind == "seal" and i.part and i.reuse is ReuseClass.SINGLE_USE
        and state.items[i.key].new == 0
    ]  # fmt: skip
    if new:
        job.luck.spoiled = False
        _report(job, "spoiled", new[0], "Folded over itself while it was laid.")
        yield from extra_parts(job)


def extra_parts(job: BenchWork) -> Moments:
    """Wait for what trouble added to the kit: paused at once, handed out when stores has it."""
    shop = job.shop
    if not outstanding(shop.session, load_job(shop.session, job.number).id or 0):
        return
    work.pause(shop.session, job.number, "waiting for parts", at=job.at, who=job.technician.id, event_id=job.id())
    job.technician.busy = False
    job.at = shop.later(job.at, 6, 25)
    yield job.at
    while True:
        hand_out(shop, job.number, job.at)
        if not outstanding(shop.session, load_job(shop.session, job.number).id or 0):
            break
        job.at = shop.working(job.at + timedelta(days=1))
        yield job.at
    for found in take_seat(shop, job.at, job.technician):
        if isinstance(found, Technician):
            break
        job.at = found
        yield job.at
    open_bench(job)
    job.spend(20)


def count(job: BenchWork) -> Moments:
    """Sign the closing count; a piece too many is overridden by the supervisor, with the reason."""
    shop, state = job.shop, job.state()
    running = [datetime.fromisoformat(t) for t in state.timers.values()]
    late = max([t for t in running if t > job.at], default=None)
    if late is not None:
        yield from rest(job, "cure", late + timedelta(seconds=20))
    job.spend(70)
    who = job.technician.id
    if job.luck.leftover:
        trouble.report(
            shop.session, job.number, "leftover", count=1, note="One screw lies on the mat.",
            at=job.at, who=who, event_id=job.id(),
        )  # fmt: skip
        job.spend(400)
        close.override(
            shop.session, job.number, "final",
            "All places are filled and checked with the lens; the screw is from the mat, not from this device.",
            shop.staff.supervisor, at=job.at, who=who, event_id=job.id(),
        )  # fmt: skip
        return
    close.sign_count(shop.session, job.number, shop.version(job.number), at=job.at, who=who, event_id=job.id())


def run_tests(job: BenchWork) -> bool:
    """Do the release tests that are due; returns whether all passed. A failed one opens the job again."""
    due: Sequence[ReleaseTest] = close.due_tests(work.Bench(job.shop.session, job.number))
    failing = job.shop.chance.randrange(len(due)) if job.luck.failed_test and due else None
    for place, test in enumerate(due):
        job.spend(75 if test.kind == "reading" else 45)
        if not _test(job, test, fails=place == failing):
            return False
    return True


def _test(job: BenchWork, test: ReleaseTest, *, fails: bool) -> bool:
    second = None
    if test.second_person:
        others = [t.id for t in job.shop.staff.technicians if t.id != job.technician.id]
        second = job.shop.chance.choice(others)
    reading = _reading(job, test, fails=fails) if test.kind == "reading" else None
    with job.shop.session.no_autoflush:
        return close.record_test(
            job.shop.session, job.number, test.id, accepted=None if reading is not None else not fails,
            reading=reading, second=second, at=job.at, who=job.technician.id, event_id=job.id(),
        )  # fmt: skip


def _reading(job: BenchWork, test: ReleaseTest, *, fails: bool) -> Decimal:
    low, high = test.low, test.high
    least = low if low is not None else (high or Decimal(1)) / 2
    most = high if high is not None else least * 2
    width = most - least
    if fails:
        return (most + width / 4 if high is not None else least - width / 4).quantize(Decimal("0.01"))
    share = Decimal(str(round(min(max(job.shop.chance.gauss(0.45, 0.13), 0.05), 0.95), 3)))
    return (least + width * share).quantize(Decimal("0.01"))


def finish(job: BenchWork) -> None:
    """Close the job: the record is sealed, what is left of the kit goes back to the shelf."""
    job.spend(60)
    close.close_job(
        job.shop.session, job.number, job.shop.version(job.number), job.shop.settings,
        at=job.at, who=job.technician.id, event_id=job.id(),
    )  # fmt: skip
