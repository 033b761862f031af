"""Parts: look up, add, edit, receive, scrap, transfer, and who may do it."""

from collections.abc import Callable
from decimal import Decimal

import pytest

from app.platform.db import Database
from app.stores import actions, queries
from tests.stores.shop import faults, level, receive, stamp
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def test_parts_are_found_by_number_and_name(shop: Database, visit: Visit) -> None:
    bench = visit("technician")
    found = bench.open("/parts").form("/parts").submit(q="seal")
    assert "SEAL-1" in found.words
    assert "DISP-1" not in found.words
    assert "No part fits" in bench.open("/parts?q=100%25").words


def test_a_technician_reads_parts_and_changes_nothing(shop: Database, visit: Visit) -> None:
    bench = visit("technician")
    card = bench.open("/parts/DISP-1")
    assert card.status == 200
    assert "Edit card" not in card.words
    for path in ("/stores", "/reorder", "/orders", "/stocktakes", "/parts/new", "/parts/DISP-1/edit", "/suppliers"):
        assert bench.open(path).status == 403, path
    refused = bench.client.post("/parts/DISP-1/scrap", data={"place": "1:1", "quantity": "1", "reason": "x"})
    assert refused.status_code == 403


def test_a_part_is_added_and_received_without_an_order(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    card = (
        clerk.open("/parts/new")
        .form("/parts/new")
        .submit(number="LENS-1", name="Camera lens", location="A-01", supplier="KLP", price="4.125", order_up_to=6)
    )
    assert card.path == "/parts/LENS-1", card.words
    done = card.link("Receive without order").form("/receive").submit(quantity=3, reason="Opening stock")
    assert done.path == "/parts/LENS-1"
    assert level(shop, "LENS-1").on_hand == 3
    with shop.read() as session:
        assert queries.lots_of(session, ["LENS-1"])[0].unit_cost == Decimal("4.1250")
    assert "Opening stock" in done.words


def test_a_part_number_is_not_given_twice(shop: Database, visit: Visit) -> None:
    refused = (
        visit("stores")
        .open("/parts/new")
        .form("/parts/new")
        .submit(number="DISP-1", name="Another", location="A-01", supplier="KLP", price="1")
    )
    assert refused.status == 409
    assert "There is already a part DISP-1." in refused.words
    assert refused.form("/parts/new").values["name"] == ["Another"]


def test_the_levels_of_a_part_must_fit(shop: Database, visit: Visit) -> None:
    refused = visit("stores").open("/parts/DISP-1/edit").form("/edit").submit(reorder_point=9, order_up_to=3)
    assert refused.status == 422
    assert "below the reorder point of 9" in refused.words


def test_a_stale_card_is_refused_and_shows_what_is_new(shop: Database, visit: Visit) -> None:
    stale = visit("stores").open("/parts/DISP-1/edit").form("/edit")
    visit("supervisor").open("/parts/DISP-1/edit").form("/edit").submit(price="90")
    refused = stale.submit(price="88")
    assert refused.status == 409
    assert "Part DISP-1 changed since this page was shown." in refused.words
    assert "Price is 90.00." in refused.words
    assert level(shop, "DISP-1").price == 90


def test_a_part_that_is_no_longer_kept_leaves_the_lists(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    clerk.open("/parts/SEAL-1/edit").form("/edit").submit(active=None)
    assert "SEAL-1" not in clerk.open("/parts").words
    assert "SEAL-1" in clerk.open("/parts?show=past").words
    assert "SEAL-1" not in clerk.open("/reorder").words


def test_stock_is_scrapped_with_a_reason(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        receive(session, "DISP-1", 4, "D1")
        place = queries.lots_of(session, ["DISP-1"])[0]
    form = visit("stores").open("/parts/DISP-1/scrap").form("/scrap")
    key = f"{place.lot_id}:{place.location_id}"
    without = form.submit(place=key, quantity=1)
    assert without.status == 422
    assert "Fill this in." in without.words
    too_many = without.form("/scrap").submit(reason="Dropped", quantity=5)
    assert too_many.status == 409
    assert "Enter at most 4" in too_many.words
    done = too_many.form("/scrap").submit(quantity=1)
    assert "Dropped" in done.words
    assert level(shop, "DISP-1").on_hand == 3


def test_stock_is_moved_to_another_place(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        receive(session, "DISP-1", 4, "D1")
        place = queries.lots_of(session, ["DISP-1"])[0]
    form = visit("stores").open("/parts/DISP-1/transfer").form("/transfer")
    key = f"{place.lot_id}:{place.location_id}"
    assert "lies there already" in form.submit(place=key, quantity=1, to_location="A-01").words
    form.submit(place=key, quantity=3, to_location="C-01")
    with shop.read() as session:
        lots = {lot.location: lot.on_hand for lot in queries.lots_of(session, ["DISP-1"])}
    # The first form's id was not used up by the refusal, so the second went through.
    assert lots == {"A-01": 1, "C-01": 3}
    assert faults(shop) == []


def test_sending_the_same_form_twice_receives_once(shop: Database, visit: Visit) -> None:
    form = visit("stores").open("/parts/DISP-1/receive").form("/receive")
    for _ in range(2):
        assert form.submit(quantity=2, reason="Sample").path == "/parts/DISP-1"
    assert level(shop, "DISP-1").on_hand == 2


def test_a_lot_has_one_cost_and_one_last_day(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    first = clerk.open("/parts/SEAL-1/receive").form("/receive")
    first.submit(quantity=2, lot_code="S9", expires_on="2099-01-01", reason="Sample")
    again = clerk.open("/parts/SEAL-1/receive").form("/receive")
    refused = again.submit(quantity=2, lot_code="S9", expires_on="2099-02-01", reason="Sample")
    assert refused.status == 409
    assert "call this one S9-2" in refused.words


def test_suppliers_and_places_are_added_and_changed(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    assert clerk.open("/suppliers/new").form("/suppliers/new").submit(code="HVS", name="Hav").path == "/suppliers"
    taken = clerk.open("/suppliers/new").form("/suppliers/new").submit(code="HVS", name="Other")
    assert taken.status == 409
    assert "Another supplier has the code HVS." in taken.words
    card = clerk.open("/locations").link("A-01")
    changed = card.form(card.path).submit(name="Glass", walk_order=5)
    assert "Glass" in changed.words


@pytest.mark.parametrize("page", ["/parts/NOPE", "/orders/P999999", "/stocktakes/99", "/suppliers/99"])
def test_what_does_not_exist_is_said_so(shop: Database, visit: Visit, page: str) -> None:
    missing = visit("stores").open(page)
    assert missing.status == 404
    assert "There is no" in missing.words


def test_lists_are_paged_by_key(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        rows = [
            {"number": f"X-{n:03d}", "name": "Washer", "location": "A-01", "supplier": "KLP", "price": "1"}
            for n in range(70)
        ]
        assert not actions.import_catalogue(session, [], [], rows, **stamp()).errors
    clerk = visit("stores")
    first = clerk.open("/parts?q=washer")
    assert "X-049" in first.words
    assert "X-050" not in first.words
    rest = first.link("Next")
    assert "X-050" in rest.words
    assert "X-069" in rest.words
    assert "X-049" not in rest.words
