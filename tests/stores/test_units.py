"""Old units: repaired into a new lot at the repair's cost, given up, or owed and sent back as cores."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal

import pytest
from fastapi import FastAPI
from sqlmodel import Session

from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.rules.stores.alternates import AlternateState
from app.rules.stores.units import UnitKind, UnitState
from app.stores import actions, queries
from app.stores.models import Alternate, OldUnit
from tests.jobs.test_bench_api import token
from tests.stores.shop import AT, TODAY, faults, level, stamp
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def come_out(session: Session, kind: UnitKind, number: str = "DISP-1", today: date = TODAY, **more: object) -> str:
    """Take one old unit in; returns its number."""
    actions.save_unit_terms(session, number, kind, Decimal("40.00"), 14, at=AT)
    came = [actions.CameOut(number, "SN-1", **more)]  # type: ignore[arg-type]
    return actions.take_in_units(session, "job:J000009", came, **stamp(), today=today)[0]


def test_a_rotable_is_repaired_into_a_lot_of_its_own_at_the_cost_of_the_repair(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        number = come_out(session, UnitKind.ROTABLE)
    clerk = visit("stores")
    assert "1 old unit waits for a repair" in clerk.open("/stores").words
    page = clerk.open("/stores/units").link(number)
    assert level(shop, "DISP-1").on_hand == 0
    mending = page.form("/repair").submit(words="Bench 2")
    again = mending.form("/mended").submit(cost="")
    assert again.status == 422
    done = again.form("/mended").submit(cost="12.50", words="New connector")
    assert "Stock again" in done.words
    assert level(shop, "DISP-1").on_hand == 1
    with shop.read() as session:
        lot = queries.lots_of(session, ["DISP-1"])[0]
        assert (lot.code, lot.unit_cost) == (f"{number}-1", Decimal("12.5000"))
        move = queries.movement_page(session, part_number="DISP-1")[0]
        assert (move.kind, move.source_ref, tuple(move.serials)) == ("receipt", f"unit:{number}", ("SN-1",))
    assert faults(shop) == []


def test_beyond_repair_it_is_scrapped_by_its_waste_stream(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        number = come_out(session, UnitKind.ROTABLE)
    page = visit("stores").open(f"/stores/units/{number}").form("/give-up").submit(words="Board cracked")
    assert "Scrapped" in page.words
    assert "Board cracked. Waste stream: residual." in page.words
    assert level(shop, "DISP-1").on_hand == 0
    assert faults(shop) == []


def test_what_is_wrong_stands_in_the_form_that_was_sent_and_the_place_stays(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        number = come_out(session, UnitKind.ROTABLE)
    page = visit("stores").open(f"/stores/units/{number}").form("/give-up").submit(words=" ")
    assert page.status == 409
    wrong = page.soup.select('[aria-invalid="true"]')
    assert [box["id"] for box in wrong] == ["f-words-give-up"]
    place = page.soup.find("select", attrs={"name": "location"})
    assert place is not None
    chosen = place.find("option", attrs={"selected": True})
    assert chosen is not None
    with shop.read() as session:
        assert chosen["value"] == queries.old_unit(session, number).location


def test_a_core_is_owed_until_a_day_sent_back_and_accepted_or_charged(shop: Database, visit: Visit) -> None:
    today = clock.now().date()
    with shop.write() as session:
        first = come_out(session, UnitKind.EXCHANGE, today=today)
        second = come_out(session, UnitKind.EXCHANGE, today=today - timedelta(days=20))
    clerk = visit("stores")
    page = clerk.open("/stores/units")
    assert "14 days left" in page.words
    assert "6 days late" in page.words
    assert "40.00" in page.words
    sheet = clerk.open(f"/stores/units/{first}/sheet")
    assert f"Core return {first}" in sheet.words
    sent = clerk.open(f"/stores/units/{first}").form("/send").submit(words="Parcel 31")
    assert "By road or sea. Parcel 31" in sent.words
    assert "Accepted" in sent.form("/accepted").submit().words
    bare = clerk.open(f"/stores/units/{second}").form("/charged").submit(words=" ")
    assert (bare.status, "Say why the core is charged" in bare.words) == (409, True)
    assert "Charged" in bare.form("/charged").submit(words="Too late").words
    assert faults(shop) == []


def test_a_unit_does_only_what_follows_from_where_it_is(shop: Database) -> None:
    with shop.write() as session:
        number = come_out(session, UnitKind.ROTABLE)
        with pytest.raises(Refused, match="waiting for its repair"):
            actions.unit_repaired(session, number, Decimal(1), "", **stamp())
        with pytest.raises(Refused, match="cannot be entered as core sent back"):
            actions.send_core(session, number, "", by_air=False, **stamp())
        actions.move_unit(session, number, "C-01", **stamp())
        assert queries.old_unit(session, number).location == "C-01"
    assert faults(shop) == []


def test_a_cell_is_no_rotable_and_a_defective_one_never_flies(shop: Database) -> None:
    """Source: 49 CFR 173.185(f), damaged or defective cells: forbidden aboard aircraft; ADR special provision 376."""
    row = {
        "number": "PACK-1",
        "name": "Pack",
        "location": "B-01",
        "supplier": "KLP",
        "price": "9",
        "waste_stream": "cell",
    }
    with shop.write() as session:
        assert not actions.import_catalogue(session, [], [], [row], **stamp()).errors
        with pytest.raises(Refused, match="A cell is not repaired and put back"):
            actions.save_unit_terms(session, "PACK-1", UnitKind.ROTABLE, Decimal(0), 30, at=AT)
        number = come_out(session, UnitKind.EXCHANGE, "PACK-1", defective_cell=True)
        with pytest.raises(Refused, match="never goes by air"):
            actions.send_core(session, number, "", by_air=True, **stamp())
        actions.send_core(session, number, "", by_air=False, **stamp())
        # On a part that is repaired, a defective cell is not taken in at all.
        actions.save_unit_terms(session, "SCRW-1", UnitKind.ROTABLE, Decimal(0), 30, at=AT)
        came = [actions.CameOut("SCRW-1", "", defective_cell=True)]
        assert actions.take_in_units(session, "by hand", came, **stamp(), today=TODAY) == ()
    assert faults(shop) == []


def test_the_check_sees_a_unit_that_is_not_where_its_facts_have_it(shop: Database) -> None:
    with shop.write() as session:
        number = come_out(session, UnitKind.ROTABLE)
        row = session.get(OldUnit, 1)
        assert row is not None
        row.state = UnitState.REPAIR
        session.add(row)
    assert faults(shop) == [f"Unit {number}: stored as in repair, the facts give waits."]
    with shop.write() as session:
        actions.rebuild_projections(session)
    assert faults(shop) == []


def test_pairs_and_units_are_rebuilt_from_their_facts(shop: Database) -> None:
    with shop.write() as session:
        come_out(session, UnitKind.EXCHANGE)
        actions.propose_alternate(session, "DISP-1", "SCRW-1", "Any", **stamp())
        actions.approve_alternate(session, "DISP-1", "SCRW-1", supervisor=True, **stamp())
        pair = session.get(Alternate, 1)
        assert pair is not None
        pair.state = AlternateState.WITHDRAWN
        session.add(pair)
    assert faults(shop) == ["Alternate 3 of part 1: it is not stored as it was last said."]
    with shop.write() as session:
        actions.rebuild_projections(session)
    assert faults(shop) == []


def test_how_a_part_goes_round_is_said_on_its_page(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    page = clerk.open("/parts/DISP-1/alternates")
    assert "Take an old one in" not in page.words
    page = page.form("/round").submit(kind="exchange", core_charge="45,50", core_days="21")
    assert page.form("/round").values["core_charge"] == ["45.5"]
    unit = page.form("/old-units").submit(serial="SN-7")
    assert "Owed" in unit.words
    assert "SN-7" in unit.words


def test_the_api_lists_units_and_does_with_them_what_the_page_does(app: FastAPI, shop: Database) -> None:
    with shop.write() as session:
        number = come_out(session, UnitKind.ROTABLE)
    client = token(app, shop, Role.STORES)
    body = {"id": clock.uuid7(), "deed": "repair", "words": "Bench 2"}
    for _n in range(2):
        answer = client.post(f"/api/v1/units/{number}", json=body)
        assert (answer.status_code, answer.json()["state"]) == (200, "in repair")
    done = client.post(f"/api/v1/units/{number}", json={"id": clock.uuid7(), "deed": "mended", "cost": "12.50"})
    assert done.json()["state"] == "stock again"
    assert client.get("/api/v1/units").json() == []
    wrong = client.post(f"/api/v1/units/{number}", json={"id": clock.uuid7(), "deed": "repair", "words": "Bench 2"})
    assert wrong.status_code == 409
