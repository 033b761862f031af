"""What the invented people of the demo have in common: the session of the day, the clock, chance, who is who."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from random import Random

from sqlmodel import Session

from app.jobs.actions.record import load_job
from app.jobs.queries.same_serial import open_with_serial
from app.platform import clock
from app.platform.settings import Settings
from app.procedures.queries import FaultWord, ModelInfo
from app.stores.queries import PartRow

DAY_BEGINS = time(7, 30)
DAY_ENDS = time(16, 0)
CREWS = 2
# Which crew a device model belongs to, how often its devices come in, and how its part numbers begin.
# The crews have the same work to do, as nearly as the models allow: the year is told when the slower one has told it.
MODELS = {"skarv-h2": (0, 12, "H2-"), "lomvi-s4": (1, 7, "S4-"), "teist-b8": (1, 5, "B8-")}


@dataclass(frozen=True)
class Crew:
    """Half of the workshop: the technicians, devices and parts of one of the two rooms it works in."""

    number: int

    def keeps(self, part: str) -> bool:
        """Whether a part lies on this crew's shelf: those of its devices, and what all devices use."""
        return not any(part.startswith(prefix) for crew, _often, prefix in MODELS.values() if crew != self.number)


@dataclass
class Technician:
    """One technician: ``pace`` multiplies the standard times; ``busy`` while a device is open before them."""

    id: int
    name: str
    pace: float
    busy: bool = False


@dataclass(frozen=True)
class Staff:
    """The demo's staff by what they do; ``seats`` are the technicians who work in this crew."""

    technicians: tuple[Technician, ...]
    seats: tuple[Technician, ...]
    clerk: int
    supervisor: int


@dataclass(frozen=True)
class Model:
    """A device model with its fault words and the serials of the fleet."""

    info: ModelInfo
    faults: tuple[FaultWord, ...]
    fleet: tuple[str, ...]


@dataclass
class Workshop:
    """The stage that the history is played on. ``session`` is the open write session of the simulated day."""

    settings: Settings
    chance: Random
    staff: Staff
    models: tuple[Model, ...]
    parts: Mapping[str, PartRow]
    session: Session = field(repr=False)
    crew: int = 0
    finished: int = 0
    serial_no: int = 0
    orders_changed: bool = True
    next_job_id: int = 0
    numbers: dict[str, int] = field(default_factory=dict)

    def id(self, at: datetime) -> str:
        """Return a new id for an entry at a simulated time."""
        return clock.uuid7(at)

    def version(self, number: str) -> int:
        """Return the version of a job as a page would show it now."""
        return load_job(self.session, number).version

    def local(self, at: datetime) -> datetime:
        """Return an instant in the workshop's zone."""
        return at.astimezone(self.settings.zone)

    def today(self, at: datetime) -> date:
        """Return the workshop's day at an instant."""
        return self.local(at).date()

    def at(self, day: date, moment: time = DAY_BEGINS) -> datetime:
        """Return the instant of a local time of a day."""
        return datetime.combine(day, moment, tzinfo=self.settings.zone).astimezone(clock.now().tzinfo)

    def working(self, at: datetime) -> datetime:
        """Return the instant itself when the workshop is open then, otherwise when it next opens."""
        local = self.local(at)
        day = local.date()
        if local.time() >= DAY_ENDS:
            day += timedelta(days=1)
        while day.weekday() >= 5:
            day += timedelta(days=1)
        opens = self.at(day)
        return max(at, opens)

    def later(self, at: datetime, least_min: float, most_min: float) -> datetime:
        """Return a working moment some minutes later."""
        return self.working(at + timedelta(seconds=round(60 * self.chance.uniform(least_min, most_min))))

    def closes(self, at: datetime) -> datetime:
        """Return when the workshop closes on the day of an instant."""
        return self.at(self.today(at), DAY_ENDS)

    def happens(self, probability: float) -> bool:
        """Say whether something of this probability happens now."""
        return self.chance.random() < probability

    def free_serial(self, model: Model) -> str:
        """Return the serial of a device of the fleet that is not in the workshop already, unless nearly all are."""
        serial = self.chance.choice(model.fleet)
        for _ in range(20):
            if not open_with_serial(self.session, model.info.id, serial):
                break
            serial = self.chance.choice(model.fleet)
        return serial

    def unit_serial(self, part: str, at: datetime) -> str:
        """Return the serial of a new unit as its label would have it."""
        self.serial_no += 1
        return f"{part.replace('-', '')}-{self.local(at):%y%m}-{self.crew}{self.serial_no:04d}"
