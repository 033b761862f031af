"""Before the first day: staff, catalogue, opening stock, procedures, the fleet of devices."""

import csv
from datetime import datetime, timedelta
from decimal import Decimal
from random import Random

from sqlmodel import Session

from app.demo.workshop import CREWS, Crew, Model, Staff, Technician, Workshop
from app.people.actions import add_person
from app.people.demo_staff import demo_sign_ins
from app.people.models import Role
from app.people.queries import names
from app.platform import clock
from app.platform.resources import resource
from app.platform.settings import Settings
from app.procedures import queries as procedures
from app.procedures.actions import import_sheets, set_faults
from app.procedures.actions.facts import keep_facts
from app.procedures.files import read_folder
from app.rules.identifiers import imei_check_digit
from app.rules.sheet import Identifier
from app.stores import actions as stores
from app.stores import queries as shelf

FLEET_SIZE = 70
# What the handset's procedure cannot know of its ease of repair; scores are invented like the device.
EASE_OF = "skarv-h2"
EASE = {
    "parts": {
        "cell": "battery", "display": "display", "back-cover": "back cover", "camera": "rear camera",
        "port-board": "charging port", "side-keys": "buttons", "loudspeaker": "speakers",
    },
    "tools": {}, "resupplied": [], "spare_parts": "4", "updates": "3", "information": "5",
}  # fmt: skip
PACES = (0.92, 1.0, 1.12, 1.04)


def _rows(name: str) -> list[dict[str, str]]:
    with (resource("seed_data") / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def sow(session: Session, at: datetime) -> None:
    """Bring in what was there on the first day: staff, catalogue, procedures, fault words. Nothing is on the shelf."""
    people = {name: add_person(session, name, role, secret, at) for name, role, secret in demo_sign_ins()}
    clerk, supervisor = (
        next(people[name] for name, found, _secret in demo_sign_ins() if found is role)
        for role in (Role.STORES, Role.SUPERVISOR)
    )
    report = stores.import_catalogue(
        session, _rows("suppliers.csv"), _rows("locations.csv"), _rows("parts.csv"),
        entry_id=clock.uuid7(at), at=at, who=clerk,
    )  # fmt: skip
    if report.errors:
        raise ValueError(f"the demo's catalogue is faulty: {report.errors[0]}")
    folder = resource("seed_data") / "procedures"
    import_sheets(session, read_folder(folder), shelf.known_numbers(session), at, supervisor)
    faults: dict[str, list[tuple[str, str, str | None]]] = {}
    for row in _rows("faults.csv"):
        faults.setdefault(row["device_model"], []).append((row["code"], row["fault"], row["likely_unit"] or None))
    for model, words in faults.items():
        set_faults(session, model, words)
    handset = next(info for info in procedures.procedures(session, "", 100) if info.code == EASE_OF)
    keep_facts(session, handset.procedure_id, 0, EASE, "", at=at, who=supervisor)


def stage(session: Session, settings: Settings, chance: Random, crew: Crew | None = None) -> Workshop:
    """Return the stage on a sown database: for one crew, its technicians and parts; without one, everybody."""
    models = tuple(
        Model(info, procedures.faults(session, info.id), _fleet(info)) for info in procedures.device_models(session)
    )
    parts = {part.number: part for part in shelf.active_parts(session) if crew is None or crew.keeps(part.number)}
    return Workshop(settings, chance, _staff(session, crew), models, parts, session, crew.number if crew else 0)


def _staff(session: Session, crew: Crew | None) -> Staff:
    ids = {name: person for person, name in names(session).items()}
    found: dict[Role, list[str]] = {}
    for name, role, _secret in demo_sign_ins():
        found.setdefault(role, []).append(name)
    technicians = tuple(
        Technician(ids[name], name, PACES[n % len(PACES)]) for n, name in enumerate(found[Role.TECHNICIAN])
    )
    return Staff(
        technicians=technicians,
        seats=technicians if crew is None else technicians[crew.number :: CREWS],
        clerk=ids[found[Role.STORES][0]],
        supervisor=ids[found[Role.SUPERVISOR][0]],
    )


def _fleet(model: procedures.ModelInfo) -> tuple[str, ...]:
    """Return serials of the ferry line's devices. IMEIs begin with 00, which no maker is given."""
    chance = Random(f"fleet {model.code}")  # noqa: S311  Chance of a story, not of a secret.
    found = []
    for n in range(FLEET_SIZE):
        if model.identifier is Identifier.IMEI:
            first = f"00{chance.randrange(10**5, 10**6)}{chance.randrange(10**6):06d}"
            found.append(first + imei_check_digit(first))
        else:
            mark = "".join(part[0] for part in model.code.split("-")).upper()
            found.append(f"{mark}{chance.randrange(22, 26)}-{chance.randrange(1, 53):02d}-{1000 + n * 7:05d}")
    return tuple(found)


def fill_shelves(shop: Workshop, at: datetime) -> None:
    """Receive the opening stock: the order-up-to level of every part, in lots a few weeks old."""
    for part in shop.parts.values():
        if part.order_up_to == 0:
            continue
        expires = None
        if part.shelf_life_days is not None:
            age = shop.chance.randrange(10, 60)
            expires = shop.today(at) + timedelta(days=part.shelf_life_days - age)
        stores.receive_loose(
            shop.session, part.number, f"OP-{shop.crew}{shop.chance.randrange(1000, 10000)}", expires, part.order_up_to,
            drifted(shop, part.price), None, "Opening stock", entry_id=shop.id(at), at=at, who=shop.staff.clerk,
        )  # fmt: skip


def drifted(shop: Workshop, price: Decimal) -> Decimal:
    """Return a price a little up or down, to 4 decimals, as offers differ from delivery to delivery."""
    percent = Decimal(shop.chance.randrange(-40, 41)) / 1000
    return (price * (1 + percent)).quantize(Decimal("0.0001"))
