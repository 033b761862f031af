"""A small workshop for the tests of the front office: one handset, eight parts, a procedure of six steps. Invented.

Plan for the cell: lid, plug, lift-cell (3 down, 3 up). For the display: lid, plug, lift-display. The camera has no
part on the shelf.
"""

import json
from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from app.platform import clock
from app.platform.db import Database
from app.procedures import actions as procedures
from app.procedures import queries as procedure_queries
from app.procedures.actions import SheetFile
from app.stores import actions as stores
from app.stores import queries as stock
from tests.rules.sheets import fixing, raw_sheet, step
from tests.visitor import Page, Visitor

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
IMEI = "490154203237518"
EARLY, LATE = date(2099, 6, 30), date(2099, 12, 31)
SUPPLIERS = ({"code": "KLP", "name": "Kelp Spares", "email": "orders@kelp.example", "address": "Shore 1"},)
LOCATIONS = (
    {"code": "A-01", "name": "Displays", "walk_order": "10"},
    {"code": "B-01", "name": "Cells", "walk_order": "20"},
    {"code": "C-01", "name": "Seals", "walk_order": "30"},
)


def _part(number: str, name: str, location: str, price: str, **more: str) -> dict[str, str]:
    return {
        "number": number, "name": name, "location": location, "supplier": "KLP", "price": price,
        "reorder_point": "1", "order_up_to": "10", "lead_time_days": "10", **more,
    }  # fmt: skip


PARTS = (
    _part("DK-DISP", "Display", "A-01", "86.40"),
    _part("DK-CELL", "Cell pack", "B-01", "23.75", serial_tracked="1", shelf_life_days="365"),
    _part("DK-CAM", "Camera", "A-01", "31.10"),
    _part("DK-SEAL", "Lid seal", "C-01", "2.40", shelf_life_days="365"),
    _part("DK-SCRW", "Locked screw", "C-01", "0.0317"),
    _part("DK-TAPE", "Pull strip", "C-01", "1.15", shelf_life_days="365"),
)


def front_sheet(**more: Any) -> dict[str, Any]:
    """Return the procedure as its file would have it."""
    lid = [
        fixing("lid-screw", 4, reuse="single-use", part="DK-SCRW"),
        fixing("lid-seal", 1, kind="seal", name="Lid seal", reuse="single-use", part="DK-SEAL"),
    ]
    return raw_sheet(
        [
            step("lid", releases=lid, time_s=300, refit={"time_s": 300, "closes": True}),
            step("plug", "lid", releases=[fixing("cell-plug", 1, kind="connector")], time_s=60),
            step(
                "lift-cell", "plug", frees="cell", time_s=240, refit={"time_s": 300, "fits": [
                    {"part": "DK-TAPE", "name": "Pull strip", "count": 2}]},
            ),
            step("lift-display", "plug", frees="display", time_s=400),
            step("lift-camera", "plug", frees="camera", time_s=100),
            step("listen", "lid", releases=[fixing("mesh", 2)]),
        ],
        [
            {"id": "cell", "name": "Cell pack", "part": "DK-CELL", "serial_tracked": True, "waste": "cell"},
            {"id": "display", "name": "Display", "part": "DK-DISP"},
            {"id": "camera", "name": "Camera", "part": "DK-CAM"},
        ],
        device_model={"code": "deckphone", "name": "Deckphone", "kind": "handset", "identifier": "imei"},
        cautions=[
            {"signal": "WARNING", "symbol": "cell", "hazard": "The cell can burn.", "consequence": "It burns you.",
             "avoidance": "Never lever on it."}
        ],
        **more,
    )  # fmt: skip


def stamp() -> dict[str, Any]:
    """Return the id, time and person that every stores action is given."""
    return {"entry_id": clock.uuid7(), "at": AT, "who": None}


def open_workshop(db: Database) -> None:
    """Publish the procedure and its fault words, bring the catalogue in and fill the shelf, the camera left out."""
    with db.write() as session:
        report = stores.import_catalogue(session, SUPPLIERS, LOCATIONS, PARTS, **stamp())
        assert not report.errors, report.errors
        file = SheetFile("deckphone.yaml", json.dumps(front_sheet()))
        procedures.import_sheets(session, [file], stock.known_numbers(session), AT, None)
        words = [("short-shift", "Does not last a watch", "cell"), ("cracked", "Glass cracked", "display")]
        procedures.set_faults(session, "deckphone", words)
        for number, quantity, lot, cost, expires in (
            ("DK-DISP", 2, "D1", "86.40", None),
            ("DK-CELL", 3, "C1", "22.00", EARLY),
            ("DK-SCRW", 100, "S1", "0.0317", None),
            ("DK-TAPE", 10, "T1", "1.15", EARLY),
        ):
            receive(session, number, quantity, lot, cost, expires)
        # The later expiry came first, so that first in is not first expired.
        receive(session, "DK-SEAL", 5, "LATE", "2.40", LATE)
        receive(session, "DK-SEAL", 1, "EARLY", "2.10", EARLY)


def receive(session: Any, number: str, quantity: int, lot: str, cost: str, expires: date | None = None) -> int:
    """Put stock on the shelf; returns the lot's id."""
    return stores.receive_loose(
        session, number, lot, expires, quantity, Decimal(cost), None, "Opening stock", **stamp()
    )  # fmt: skip


def level(db: Database, number: str) -> stock.ShelfPart:
    """Return a part as the shelf has it today."""
    with db.read() as session:
        return stock.shelf(session, [number], clock.now().date())[number]


def model_id(db: Database) -> int:
    """Return the id of the handset's model."""
    with db.read() as session:
        return procedure_queries.device_models(session)[0].id


def booking(db: Database, **more: Any) -> dict[str, Any]:
    """Return the eight things the counter asks, filled in."""
    return {
        "device_model": model_id(db), "serial": IMEI, "fault_word": "Does not last a watch",
        "condition": "Scratched lid", "owner_ref": "Ferry Alke, bridge", "coverage": "warranty", "data_wish": "keep",
        "consent": "yes",
        # The tests book one serial time and again; what that asks is tested by itself.
        "another_device": "shared label", **more,
    }  # fmt: skip


def book(visitor: Visitor, db: Database, **more: Any) -> str:
    """Book a handset in through the pages; returns the job's number."""
    page = visitor.open("/jobs/new").form("/jobs/new").submit(**booking(db, **more))
    assert page.status == 200, page.words[:800]
    return page.path.rpartition("/")[2]


def make_safe(visitor: Visitor, number: str, **more: Any) -> Page:
    """Answer the make-safe questions as for a sound device."""
    answers = {"cell": "sound", "cautions": "yes", "strap": "yes", "mat": "yes", **more}
    return visitor.open(f"/jobs/{number}/safety").form("/safety").submit(**answers)


def plan(visitor: Visitor, number: str, *targets: str) -> Page:
    """Choose units, look at the plan, use it."""
    shown = visitor.open(f"/jobs/{number}/targets").form("/plan").submit(targets=list(targets))
    return shown.form("/plan").submit()


def planned_job(visitor: Visitor, db: Database, *targets: str, **more: Any) -> str:
    """Book a handset in, make it safe and plan it; returns the job's number."""
    number = book(visitor, db, **more)
    make_safe(visitor, number)
    page = plan(visitor, number, *(targets or ("cell",)))
    assert page.status == 200, page.words[:800]
    return number


def hand_out(visitor: Visitor, number: str, serials: Mapping[str, str] | None = None, **more: Any) -> Page:
    """Hand the kit out as proposed; ``serials`` by part number for what is tracked."""
    form = visitor.open(f"/jobs/{number}/kit").form("/kit")
    typed: dict[str, Any] = {}
    for name, values in form.values.items():
        kind, _, n = name.partition("-")
        if kind == "part" and serials and values[0] in serials:
            typed[f"serials-{n}"] = serials[values[0]]
    return form.submit(**typed, **more)


CELL_SERIAL = {"DK-CELL": "CP-0001"}
