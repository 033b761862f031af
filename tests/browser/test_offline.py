"""The bench tablet through cuts of the network: nothing lost, nothing counted twice, nothing said before it is so."""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, expect
from sqlmodel import select

from app.jobs.models import BenchEvent, Job
from tests.browser.conftest import FLAGS, LANDSCAPE, PORTRAIT, Site, chromium_path, violations
from tests.browser.network import Network, network
from tests.conftest import CAST
from tests.jobs.bench_shop import BenchShop
from tests.jobs.bench_work import BenchWork
from tests.visitor import TABLET_TOKEN

PRESS = ".bar button.tick:not([disabled])"
STRIP = "[data-strip]"
PATIENCE_MS = 20000


def a_job(site: Site, serial: str = "FR-1") -> str:
    """Bring a job to the technician's bench."""
    with site.db.write() as session:
        shop = BenchShop(session, 1)
        work = BenchWork(shop, shop.kitted(("cell",), serial))
        work.open()
    return work.number


def booked(site: Site, number: str) -> list[tuple[str, str]]:
    """Return kind and step of what the job's chain holds from tablets, in order."""
    with site.db.read() as session:
        job = session.exec(select(Job).where(Job.number == number)).one()
        rows = session.exec(select(BenchEvent).where(BenchEvent.job_id == job.id).order_by(BenchEvent.id))  # type: ignore[arg-type]
        return [(row.kind, row.step or "") for row in rows if row.device_id]


@dataclass
class Bench:
    """A tablet's page at a job, and how often it was tapped."""

    page: Page
    number: str
    taps: int = 0
    seen: list[str] = field(default_factory=list)

    def open(self) -> None:
        """Open the bench page and wait until its script has taken over and the walk is kept."""
        self.page.goto(f"/jobs/{self.number}/bench")
        self.ready()

    def ready(self) -> None:
        """Wait until the script works."""
        expect(self.page.locator("body")).to_have_attribute("data-outbox", "on", timeout=PATIENCE_MS)

    def packed(self) -> None:
        """Wait until walk and pages are on the tablet."""
        packed(self.page, self.number)

    def tick(self) -> None:
        """Tap the large tick once; the next step is there, or the end."""
        before = self.page.locator("#step-title").inner_text()
        self.page.locator(PRESS).click()
        self.taps += 1
        expect(self.page.locator("#step-title")).not_to_have_text(before, timeout=PATIENCE_MS)
        self.seen.append(before)

    def strip(self, **data: str) -> None:
        """Wait until the strip says so."""
        for name, value in data.items():
            expect(self.page.locator(STRIP)).to_have_attribute(f"data-{name}", value, timeout=PATIENCE_MS)


TAP_AT = "([press, at]) => { setTimeout(() => document.querySelector(press).click(), at - Date.now()) }"

PACKED = """async number => {
  const store = await new Promise(done => {
    const r = indexedDB.open('countback'); r.onsuccess = () => done(r.result) });
  const head = await new Promise(done => {
    const r = store.transaction('walks').objectStore('walks').get(number); r.onsuccess = () => done(r.result) });
  store.close();
  const pages = [`/jobs/${number}/bench`, `/jobs/${number}/bench/pause`, `/jobs/${number}/trouble`, '/on-this-tablet'];
  return head && (await Promise.all(pages.map(page => caches.match(page)))).every(Boolean);
}"""


def packed(page: Page, number: str) -> None:
    """Wait until a job's walk and pages are on the tablet. ``wait_for_function`` takes the promise for the answer."""
    deadline = time.monotonic() + 2 * PATIENCE_MS / 1000
    while not page.evaluate(PACKED, number):
        assert time.monotonic() < deadline, "the job was not packed"
        page.wait_for_timeout(100)


@pytest.fixture
def net(site: Site) -> Iterator[Network]:
    """A network that can be cut, in front of the workshop."""
    with network(site.url) as made:
        yield made


Tablet = Callable[..., BrowserContext]


@pytest.fixture
def tablet(browser: Browser, net: Network, tmp_path: Path) -> Iterator[Tablet]:
    """Return a function that starts a tablet's browser with a profile of its own on the disk."""
    started: list[BrowserContext] = []
    errors: list[str] = []

    def start(
        size: tuple[int, int] = LANDSCAPE, theme: Literal["light", "dark"] = "light", address: str = net.url
    ) -> BrowserContext:
        context = browser.browser_type.launch_persistent_context(
            str(tmp_path / "profile"),
            executable_path=chromium_path(),
            args=[*FLAGS, "--host-resolver-rules=MAP tablet.test 127.0.0.1"],
            base_url=address,
            viewport={"width": size[0], "height": size[1]},
            color_scheme=theme,
        )
        context.set_default_timeout(15000)
        lasts_until = time.time() + 86400
        context.add_cookies(
            [{"name": "countback-tablet", "value": TABLET_TOKEN, "url": address, "expires": lasts_until}]
        )
        context.on("weberror", lambda error: errors.append(str(error.error)))
        started.append(context)
        return context

    yield start
    for context in started:
        context.close()
    assert not errors, errors


def sign_in(page: Page, who: int = 0) -> None:
    """Sign a member of the cast in by name."""
    name, _role, secret = CAST[who]
    page.goto("/sign-in")
    page.fill("input[name=name]", name)
    page.fill("input[name=secret]", secret)
    page.locator("main form button.button").first.click()
    page.wait_for_url(lambda url: "/sign-in" not in url)


def at_bench(context: BrowserContext, number: str) -> Bench:
    """Sign the technician in and open a job."""
    page = context.pages[0]
    sign_in(page)
    bench = Bench(page, number)
    bench.open()
    return bench


def test_a_whole_job_through_three_cuts_a_reload_and_a_restart(tablet: Tablet, net: Network, site: Site) -> None:
    number = a_job(site)
    context = tablet()
    bench = at_bench(context, number)
    bench.packed()

    # First cut: the browser knows, and the wire is cut as well.
    context.set_offline(True)
    net.cut()
    for _ in range(3):
        bench.tick()
    bench.strip(contact="none", waiting="3", last="kept")
    context.set_offline(False)
    net.mend()
    bench.strip(contact="ok", waiting="0", last="confirmed")

    # Second cut: the server is away and the browser knows nothing of it. A reload in the middle.
    net.cut()
    bench.tick()
    bench.strip(waiting="1", last="kept", contact="none")
    bench.page.reload()
    bench.ready()
    expect(bench.page.locator("#step-title")).to_have_text("Exchange, then the way back")
    bench.tick()
    net.mend()
    bench.page.evaluate("dispatchEvent(new Event('online'))")
    bench.strip(waiting="0", last="confirmed")

    # Third cut: the browser is ended and started again without a network.
    net.cut()
    bench.tick()
    bench.strip(waiting="1", contact="none")
    context.close()
    again = tablet()
    page = again.pages[0]
    page.goto(f"/jobs/{number}/bench")
    bench = Bench(page, number, bench.taps, bench.seen)
    bench.ready()
    for _ in range(2):
        bench.tick()
    bench.strip(waiting="3")
    page.locator("a.tick", has_text="Closing count").click()
    expect(page.locator(".bench-say")).to_contain_text("needs the server")
    net.mend()
    page.evaluate("dispatchEvent(new Event('online'))")
    bench.strip(waiting="0", last="confirmed")

    down = [("tick", step) for step in ("warm", "back", "plug", "cell")]
    up = [("tick", step) for step in ("cell", "plug", "back")]
    assert booked(site, number) == [*down, ("turned", ""), *up]
    assert bench.taps == len(down) + 1 + len(up)
    page.locator("a.tick", has_text="Closing count").click()
    page.wait_for_url(f"**/jobs/{number}/count")


def test_two_tabs_of_one_job_count_a_step_once(tablet: Tablet, net: Network, site: Site) -> None:
    number = a_job(site)
    context = tablet()
    bench = at_bench(context, number)
    bench.packed()
    other = Bench(context.new_page(), number)
    other.open()
    net.cut()
    bench.tick()
    # The other tab has moved on by itself; a tap made on its old page would be the same step once more.
    expect(other.page.locator("#step-title")).to_have_text("Lift the back")
    # Both tabs are tapped in the same moment.
    at_ms = time.time() * 1000 + 1500
    for page in (bench.page, other.page):
        page.evaluate(TAP_AT, [PRESS, at_ms])
    expect(bench.page.locator("#step-title")).to_have_text("Unplug the cell", timeout=PATIENCE_MS)
    bench.strip(waiting="2")
    other.strip(waiting="2")
    net.mend()
    other.page.evaluate("dispatchEvent(new Event('online'))")
    bench.strip(waiting="0", last="confirmed")
    other.strip(waiting="0")
    assert booked(site, number) == [("tick", "warm"), ("tick", "back")]


def test_a_full_tablet_shows_nothing_as_kept(tablet: Tablet, net: Network, site: Site) -> None:
    number = a_job(site)
    context = tablet()
    bench = at_bench(context, number)
    bench.packed()
    context.close()
    # The limit counts from the browser's first look at the storage.
    context = tablet()
    bench = Bench(context.pages[0], number)
    bench.page.goto("/healthz")
    devtools = context.new_cdp_session(bench.page)
    devtools.send("Storage.overrideQuotaForOrigin", {"origin": net.url, "quotaSize": 1})
    net.cut()
    bench.open()
    title = bench.page.locator("#step-title").inner_text()
    bench.page.locator(PRESS).click()
    expect(bench.page.locator(".bench-say.refused")).to_contain_text("storage is full")
    expect(bench.page.locator("#step-title")).to_have_text(title)
    assert violations(bench.page) == []
    bench.strip(waiting="0", last="")
    devtools.send("Storage.overrideQuotaForOrigin", {"origin": net.url})
    bench.tick()
    bench.strip(waiting="1", last="kept")
    net.mend()
    bench.page.evaluate("dispatchEvent(new Event('online'))")
    bench.strip(waiting="0", last="confirmed")
    assert booked(site, number) == [("tick", "warm")]


def test_a_captive_portal_confirms_nothing(tablet: Tablet, net: Network, site: Site) -> None:
    number = a_job(site)
    bench = at_bench(tablet(PORTRAIT, "dark"), number)
    bench.packed()
    net.portal()
    bench.tick()
    bench.tick()
    bench.strip(contact="portal", waiting="2", last="kept")
    assert violations(bench.page) == []
    net.mend()
    bench.page.evaluate("dispatchEvent(new Event('online'))")
    bench.strip(contact="ok", waiting="0", last="confirmed")
    bench.page.goto("/on-this-tablet")
    expect(bench.page.locator("#nothing")).to_be_visible()
    assert booked(site, number) == [("tick", "warm"), ("tick", "back")]


def test_signing_out_keeps_what_waits_for_the_person_who_tapped(tablet: Tablet, net: Network, site: Site) -> None:
    number = a_job(site)
    context = tablet()
    bench = at_bench(context, number)
    bench.packed()
    page = bench.page
    # The entries cannot go, everything else can: a sign-out with work waiting.
    context.route("**/bench/outbox", lambda route: route.abort())
    bench.tick()
    bench.tick()
    bench.strip(waiting="2")
    page.goto("/me")
    page.locator("details.account summary").click()
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in")
    left = page.evaluate(LEFT)
    assert left == {"walks": 0, "pages": 0, "waiting": 2}
    sign_in(page, 1)
    page.goto("/on-this-tablet")
    expect(page.locator("#entries .entry")).to_have_count(2)
    expect(page.locator("#entries .entry").first).to_contain_text(CAST[0][0])
    assert violations(page) == []
    context.unroute("**/bench/outbox")
    page.get_by_role("button", name="Send now").click()
    expect(page.locator("#nothing")).to_be_visible()
    assert booked(site, number) == [("tick", "warm"), ("tick", "back")]
    with site.db.read() as session:
        events = session.exec(select(BenchEvent).where(BenchEvent.device_sequence != None))  # noqa: E711
        assert {event.person_id for event in events} == {1}


def test_trouble_photos_looks_and_pauses_wait_as_well(tablet: Tablet, net: Network, site: Site, tmp_path: Path) -> None:
    number = a_job(site)
    context = tablet(PORTRAIT)
    bench = at_bench(context, number)
    bench.packed()
    page = bench.page
    net.cut()
    bench.tick()
    bench.tick()
    page.get_by_role("button", name="Back", exact=True).click()
    expect(page.locator("#step-title")).to_have_text("Lift the back")

    page.locator("[data-steps]").click()
    page.locator("dialog a", has_text="Take the cell out").click()
    expect(page.locator("#step-title")).to_have_text("Take the cell out")
    assert page.locator(PRESS).count() == 0
    page.get_by_role("link", name="Step in hand", exact=True).click()
    expect(page.locator("#step-title")).to_have_text("Lift the back")
    bench.tick()

    page.locator(".bar a", has_text="Trouble").click()
    page.wait_for_url("**/trouble?step=plug")
    expect(page.locator("body")).to_have_attribute("data-outbox", "on", timeout=PATIENCE_MS)
    page.locator("label", has_text="Damaged").first.click()
    page.select_option("#f-item", "back/screws")
    picture = tmp_path / "thread.png"
    Image.new("RGB", (640, 480), "#8a6a4a").save(picture)
    page.set_input_files("#f-photos", picture)
    page.get_by_role("button", name="Report", exact=True).click()
    expect(page.locator("#kept-note")).to_contain_text("Kept here", timeout=PATIENCE_MS)
    page.get_by_role("link", name="Back to the step").click()
    bench.ready()
    expect(page.locator(".bench-say[data-own=also]")).to_contain_text("1 report, 1 photo")

    page.locator(".bar a", has_text="Pause").click()
    page.get_by_role("button", name="Break").click()
    page.wait_for_url("**/bench")
    bench.ready()
    page.get_by_role("button", name="Resume").click()
    expect(page.locator(PRESS)).to_contain_text("connector")
    bench.strip(waiting="8")
    assert violations(page) == []
    net.mend()
    page.evaluate("dispatchEvent(new Event('online'))")
    bench.strip(waiting="0", last="confirmed")
    kinds = [kind for kind, _step in booked(site, number)]
    assert kinds == ["tick", "tick", "undo", "tick", "damage", "photo", "paused", "opened"]
    # The server's truth is shown: a new screw is needed before the way back.
    expect(page.locator(".bench-say[data-own=also]")).to_have_count(0)


def test_a_cure_blocks_and_ends_without_a_network(tablet: Tablet, net: Network, site: Site) -> None:
    with site.db.write() as session:
        shop = BenchShop(session, 1)
        work = BenchWork(shop, shop.kitted(("cell", "speaker"), "FR-1"))
        work.open()
        work.teardown()
        number = work.number
    context = tablet()
    bench = at_bench(context, number)
    bench.packed()
    page = bench.page
    net.cut()
    while page.locator("#step-title").inner_text() != "Bond the speaker in":
        bench.tick()
    page.clock.install()
    bench.tick()
    while page.locator(PRESS).count():
        bench.tick()
    expect(page.locator(".bar .tick.blocked")).to_contain_text("Ready in")
    page.clock.fast_forward("30:30")
    expect(page.locator(PRESS)).to_be_visible(timeout=PATIENCE_MS)


def test_what_the_server_does_not_take_stays_until_somebody_decides(tablet: Tablet, site: Site) -> None:
    number = a_job(site)
    context = tablet()
    bench = at_bench(context, number)
    bench.packed()
    page = bench.page
    context.route(
        "**/bench/outbox", lambda route: route.fulfill(status=409, json={"detail": "Sent before, otherwise."})
    )
    bench.tick()
    bench.strip(attention="1", waiting="0", last="attention")
    expect(page.locator(".bench-say.refused")).to_contain_text("Sent before, otherwise.")
    context.unroute("**/bench/outbox")
    # The page is at the server's truth again, and what comes later goes on.
    expect(page.locator("#step-title")).to_have_text("Warm the edge")
    bench.tick()
    bench.strip(attention="1", waiting="0")
    page.locator(".link-outbox").click()
    page.wait_for_url("**/on-this-tablet")
    page.get_by_role("button", name="Put aside").click()
    expect(page.locator("#entries .entry")).to_have_attribute("data-state", "aside")
    assert violations(page) == []
    page.get_by_role("button", name="Send again").click()
    expect(page.locator("#nothing")).to_be_visible(timeout=PATIENCE_MS)
    assert booked(site, number) == [("tick", "warm"), ("also", "warm")]


def test_without_a_secure_address_taps_are_kept_while_the_page_is_open(
    tablet: Tablet, net: Network, site: Site
) -> None:
    number = a_job(site)
    plain = net.url.replace("127.0.0.1", "tablet.test")
    page = tablet(address=plain).pages[0]
    sign_in(page)
    bench = Bench(page, number)
    bench.open()
    assert page.evaluate("[isSecureContext, 'serviceWorker' in navigator]") == [False, False]
    expect(page.locator(".link-contact")).to_contain_text("in this page only")
    expect(page.locator("body")).to_have_attribute("data-at", "down:warm", timeout=PATIENCE_MS)
    net.cut()
    bench.tick()
    bench.tick()
    bench.strip(contact="none", waiting="2", last="kept")
    net.mend()
    page.evaluate("dispatchEvent(new Event('online'))")
    bench.strip(waiting="0", last="confirmed")
    page.goto("/on-this-tablet")
    expect(page.locator("#not-secure")).to_be_visible()
    assert booked(site, number) == [("tick", "warm"), ("tick", "back")]


LEFT = """async () => {
  const store = await new Promise(done => {
    const r = indexedDB.open('countback'); r.onsuccess = () => done(r.result) });
  const all = name => new Promise(done => {
    const r = store.transaction(name).objectStore(name).getAll(); r.onsuccess = () => done(r.result) });
  const [walks, entries] = [await all('walks'), await all('outbox')];
  store.close();
  const pages = (await caches.keys()).filter(name => name.startsWith('countback-pages'));
  return { walks: walks.length, pages: pages.length, waiting: entries.filter(e => e.state === 'waiting').length };
}"""
