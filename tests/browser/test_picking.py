"""The shelf in a browser: a line confirmed by its label, the kit handed out, a lot looked up and stopped."""

import pytest
from playwright.sync_api import expect

from app.procedures import queries as procedures
from app.rules.scan_codes import lot_code
from tests.browser.conftest import LANDSCAPE, SignedIn, Site, violations
from tests.jobs.bench_shop import BenchShop


@pytest.fixture
def number(site: Site) -> str:
    """A planned job whose kit waits."""
    with site.db.write() as session:
        model = procedures.device_models(session)[0].id
        shop = BenchShop(session, model)
        job = shop.book()
        shop.safe(job)
        shop.plan(job, ("speaker",))
        return job


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_line_is_picked_by_scan_and_its_lot_is_looked_up(sign_in: SignedIn, number: str, theme: str) -> None:
    page = sign_in("stores", LANDSCAPE, theme)
    page.goto(f"/jobs/{number}/kit")
    part = str(page.locator("input[name=part-0]").get_attribute("value"))
    # A scanner types the label and a line's end.
    page.get_by_label("Label of the part").fill(lot_code(part, f"L-{part}"))
    page.get_by_label("Label of the part").press("Enter")
    expect(page.get_by_text("Picked by Pia Sundqvay, by scan")).to_be_visible()
    assert violations(page) == []
    page.get_by_role("button", name="Hand out kit").click()
    expect(page.get_by_text("All of the kit is handed out.")).to_be_visible()
    page.goto("/stores/recall")
    page.get_by_label("Lot, part, job or serial").fill(lot_code(part, f"L-{part}"))
    page.get_by_label("Lot, part, job or serial").press("Enter")
    expect(page.get_by_role("link", name=number)).to_be_visible()
    assert violations(page) == []
    page.get_by_label("Reason").fill("Maker's notice 14")
    page.get_by_role("button", name="Stop use of this lot").click()
    expect(page.get_by_text("Set aside everywhere: Maker's notice 14")).to_be_visible()
    assert violations(page) == []


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_shelfs_other_pages_are_accessible(sign_in: SignedIn, site: Site, theme: str) -> None:
    page = sign_in("stores", LANDSCAPE, theme)
    for path in (
        "/stores/import",
        "/stores/count-plan",
        "/stores/accuracy",
        "/stores/recall?q=L-",
        "/parts/F-310/keeping",
    ):
        page.goto(path)
        assert violations(page) == [], path
    page.goto("/stores/count-plan")
    page.get_by_label("Class C").fill("1")
    page.get_by_role("button", name="Save the days").click()
    page.get_by_role("button", name="Count place").first.click()
    expect(page.get_by_text("A blind count")).to_be_visible()
    assert violations(page) == []
