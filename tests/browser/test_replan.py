"""A new plan in mid-teardown, on a tablet: an inspection failed, more has to be exchanged, and the work goes on."""

import re

import pytest
from playwright.sync_api import expect
from sqlmodel import select

from app.jobs.actions import bench
from app.jobs.models import Job
from tests.browser.conftest import LANDSCAPE, SignedIn, Site, violations
from tests.jobs.bench_shop import BenchShop
from tests.jobs.bench_work import BenchWork


@pytest.mark.browser
def test_more_is_exchanged_from_where_the_device_stands(site: Site, sign_in: SignedIn) -> None:
    with site.db.write() as session:
        shop = BenchShop(session, 1)
        work = BenchWork(shop, shop.kitted(("cell",), "FR-7"))
        work.open()
        for step in work.job.state.teardown[:3]:
            bench.tick(session, work.number, "down", step, **work.stamp())
        number = work.number
    page = sign_in("technician", LANDSCAPE)
    page.goto(f"/jobs/{number}/bench")
    expect(page.locator(".step-head").first).to_contain_text("Take the cell out")
    page.goto(f"/jobs/{number}/trouble")
    page.get_by_role("link", name="Plan again from here").click()
    page.locator("label", has_text="Speaker").first.click()
    page.get_by_role("button", name="Show what it adds").click()
    expect(page.locator("main")).to_contain_text("4 steps more to take down")
    expect(page.locator("main")).to_contain_text("€17.66")
    assert violations(page) == []
    page.get_by_role("button", name="Use this plan").click()
    page.wait_for_url(re.compile(rf"/jobs/{number}$"))
    with site.db.read() as session:
        job = session.exec(select(Job).where(Job.number == number)).one()
        assert (job.targets, job.bench["down"]) == (["cell", "speaker"], ["warm", "back", "plug"])
    page.goto(f"/jobs/{number}/bench")
    if page.get_by_role("button", name=re.compile("Resume|Open", re.IGNORECASE)).count():
        page.get_by_role("button", name=re.compile("Resume|Open", re.IGNORECASE)).first.click()
    expect(page.locator(".step-head").first).to_contain_text("Take the cell out")
    page.locator("button.tick:not([disabled])").click()
    expect(page.locator(".step-head").first).to_contain_text("Lift the shield")
