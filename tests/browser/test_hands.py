"""Hands busy: keys and pedals, scanners that type, the camera, tones, the screen that stays on, targets for gloves."""

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import segno
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize, expect

from app.main import build_app
from app.platform.clock import uuid7
from app.platform.db import Database
from app.platform.settings import Settings
from app.rules.scan_codes import MISREAD, job_code, lot_code, shelf_code, tray_code
from tests.browser.conftest import FLAGS, LANDSCAPE, PORTRAIT, Site, chromium_path, violations
from tests.conftest import CAST
from tests.jobs.bench_shop import BenchShop, set_up
from tests.jobs.bench_work import BenchWork, entries_of
from tests.live import serve
from tests.visitor import TABLET_TOKEN

# 96 CSS pixels to the inch of 25.4 mm.
MM = 96 / 25.4
SETTINGS = "countback-hands"
WIDE = ViewportSize(width=LANDSCAPE[0], height=LANDSCAPE[1])


@pytest.fixture(scope="module")
def site(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """One workshop for all these tests; each books jobs of its own."""
    folder = tmp_path_factory.mktemp("hands")
    shutil.copyfile(sqlite_template, folder / "countback.db")
    db = Database(f"sqlite:///{folder / 'countback.db'}")
    with db.write() as session:
        set_up(session, 200)
    with serve(build_app(Settings(site_name="Test workshop", data_dir=folder), db)) as url:
        yield Site(url, db)
    db.dispose()


@pytest.fixture(scope="module")
def tablet(browser: Browser, site: Site) -> Iterator[Page]:
    """A tablet on which the technician is signed in, in landscape; script errors fail the tests."""
    context = browser.new_context(viewport=WIDE, base_url=site.url)
    page, complaints = sign_in_on(context, site)
    yield page
    context.close()
    assert complaints == []


@pytest.fixture
def page(tablet: Page) -> Page:
    """The tablet as if it were new: it has learnt nothing."""
    tablet.set_viewport_size(WIDE)
    tablet.goto("/scan")
    tablet.evaluate("localStorage.clear()")
    return tablet


def sign_in_on(context: BrowserContext, site: Site) -> tuple[Page, list[str]]:
    """Sign the technician in on an enrolled tablet; returns the page, and what its scripts complain of."""
    context.add_cookies([{"name": "countback-tablet", "value": TABLET_TOKEN, "url": site.url}])
    page, complaints = context.new_page(), list[str]()
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda m: complaints.append(m.text) if "Content Security Policy" in m.text else None)
    name, _role, secret = CAST[0]
    page.goto("/sign-in")
    page.fill("input[name=name]", name)
    page.fill("input[name=secret]", secret)
    page.locator("main form button.button").first.click()
    page.wait_for_url(lambda url: "/sign-in" not in url)
    return page, complaints


def work_at(site: Site, *, up: bool = False) -> BenchWork:
    """A job open at the bench; with ``up`` its teardown is done and the cell is laid in next."""
    with site.db.write() as session:
        work = BenchWork(BenchShop(session, 1), "")
        work.number = work.shop.kitted(("cell",), f"FR-{uuid7()[-6:]}")
        work.open()
        if up:
            work.teardown()
    return work


def at_bench(page: Page, number: str) -> Page:
    """Open the bench page and wait until its script has it in hand."""
    page.goto(f"/jobs/{number}/bench")
    page.wait_for_function("() => document.body.dataset.outbox === 'on'")
    return page


def teach(page: Page, **settings: object) -> None:
    """Keep settings on the tablet as the page of keys does."""
    kept = json.dumps({"keys": {}, "prefix": [], **settings})
    page.evaluate("([place, kept]) => localStorage.setItem(place, kept)", [SETTINGS, kept])


def scan(page: Page, code: str, prefix: str = "F8", end: str = "Enter") -> None:
    """Type as a scanner does: its prefix, the code, its end, without a pause."""
    if prefix:
        page.keyboard.press(prefix)
    page.keyboard.type(code)
    if end:
        page.keyboard.press(end)


def title(page: Page) -> str:
    return page.locator("#step-title").inner_text()


def press(page: Page, key: str, wait_ms: int = 350) -> None:
    page.wait_for_timeout(wait_ms)
    page.keyboard.press(key)


def ticks(site: Site, number: str) -> int:
    return len(entries_of(site.db, number, "tick"))


def test_a_key_is_learnt_and_presses_the_tick_once_however_long_it_is_held(page: Page, site: Site) -> None:
    number = work_at(site).number
    page.goto("/bench/keys")
    say = page.locator("#learn-say")
    page.get_by_role("button", name="Learn a key for Tick").click()
    page.keyboard.press("Escape")
    assert say.inner_text() == "Nothing was changed."
    page.get_by_role("button", name="Learn a key for Tick").click()
    page.keyboard.press("Enter")
    assert "press Enter once more to use it all the same" in say.inner_text()
    page.keyboard.press("PageDown")
    assert "Tick is now PageDown" in say.inner_text()
    page.get_by_role("button", name="Learn a key for Back").click()
    page.keyboard.press("PageDown")
    assert "PageDown is the key for Tick" in say.inner_text()
    page.keyboard.press("PageUp")
    test_field = page.locator("#test-field")
    test_field.click()
    page.keyboard.press("PageDown")
    page.keyboard.press("PageUp")
    assert test_field.locator("li").all_inner_texts() == ["Too soon after the last: ignored", "Tick"]
    assert violations(page) == []

    at_bench(page, number)
    first = title(page)
    page.wait_for_timeout(350)
    for _ in range(5):  # Held down: the browser says `repeat` from the second one on.
        page.keyboard.down("PageDown")
    page.keyboard.up("PageDown")
    page.keyboard.press("PageDown")  # A bouncing pedal, well within 300 ms.
    page.wait_for_function("first => document.getElementById('step-title').textContent !== first", arg=first)
    page.wait_for_timeout(250)
    assert ticks(site, number) == 1
    press(page, "PageUp")
    page.wait_for_function("first => document.getElementById('step-title').textContent === first", arg=first)


def test_enter_and_space_press_nothing_by_themselves_and_keys_rest_in_a_text_field(page: Page, site: Site) -> None:
    number = work_at(site, up=True).number
    at_bench(page, number)
    teach(page, keys={"tick": "KeyT"})
    before = ticks(site, number)
    page.locator(".step .do").click()
    for key in ("Enter", "Space", "a"):
        press(page, key)
    field = page.locator("input[name=old_serial]")
    field.click()
    page.keyboard.type("TT-7")
    assert field.input_value() == "TT-7"
    page.wait_for_timeout(200)
    assert ticks(site, number) == before
    assert title(page) == "Lay the cell in"


def test_a_scanner_is_learnt_by_one_of_our_labels(page: Page, site: Site) -> None:
    number = work_at(site).number
    page.goto("/bench/keys")
    say = page.locator("#learn-say")
    learn = page.get_by_role("button", name="Learn by a scan")
    learn.click()
    scan(page, job_code(number), prefix="")
    assert "sends nothing before it" in say.inner_text()
    scan(page, "4006381333931")
    assert "not one of our labels" in say.inner_text()
    scan(page, job_code(number))
    assert "The scanner sends F8 before a code." in say.inner_text()
    page.locator("#test-field").click()
    scan(page, tray_code(number, 1), end="")  # A scanner that ends with nothing: a pause is the end.
    page.get_by_text(f"Scanner: tray {number}, pocket 1").wait_for()
    page.goto("/jobs")
    scan(page, job_code(number))
    page.wait_for_url(f"**/jobs/{number}/bench")
    page.goto("/jobs")
    scan(page, shelf_code("B-01"))
    page.wait_for_url("**/parts?location=B-01")


def test_a_scanned_lot_is_confirmed_on_its_line_and_goes_with_the_tick(page: Page, site: Site) -> None:
    number = work_at(site, up=True).number
    at_bench(page, number)
    teach(page, prefix=["F8"])
    before, say = ticks(site, number), page.locator(".hand-say")
    strip = page.locator('li[data-part="F-320"]')

    page.locator(".tick").focus()  # What has the focus must not feel the scanner's Enter.
    scan(page, lot_code("F-310", "L-F-310"))
    assert say.inner_text() == "Caution. F-310 does not go in at this step. Nothing was ticked."
    scan(page, lot_code("F-320", "L-77"))
    assert "Lot L-77 of F-320 is not in this job's hands (in hand: L-F-320)." in say.inner_text()
    assert say.get_attribute("data-kind") == "refused"
    wrong = lot_code("F-320", "L-F-320")
    scan(page, wrong[:-1] + ("A" if wrong[-1] != "A" else "B"))
    assert say.inner_text() == f"Refused. {MISREAD}"
    scan(page, tray_code("J000999", 3))
    assert "pocket 3 of job J000999. It does not belong here." in say.inner_text()
    scan(page, wrong, prefix="")  # Without what it should send first: nothing, and its Enter presses nothing.
    assert "without what it was taught to send first" in say.inner_text()
    assert page.locator("input[name=scanned]").count() == 0

    scan(page, wrong)
    assert "F-320, lot L-F-320: it goes in with the tick." in say.inner_text()
    assert "Scanned: lot L-F-320" in strip.inner_text()
    assert ticks(site, number) == before
    assert violations(page) == []
    page.locator(".tick").click()
    page.wait_for_function("() => document.getElementById('step-title').textContent !== 'Lay the cell in'")
    page.wait_for_function("() => document.querySelector('[data-strip]').dataset.last === 'confirmed'")
    assert entries_of(site.db, number, "tick")[-1].data["scanned"] == [["F-320", "L-F-320"]]
    assert page.locator("input[name=scanned]").count() == 0


def test_the_tablet_reads_codes_as_the_server_does(page: Page, site: Site) -> None:
    page.goto("/scan")
    lots = ["L1", "lower-CASE", "a/b c_d.e", "X-XX", "üß漢", "0O1I"]
    codes = [lot_code("F-310", lot) for lot in lots]
    module = page.locator("script[data-reader]").get_attribute("src")
    assert module is not None
    read = page.evaluate(
        "async ([at, codes]) => { const { readLabel } = await import(at); return codes.map(readLabel); }",
        [module.replace("scan.js", "label.js"), [*codes, "CBLX", codes[0][:-1] + "-", job_code("J000001")[:-1] + "Z"]],
    )
    assert [label.get("lot") for label in read[: len(lots)]] == lots
    assert all("error" in label for label in read[len(lots) :])


def test_tones_follow_the_persons_choice_and_the_screen_stays_on(page: Page, site: Site) -> None:
    number = work_at(site).number
    page.add_init_script(
        "navigator.wakeLock.request = async () => { window.asked = (window.asked || 0) + 1;"
        " return { released: true, addEventListener() {} }; }"
    )
    at_bench(page, number)
    assert page.evaluate("window.asked") == 1
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    assert page.evaluate("window.asked") == 2
    root = page.locator("html")
    for kind in ("kept", "confirmed", "caution", "refused"):
        page.evaluate("k => document.dispatchEvent(new CustomEvent('countback:' + k, { detail: {} }))", kind)
        assert root.get_attribute("data-last-tone") == kind
        assert page.locator(f".hand-sign[data-kind={kind}] use").count() == 1
    page.evaluate("document.documentElement.dataset.tones = 'off'")
    page.evaluate("document.dispatchEvent(new CustomEvent('countback:kept', { detail: {} }))")
    assert root.get_attribute("data-last-tone") == ""
    assert page.locator(".hand-sign[data-kind=kept]").count() == 1  # Seen all the same.


# What a finger can hit of each control, in px across its middle both ways: of a box in a label, the label. Places on
# the drawing apart, as the drawing says how near they lie.
MEASURE = """() => {
  const own = "a[href], button, input:not([type=hidden]), select, textarea, summary";
  const apart = ".skip, .place, [data-place], details:not([open]) > :not(summary)";
  const measured = (element) => {
    const target = element.closest("label") || element;
    target.scrollIntoView({ block: "center" });
    const box = target.getBoundingClientRect();
    const middle = [box.left + box.width / 2, box.top + box.height / 2];
    const hits = (x, y) => {
      const hit = document.elementFromPoint(x, y);
      return !!hit && (target.contains(hit) || hit.closest(own) === element);
    };
    const reach = (dx, dy) => {
      let n = 0;
      while (n < 200 && hits(middle[0] + dx * (n + 2), middle[1] + dy * (n + 2))) n += 2;
      return n;
    };
    const words = (target.textContent || "").trim().replace(/\\s+/g, " ").slice(0, 40);
    const [width, height] = [reach(-1, 0) + reach(1, 0) + 1, reach(0, -1) + reach(0, 1) + 1];
    return [words || element.name || element.className, width, height, element.matches(".tick")];
  };
  return [...document.querySelectorAll(own)]
    .filter((element) => !element.closest(apart) && element.checkVisibility({ visibilityProperty: true }))
    .filter((element) => getComputedStyle(element).pointerEvents !== "none")
    .map(measured);
}"""


@pytest.mark.parametrize("size", [LANDSCAPE, PORTRAIT], ids=["landscape", "portrait"])
def test_every_target_is_large_enough_for_a_glove(page: Page, site: Site, size: tuple[int, int]) -> None:
    # The contract: 20 mm for the tick, 15 mm for all else; gloved keys are 19 mm in MIL-STD-1472E.
    down = work_at(site).number
    with site.db.write() as session:
        up = BenchWork(BenchShop(session, 1), "")
        up.number = up.shop.kitted(("cell",), f"FR-{uuid7()[-6:]}")
        up.open()
        up.teardown()
        up.report("spoiled", "cell/strips", count=1)
    page.set_viewport_size({"width": size[0], "height": size[1]})
    small, seen = [], 0
    for path in (f"{down}/bench", f"{up.number}/bench", f"{up.number}/bench/pause", f"{up.number}/trouble"):
        page.goto(f"/jobs/{path}")
        page.wait_for_timeout(300)
        for words, width, height, tick in page.evaluate(MEASURE):
            seen += 1
            least = (20 if tick else 15) * MM
            if min(width, height) < least - 1:
                small.append(f"{path}: {words}: {width} × {height} px")
    assert small == []
    assert seen > 40


def test_a_tap_on_the_rail_opens_all_steps_as_large_rows(page: Page, site: Site) -> None:
    number = work_at(site).number
    at_bench(page, number)
    page.get_by_role("button", name="Show all steps").click()
    rows = page.locator(".steps-dialog li a")
    expect(rows).to_have_count(page.locator(".bench-rail .level").count())
    assert all((row.bounding_box() or {"height": 0})["height"] >= 15 * MM for row in rows.all())
    assert violations(page) == []
    rows.nth(2).click()
    page.wait_for_function("() => document.querySelector('.kicker').textContent.includes('not next')")
    expect(page.locator(".steps-dialog")).to_have_count(0)


def test_the_camera_reads_a_label_and_lets_go_of_the_picture(browser: Browser, site: Site, tmp_path: Path) -> None:
    number = work_at(site).number
    film = camera_film(tmp_path, job_code(number))
    flags = [*FLAGS, "--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"]
    flags.append(f"--use-file-for-fake-video-capture={film}")
    seeing = browser.browser_type.launch(executable_path=chromium_path(), args=flags)
    context = seeing.new_context(viewport=WIDE, base_url=site.url)
    page, complaints = sign_in_on(context, site)
    fetched: list[str] = []
    page.on("request", lambda r: fetched.append(r.url))
    page.goto("/jobs")
    assert not [url for url in fetched if "zxing" in url]
    page.locator("[data-scan]").click()
    page.get_by_role("dialog").wait_for()
    page.wait_for_url(f"**/jobs/{number}/bench", timeout=15000)
    assert [url for url in fetched if "zxing-reader.wasm" in url]
    assert complaints == []
    seeing.close()


def camera_film(folder: Path, code: str) -> Path:
    """Write a film of one frame, 640 × 480, with a label lying in it: what a camera would see."""
    picture = folder / "code.png"
    segno.make(code, error="m", micro=False).save(str(picture), scale=8, border=4)
    frame = Image.new("L", (640, 480), 150)
    label = Image.open(picture).convert("L").rotate(7, expand=True, fillcolor=150)
    frame.paste(label, ((640 - label.width) // 2, (480 - label.height) // 2))
    film = folder / "label.y4m"
    grey = bytes([128]) * (320 * 240)
    film.write_bytes(b"YUV4MPEG2 W640 H480 F15:1 Ip A1:1 C420\n" + (b"FRAME\n" + frame.tobytes() + grey * 2) * 5)
    return film
