"""Alternates, old units and returns on their pages: no barriers, nothing over the edge, on desk and tablet."""

from decimal import Decimal

import pytest

from app.platform import clock
from app.platform.clock import uuid7
from app.platform.db import Database
from app.rules.stores.supplier_returns import ReturnReason
from app.rules.stores.units import UnitKind
from app.stores import actions as stores
from app.stores import queries as stock
from tests.browser.conftest import DESK, LANDSCAPE, SignedIn, Site
from tests.browser.test_every_page import _faults
from tests.jobs.bench_shop import CLERK, SUPERVISOR, BenchShop


def play(db: Database) -> list[str]:
    """Say of parts what they are, let units come out and goods go back; returns the addresses of the pages."""
    at, today = clock.now(), clock.now().date()

    def stamp() -> dict[str, object]:
        return {"entry_id": uuid7(), "at": at, "who": CLERK}

    with db.write() as session:
        stores.propose_alternate(session, "F-110", "F-230", "Same drawing", fits_from="board 3", **stamp())  # type: ignore[arg-type]
        stores.approve_alternate(session, "F-110", "F-230", supervisor=True, entry_id=uuid7(), at=at, who=SUPERVISOR)
        stores.propose_alternate(session, "F-110", "F-220", "Tried on one", both_ways=True, **stamp())  # type: ignore[arg-type]
        stores.save_unit_terms(session, "F-230", UnitKind.ROTABLE, Decimal(0), 30, at=at)
        stores.save_unit_terms(session, "F-100", UnitKind.EXCHANGE, Decimal("45.00"), 5, at=at)
        came = [stores.CameOut("F-100", "C-7", defective_cell=True), stores.CameOut("F-230"), stores.CameOut("F-230")]
        units = stores.take_in_units(session, "by hand", came, **stamp(), today=today)  # type: ignore[arg-type]
        stores.send_unit_to_repair(session, units[1], "Bench 4", **stamp())  # type: ignore[arg-type]
        shop = BenchShop(session, 1)
        number = shop.book("FR-77")
        for lot in stock.lots_of(session, ["F-110"]):
            goods = stores.GoodsBack(lot.lot_id, lot.location_id, lot.on_hand, ReturnReason.FAULTY, "No sound")
            back = stores.return_goods(session, goods, **stamp())  # type: ignore[arg-type]
        shop.safe(number)
        shop.plan(number, ("speaker", "cell"))
    return [
        "/stores", "/parts/F-110", "/stores/reorder/F-110", "/parts/F-110/alternates",
        "/parts/F-100/alternates", "/stores/units", "/stores/returns",
        "/stores/returns?part=F-210", f"/stores/returns/{back}", f"/stores/returns/{back}/sheet",
        *(f"/stores/units/{unit}" for unit in units), f"/stores/units/{units[0]}/sheet", f"/jobs/{number}/kit",
    ]  # fmt: skip


@pytest.mark.parametrize(("size", "theme"), [(DESK, "light"), (LANDSCAPE, "dark")], ids=["desk-light", "tablet-dark"])
def test_no_page_of_alternates_and_units_has_barriers(
    sign_in: SignedIn, site: Site, size: tuple[int, int], theme: str
) -> None:
    paths = play(site.db)
    found: list[str] = []
    for who in ("stores", "supervisor"):
        page = sign_in(who, size, theme)
        for path in paths:
            found += _faults(page, path)
    assert not found, "\n".join(found)


def test_the_clerk_takes_an_alternate_and_goes_back_from_it(sign_in: SignedIn, site: Site) -> None:
    paths = play(site.db)
    page = sign_in("stores", DESK, "light")
    page.goto(paths[-1])
    page.get_by_label("How many", exact=True).first.fill("1")
    page.get_by_label("Why", exact=True).fill("Speaker is late")
    page.get_by_role("button", name="Take the alternate").click()
    page.get_by_role("heading", name="Alternates in this kit").wait_for()
    page.get_by_role("button", name="Take F-110 after all").click()
    page.get_by_role("heading", name="Take an approved alternate").wait_for()
