"""The clerk's morning in a real browser: list, order in three clicks, part of it scanned in, its lot looked up."""

from app.platform import clock
from app.rules.scan_codes import lot_code
from app.stores import actions, queries
from tests.browser.conftest import SignedIn, Site, violations


def test_the_list_becomes_an_order_in_three_clicks_and_part_of_it_is_scanned_in(site: Site, sign_in: SignedIn) -> None:
    """One: the list. Two: review. Three: place. The return key that a scanner sends counts a label."""
    with site.db.write() as session:
        number = queries.active_parts(session)[0].number
        actions.want(session, "job:J000042", {number: 400}, clock.now().date(), at=clock.now())
    page = sign_in("stores", (1440, 900))
    page.goto("/stores")
    page.get_by_role("link", name="Order ", exact=False).first.click()
    page.wait_for_url("**/reorder")
    assert violations(page) == []
    page.locator("section", has=page.get_by_role("link", name=number, exact=True)).get_by_role(
        "button", name="Review order"
    ).click()
    page.get_by_role("button", name="Place order").click()
    page.wait_for_url("**/orders/P*")
    order = page.url.rpartition("/")[2]
    page.get_by_role("link", name="Receive goods").click()
    page.get_by_label("Scan a label on the goods").fill(lot_code(number, "VAN-7"))
    page.get_by_label("Scan a label on the goods").press("Enter")
    page.wait_for_url("**/scan")
    assert page.get_by_label(f"Lot number of {number}").input_value() == "VAN-7"
    expires = page.get_by_label(f"Last day of use of {number}")
    if expires.count():
        expires.fill("2099-01-31")
    assert violations(page) == []
    page.get_by_role("button", name="Receive goods", exact=True).click()
    page.wait_for_url(f"**/orders/{order}")
    with site.db.read() as session:
        got = queries.order(session, order)
        assert got is not None
        line = next(line for line in got.lines if line.part_number == number)
    assert line.received >= 1
    assert line.received < line.quantity
    page.goto("/stores/recall")
    page.get_by_label("Lot, part, job or serial").fill("VAN-7")
    page.get_by_label("Lot, part, job or serial").press("Enter")
    page.wait_for_url("**/stores/recall?*")
    assert page.get_by_text("VAN-7").first.is_visible()
    assert page.get_by_text(number).first.is_visible()
    assert violations(page) == []
    page.goto(f"/stores/reorder/{number}")
    assert page.locator("svg.stock-plot").is_visible()
    assert violations(page) == []
