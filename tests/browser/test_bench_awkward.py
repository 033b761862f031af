"""What is awkward at a bench: a tap that bounces, a press that runs on, a recount that does not agree."""

from playwright.sync_api import Page, expect

from app.jobs.actions import bench as actions
from tests.browser.conftest import PORTRAIT, SignedIn, Site
from tests.jobs.bench_shop import BenchShop
from tests.jobs.bench_work import BenchWork

TITLE = "#step-title"
PATIENCE_MS = 20000


def work_on(site: Site, down: int | None = None) -> str:
    """Bring a job to the technician's bench, so many steps down, or all the way and turned; returns its number."""
    with site.db.write() as session:
        shop = BenchShop(session, 1)
        work = BenchWork(shop, shop.kitted(("cell",)))
        work.open()
        if down is None:
            work.teardown()
        else:
            for step in work.job.state.teardown[:down]:
                actions.tick(session, work.number, "down", step, **work.stamp())
    return work.number


def bench(page: Page, number: str) -> None:
    """Open the bench page and wait until its script has taken over."""
    page.goto(f"/jobs/{number}/bench")
    expect(page.locator("body")).to_have_attribute("data-outbox", "on", timeout=PATIENCE_MS)


def test_a_tap_that_bounces_ticks_one_step(sign_in: SignedIn, site: Site) -> None:
    number = work_on(site, down=0)
    page = sign_in("technician")
    bench(page, number)
    titles = [page.locator(TITLE).inner_text()]
    box = page.locator("button.tick").bounding_box()
    assert box
    page.mouse.click(box["x"] + 60, box["y"] + 40)
    expect(page.locator(TITLE)).not_to_have_text(titles[0])
    titles.append(page.locator(TITLE).inner_text())
    page.mouse.click(box["x"] + 60, box["y"] + 40)
    page.wait_for_timeout(800)
    assert page.locator(TITLE).inner_text() == titles[1]
    # A moment later the step can be ticked as ever.
    page.mouse.click(box["x"] + 60, box["y"] + 40)
    expect(page.locator(TITLE)).not_to_have_text(titles[1])


def test_a_press_is_told_beside_the_steps_after_it(sign_in: SignedIn, site: Site) -> None:
    number = work_on(site)
    page = sign_in("technician")
    bench(page, number)
    while page.locator(TITLE).inner_text() != "Close the back":
        before = page.locator(TITLE).inner_text()
        page.locator("button.tick").click()
        expect(page.locator(TITLE)).not_to_have_text(before)
    expect(page.locator(".do")).to_contain_text("Keep it pressed for 30 s from the tick on.")
    page.locator("button.tick").click()
    expect(page.locator(TITLE)).to_have_text("Now count")
    expect(page.locator(".step-body .cure")).to_contain_text("Close the back: keep pressed")
    # It is taken back with the tick that began it.
    page.get_by_role("button", name="Back", exact=True).click()
    expect(page.locator(TITLE)).to_have_text("Close the back")
    expect(page.locator(".cure")).to_have_count(0)


def test_a_recount_that_does_not_agree_is_told_beside_its_pocket(sign_in: SignedIn, site: Site) -> None:
    number = work_on(site, down=2)
    page = sign_in("second", PORTRAIT)
    bench(page, number)
    page.locator("button.tick", has_text="Take over").click()
    page.wait_for_url(f"**/jobs/{number}/recount")
    pocket = page.locator("input[name=pocket-1]")
    pocket.fill("9")
    page.get_by_role("button", name="Record the count").click()
    expect(page.locator(".field.wrong .error")).to_contain_text("Tray pocket 1 should hold 4, not 9.")
    expect(pocket).to_have_value("9")
    expect(pocket).to_be_focused()
    pocket.fill("4")
    page.get_by_role("button", name="Record the count").click()
    page.wait_for_url(f"**/jobs/{number}/bench")
