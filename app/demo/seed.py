"""Before the first day: staff, catalogue, opening stock, procedures, the fleet of devices."""

import csv
from datetime import datetime, timedelta
from decimal import Decimal
from random import Random

from sqlmodel import Session

from app.demo.workshop import Model, Staff, Technician, Workshop
from app.people.actions import add_person
from app.people.demo_staff import demo_sign_ins
from app.people.models import Role
from app.platform import clock
from app.platform.resources import resource
from app.platform.settings import Settings
from app.procedures import queries as procedures
from app.procedures.actions import import_sheets, set_faults
from app.procedures.files import read_folder
from app.rules.identifiers import imei_check_digit
from app.rules.sheet import Identifier
from app.stores import actions as stores
from app.stores import queries as shelf

FLEET_SIZE = 70
PACES = (0.92, 1.0, 1.12, 1.04)


def _rows(name: str) -> list[dict[str, str]]:
    with (resource("seed_data") / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def sow(session: Session, settings: Settings, chance: Random, at: datetime) -> Workshop:
    """Make the workshop as it was on the first day, and return the stage for its history."""
    staff = _hire(session, at)
    report = stores.import_catalogue(
        session, _rows("suppliers.csv"), _rows("locations.csv"), _rows("parts.csv"),
        entry_id=clock.uuid7(at), at=at, who=staff.clerk,
    )  # fmt: skip
    if report.errors:
        raise ValueError(f"the demo's catalogue is faulty: {report.errors[0]}")
    folder = resource("seed_data") / "procedures"
    import_sheets(session, read_folder(folder), shelf.known_numbers(session), at, staff.supervisor)
    faults: dict[str, list[tuple[str, str, str | None]]] = {}
    for row in _rows("faults.csv"):
        faults.setdefault(row["device_model"], []).append((row["code"], row["fault"], row["likely_unit"] or None))
    for model, words in faults.items():
        set_faults(session, model, words)
    parts = {part.number: part for part in shelf.active_parts(session)}
    shop = Workshop(settings, chance, staff, (), parts, session)
    shop.models = tuple(
        Model(info, procedures.faults(session, info.id), _fleet(chance, info))
        for info in procedures.device_models(session)
    )
    _fill_shelves(shop, at)
    return shop


def _hire(session: Session, at: datetime) -> Staff:
    ids: dict[Role, list[tuple[int, str]]] = {}
    for name, role, secret in demo_sign_ins():
        ids.setdefault(role, []).append((add_person(session, name, role, secret, at), name))
    return Staff(
        technicians=tuple(
            Technician(person, name, PACES[n % len(PACES)]) for n, (person, name) in enumerate(ids[Role.TECHNICIAN])
        ),
        clerk=ids[Role.STORES][0][0],
        supervisor=ids[Role.SUPERVISOR][0][0],
    )


def _fleet(chance: Random, model: procedures.ModelInfo) -> tuple[str, ...]:
    """Return serials of the ferry line's devices. IMEIs begin with 00, which no maker is given."""
    found = []
    for n in range(FLEET_SIZE):
        if model.identifier is Identifier.IMEI:
            first = f"00{chance.randrange(10**5, 10**6)}{chance.randrange(10**6):06d}"
            found.append(first + imei_check_digit(first))
        else:
            mark = "".join(part[0] for part in model.code.split("-")).upper()
            found.append(f"{mark}{chance.randrange(22, 26)}-{chance.randrange(1, 53):02d}-{1000 + n * 7:05d}")
    return tuple(found)


def _fill_shelves(shop: Workshop, at: datetime) -> None:
    """Receive the opening stock: the order-up-to level of every part, in lots a few weeks old."""
    for part in shop.parts.values():
        if part.order_up_to == 0:
            continue
        expires = None
        if part.shelf_life_days is not None:
            age = shop.chance.randrange(10, 60)
            expires = shop.today(at) + timedelta(days=part.shelf_life_days - age)
        stores.receive_loose(
            shop.session, part.number, f"OP-{shop.chance.randrange(1000, 10000)}", expires, part.order_up_to,
            drifted(shop, part.price), None, "Opening stock", entry_id=shop.id(at), at=at, who=shop.staff.clerk,
        )  # fmt: skip


def drifted(shop: Workshop, price: Decimal) -> Decimal:
    """Return a price a little up or down, to 4 decimals, as offers differ from delivery to delivery."""
    percent = Decimal(shop.chance.randrange(-40, 41)) / 1000
    return (price * (1 + percent)).quantize(Decimal("0.0001"))
