"""An order's way from draft to closed, goods scanned in, set aside, sent back, and the order as UBL."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from xml.etree import ElementTree as ET

from app.platform import clock
from app.platform.db import Database
from app.platform.settings import Settings
from app.rules.scan_codes import lot_code
from app.stores import actions, queries
from tests.stores.shop import TODAY, faults, level, receive
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]
SEAL_GTIN = "06291041500213"  # GS1's example number, with its check digit.


def place(clerk: Visitor, group: int = 0, **more: str) -> Page:
    """Place an order for everything that is due at one supplier."""
    return clerk.open("/reorder").form("/orders/new", group).submit().form("/orders/new").submit(**more)


def test_a_draft_counts_as_on_order_once_it_is_sent(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    draft = clerk.open("/reorder").form("/orders/new").submit().form("/orders/new").submit(**{"as": "draft"})
    assert "Draft" in draft.words
    assert level(shop, "DISP-1").on_order == 0
    assert "(draft)" in clerk.open("/reorder").words
    assert clerk.open(f"{draft.path}/receive").status == 200
    sent = draft.form("/send").submit()
    assert "Sent" in sent.words
    assert level(shop, "DISP-1").on_order == 5
    assert sent.form("/confirm").action.endswith("/confirm")
    assert faults(shop) == []


def test_a_draft_is_dropped_without_a_trace_in_the_levels(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    draft = clerk.open("/reorder").form("/orders/new").submit().form("/orders/new").submit(**{"as": "draft"})
    assert "Cancelled" in draft.form("/cancel").submit().words
    assert level(shop, "DISP-1").on_order == 0
    assert faults(shop) == []


def test_a_confirmed_day_takes_the_place_of_the_expected_one(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    order = place(clerk)
    day = clock.now().date() + timedelta(days=40)
    confirmed = order.form("/confirm").submit(confirmed_on=day.isoformat())
    assert "Confirmed" in confirmed.words
    with shop.read() as session:
        row = queries.order(session, "P000001")
    assert row is not None
    assert (row.confirmed_on, row.expected_on) == (day, day)
    refused = confirmed.form("/confirm").submit(confirmed_on="2020-01-01")
    assert (refused.status, "That day is before the order was sent." in refused.words) == (409, True)


def test_a_late_order_is_chased_and_the_morning_page_tells(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    then = clock.now() - timedelta(days=30)
    with shop.write() as session:
        kelp = next(row for row in queries.suppliers(session) if row.code == "KLP")
        stamp: dict[str, Any] = {"entry_id": clock.uuid7(), "at": then, "who": None}
        actions.place_order(session, kelp.id, [actions.OrderLine("DISP-1", 2)], then.date(), **stamp)
    assert "not asked after yet" in clerk.open("/stores").words
    order = clerk.open("/orders/P000001")
    assert "It is late: ask after it" in order.words
    asked = order.form("/chase").submit(words="The lorry broke down")
    assert "The lorry broke down" in asked.words
    assert "not asked after yet" not in clerk.open("/stores").words
    assert "P000001" in clerk.open("/orders?show=late").words


def test_goods_are_counted_by_scanning_gs1_labels_and_our_own(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    clerk.open("/parts/SEAL-1/edit").form("/edit").submit(gtin=SEAL_GTIN)
    order = place(clerk, 1)
    form = clerk.open(f"{order.path}/receive").form("/receive")
    form.action = form.action.replace("/receive", "/scan")
    label = f"]C101{SEAL_GTIN}1730123110N-771"
    counted = form.submit(scan=label)
    values = counted.form("/receive").values
    assert values["quantity-SEAL-1"] == ["10"], counted.words
    assert (values["lot_code-SEAL-1"], values["expires_on-SEAL-1"]) == (["N-771"], ["2030-12-31"])
    again = counted.form("/receive")
    again.action = again.action.replace("/receive", "/scan")
    two = again.submit(scan=lot_code("SEAL-1", "N-771"), scan_quantity="2")
    assert two.form("/receive").values["quantity-SEAL-1"] == ["12"]
    other = two.form("/receive")
    other.action = other.action.replace("/receive", "/scan")
    refused = other.submit(scan=lot_code("SEAL-1", "N-772"))
    assert (refused.status, "lot N-771 is entered, and this label says N-772" in refused.words) == (409, True)
    got = two.form("/receive").submit(**{"quantity-SEAL-1": 10})
    assert "Part received" in got.words or "Closed" in got.words, got.words
    assert level(shop, "SEAL-1").on_hand == 10
    assert faults(shop) == []


def test_a_label_of_another_part_is_refused_and_nothing_is_counted(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    order = place(clerk)
    form = clerk.open(f"{order.path}/receive").form("/receive")
    form.action = form.action.replace("/receive", "/scan")
    for text, why in (
        (lot_code("SEAL-1", "A1"), "SEAL-1 is not outstanding on this order."),
        (f"01{SEAL_GTIN}", "No part has the bar code"),
        ("CBLX", "Misread"),
    ):
        refused = form.submit(scan=text)
        assert refused.status == 409
        assert why in refused.words, refused.words
    assert level(shop, "DISP-1").on_hand == 0


def test_a_typed_part_number_counts_a_pack_of_its_line(shop: Database, visit: Visit) -> None:
    order = place(clerk := visit("stores"), 1)
    form = clerk.open(f"{order.path}/receive").form("/receive")
    form.action = form.action.replace("/receive", "/scan")
    counted = form.submit(scan="seal-1")
    values = counted.form("/receive").values
    assert (values["quantity-SEAL-1"], values["lot_code-SEAL-1"]) == (["10"], [""]), counted.words
    again = counted.form("/receive")
    again.action = again.action.replace("/receive", "/scan")
    wrong = again.submit(scan="NONE-1")
    assert (wrong.status, wrong.form("/receive").values["quantity-SEAL-1"]) == (409, ["10"])


def test_a_price_that_differs_is_flagged_and_a_lot_set_aside_is_not_handed_out(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    order = place(clerk)
    zero = {"quantity-CELL-1": 0, "quantity-SCRW-1": 0}
    got = (
        clerk.open(f"{order.path}/receive")
        .form("/receive")
        .submit(None, **zero, **{"quantity-DISP-1": 3, "unit_cost-DISP-1": "91", "quarantine-DISP-1": "Box was wet"})
    )
    assert "DISP-1 is charged at 91.00, agreed 86.40." in got.words
    assert "Set aside" in got.words
    shelf = level(shop, "DISP-1")
    assert (shelf.on_hand, shelf.usable, shelf.available) == (3, 0, 0)
    with shop.read() as session:
        assert queries.propose_picks(session, {"DISP-1": 1}, TODAY) == ()
    aside = clerk.open("/stores/aside")
    assert "Box was wet" in aside.words
    released = aside.form("/release").submit(reason="Dried, each one lit and looked at")
    assert "Nothing is set aside" in released.words
    assert level(shop, "DISP-1").available == 3


def test_any_lot_is_set_aside_with_a_reason(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        receive(session, "DISP-1", 4, "D1", cost="86.40")
    clerk = visit("stores")
    kept = clerk.open("/stores/aside?part=DISP-1").form("/aside", 1).submit(reason="Flicker seen on two of them")
    assert "Flicker seen on two of them" in kept.words
    assert level(shop, "DISP-1").available == 0
    assert "DISP-1" in clerk.open("/stores").words
    card = clerk.open("/parts/DISP-1").words
    assert "4, none usable" in card
    assert "Set aside Flicker seen on two of them" in card
    bare = clerk.open("/stores/aside").form("/release").submit(reason=" ")
    box = bare.soup.find("input", attrs={"name": "reason", "aria-invalid": "true"})
    assert (bare.status, box is not None) == (422, True)


def test_goods_go_back_to_the_supplier_and_others_are_awaited(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    order = place(clerk)
    zero = {"quantity-CELL-1": 0, "quantity-SCRW-1": 0}
    got = clerk.open(f"{order.path}/receive").form("/receive").submit(None, **zero)
    assert level(shop, "DISP-1").on_hand == 5
    back = got.form("/send-back").submit(quantity=2, reason="Cracked corners", replaced="yes")
    assert "2 × DISP-1" in back.words
    assert "Others are sent instead." in back.words
    assert (level(shop, "DISP-1").on_hand, level(shop, "DISP-1").on_order) == (3, 2)
    refused = back.form("/send-back").submit(quantity=9, reason="Cracked corners")
    assert (refused.status, "3 of lot" in refused.words) == (409, True)
    assert faults(shop) == []


def test_what_is_sent_back_is_not_taken_for_use(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    order = place(clerk)
    zero = {"quantity-CELL-1": 0, "quantity-SCRW-1": 0}
    got = clerk.open(f"{order.path}/receive").form("/receive").submit(None, **zero)
    got.form("/send-back").submit(quantity=5, reason="Wrong model")
    assert "No unforeseen use in the time looked at" in clerk.open("/stores/reorder/DISP-1").words


# Sequence of child elements in OASIS UBL 2.3 (OASIS Standard, 15 June 2021; ISO/IEC 19845), UBL-Order-2.3.xsd and
# UBL-CommonAggregateComponents-2.3.xsd: the elements that we write, in the order of the schemas, from memory.
SEQUENCES = {
    "Order": (
        "UBLVersionID", "ID", "IssueDate", "IssueTime", "Note", "DocumentCurrencyCode", "LineCountNumeric",
        "BuyerCustomerParty", "SellerSupplierParty", "Delivery", "AnticipatedMonetaryTotal", "OrderLine",
    ),
    "BuyerCustomerParty": ("Party",), "SellerSupplierParty": ("Party",),
    "Party": ("PartyIdentification", "PartyName", "PostalAddress", "Contact"),
    "PartyIdentification": ("ID",), "PartyName": ("Name",), "PostalAddress": ("AddressLine",),
    "AddressLine": ("Line",), "Contact": ("Name", "ElectronicMail"), "Delivery": ("RequestedDeliveryPeriod",),
    "RequestedDeliveryPeriod": ("EndDate",), "AnticipatedMonetaryTotal": ("PayableAmount",), "OrderLine": ("LineItem",),
    "LineItem": ("ID", "Quantity", "LineExtensionAmount", "Price", "Item"), "Price": ("PriceAmount", "BaseQuantity"),
    "Item": ("Name", "BuyersItemIdentification", "SellersItemIdentification", "StandardItemIdentification"),
    "BuyersItemIdentification": ("ID",), "SellersItemIdentification": ("ID",), "StandardItemIdentification": ("ID",),
}  # fmt: skip
REQUIRED = {
    "Order": {"ID", "IssueDate", "BuyerCustomerParty", "SellerSupplierParty", "OrderLine"},
    "OrderLine": {"LineItem"}, "LineItem": {"ID", "Item"}, "Price": {"PriceAmount"},
    "AnticipatedMonetaryTotal": {"PayableAmount"}, "AddressLine": {"Line"},
}  # fmt: skip
MANY = {"Note", "OrderLine", "AddressLine", "Delivery"}
AGGREGATE = "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
BASIC = "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2"


def check_sequence(node: ET.Element) -> None:
    """Hold an element's children against the standard's sequence, namespace and multiplicity."""
    name = node.tag.rpartition("}")[2]
    children = [child.tag.rpartition("}")[2] for child in node]
    places = [SEQUENCES[name].index(child) for child in children]
    assert places == sorted(places), (name, children)
    assert set(children) >= REQUIRED.get(name, set()), (name, children)
    for child in node:
        what = child.tag.rpartition("}")[2]
        assert children.count(what) == 1 or what in MANY, (name, what)
        space = AGGREGATE if what in SEQUENCES else BASIC
        assert child.tag == f"{{{space}}}{what}"
        if what in SEQUENCES:
            check_sequence(child)
        else:
            assert (child.text or "").strip()
            assert len(child) == 0


def test_the_order_is_a_ubl_document_in_the_standards_sequence(shop: Database, visit: Visit) -> None:
    clerk = visit("stores")
    clerk.open("/parts/DISP-1/edit").form("/edit").submit(gtin=SEAL_GTIN, name="Display <7 & up>")
    place(clerk, note="By van, please")
    sent = clerk.client.get("/orders/P000001.xml")
    assert sent.headers["content-type"].startswith("application/xml")
    root = ET.fromstring(sent.content)
    assert root.tag == "{urn:oasis:names:specification:ubl:schema:xsd:Order-2}Order"
    check_sequence(root)
    assert root.findtext(f"{{{BASIC}}}UBLVersionID") == "2.3"
    assert root.findtext(f"{{{BASIC}}}ID") == "P000001"
    lines = root.findall(f"{{{AGGREGATE}}}OrderLine/{{{AGGREGATE}}}LineItem")
    quantities = {n.findtext(f".//{{{AGGREGATE}}}BuyersItemIdentification/{{{BASIC}}}ID"): n for n in lines}
    display = quantities["DISP-1"]
    amount = display.find(f"{{{BASIC}}}LineExtensionAmount")
    assert amount is not None
    assert (amount.text, amount.get("currencyID")) == ("432.00", "EUR")
    assert display.findtext(f"{{{AGGREGATE}}}Item/{{{BASIC}}}Name") == "Display <7 & up>"
    count = display.find(f"{{{BASIC}}}Quantity")
    assert count is not None
    assert (count.text, count.get("unitCode")) == ("5", "C62")
    assert sent.content.startswith(b"<?xml version=")


def test_the_stock_is_valued_on_any_past_day_by_both_formulas(shop: Database, visit: Visit, settings: Settings) -> None:
    """IAS 2: buy 200@15, 100@18, sell 250, buy 150@20: FIFO 3,900, moving average 3,800 (CIMA F1 workbook, 2018)."""
    first = clock.now() - timedelta(days=20)

    def at(days: int) -> dict[str, Any]:
        return {"entry_id": clock.uuid7(), "at": first + timedelta(days=days), "who": None}

    with shop.write() as session:
        for days, lot, count, cost in ((0, "L1", 200, "15"), (1, "L2", 100, "18"), (3, "L3", 150, "20")):
            actions.receive_loose(session, "DISP-1", lot, None, count, Decimal(cost), None, "Bought", **at(days))
            if days == 1:
                got = actions.reserve(session, "job:J000001", {"DISP-1": 250}, **at(2))
                picks = queries.propose_picks(session, got, TODAY)
                actions.hand_out(session, "job:J000001", picks, **at(2))
    clerk = visit("stores")
    assert "3,900.00" in clerk.open("/stores/value").words
    assert "3,800.00" in clerk.open("/stores/value?formula=average").words
    day: date = (first + timedelta(days=1)).astimezone(settings.zone).date()
    assert "4,800.00" in clerk.open(f"/stores/value?on={day}").words
    with shop.write() as session:
        # What comes back is what went out last: ten at 18.
        actions.take_back(session, "job:J000001", [(picks[-1].lot_id, 10)], **at(4))
    assert "4,080.00" in clerk.open("/stores/value").words
    refused = clerk.open("/stores/value?on=2999-01-01")
    assert refused.status == 422
    assert "That day has not come yet." in refused.words
    assert clerk.open("/stores/value?on=yesterday").status == 422


def test_what_will_expire_before_it_is_used_is_shown_with_its_cost(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        receive(session, "SEAL-1", 40, "S1", cost="2.50", expires=clock.now().date() + timedelta(days=20))
    shown = visit("stores").open("/stores/ageing")
    assert "40 will probably be left when it expires" in shown.words
    assert "100.00" in shown.words
