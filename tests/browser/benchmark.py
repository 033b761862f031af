"""Figures of the bench page, printed: first load, tap to paint, Lighthouse. ``python -m tests.browser.benchmark``

No test: the times belong to a machine. First load counts what the network carries until the page is loaded with an
empty cache, drawings apart. Tap to paint runs under a four times slower processor, from the lift of the finger to the
end of the frame that shows the next step; the write to the tablet's disk is in it. Lighthouse 12.2.3 comes from npm
where there is a network.
"""

import gzip
import json
import os
import re
import shutil
import statistics
import subprocess
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, sync_playwright

from app.demo.history import make_history
from app.main import build_app
from app.platform import clock
from app.platform.db import Database
from app.platform.migrations import upgrade
from app.platform.settings import Settings
from tests.browser.conftest import FLAGS, LANDSCAPE, chromium_path
from tests.browser.demo import DemoSite, sign_in_as
from tests.live import serve

LIGHTHOUSE = "lighthouse@12.2.3"
CATEGORIES = ("performance", "accessibility", "best-practices")
SLOWER = 4
TAPS = 7

# Notes for each tap how long it took from the lift of the finger until the frame with the new step was rendered: a
# message sent in a frame's callback arrives when the frame is done.
WATCH_TAPS = """() => {
  window.taps = []; let lifted = 0;
  addEventListener('pointerup', event => { lifted = event.timeStamp }, true);
  document.addEventListener('countback:painted', () => {
    if (!lifted) return;
    const from = lifted, after = new MessageChannel(); lifted = 0;
    after.port1.onmessage = () => taps.push(performance.now() - from);
    requestAnimationFrame(() => after.port2.postMessage(0));
  });
  window.events = [];
  const clicks = list => list.getEntries().filter(entry => entry.name === 'click').map(entry => entry.duration);
  new PerformanceObserver(list => events.push(...clicks(list))).observe({ type: 'event', durationThreshold: 16 });
}"""


def main() -> None:
    """Build a small demo workshop, measure, print."""
    with tempfile.TemporaryDirectory(prefix="countback-bench-") as folder:
        settings = Settings(site_name="Marevind device workshop", data_dir=Path(folder), demo=True)
        db = Database(f"sqlite:///{folder}/countback.db")
        upgrade(db)
        make_history(db, settings, jobs=40, seed=7, until=clock.now(), progress=lambda _n, _of: None)
        with serve(build_app(settings, db)) as url, sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium_path(), args=FLAGS)
            site = DemoSite(url, db, settings)
            context = browser.new_context(viewport={"width": LANDSCAPE[0], "height": LANDSCAPE[1]})
            page = context.new_page()
            sign_in_as(page, site)
            address = open_job(page, url)
            cookies = "; ".join(f"{c['name']}={c['value']}" for c in context.cookies())
            first_load(page, address)
            tap_to_paint(page, address)
            browser.close()
            lighthouse(address, cookies, Path(folder))
        db.dispose()


def open_job(page: Page, url: str) -> str:
    """Open the technician's job at the bench and return its address."""
    page.goto(url)
    page.locator("form[action$='/bench/open'] button").first.click()
    page.wait_for_url("**/bench")
    return page.url


def first_load(page: Page, address: str) -> None:
    """Print the bytes on the wire until the page is loaded, with an empty cache."""
    devtools = page.context.new_cdp_session(page)
    devtools.send("Network.enable")
    devtools.send("Network.clearBrowserCache")
    sizes: dict[str, int] = {}
    names: dict[str, str] = {}
    heads: dict[str, int] = {}

    def answered(event: dict[str, Any]) -> None:
        names[event["requestId"]] = event["response"]["url"]
        heads[event["response"]["url"]] = int(event["response"]["encodedDataLength"])

    devtools.on("Network.responseReceived", answered)
    devtools.on("Network.loadingFinished", lambda e: sizes.update({e["requestId"]: int(e["encodedDataLength"])}))
    page.evaluate("navigator.serviceWorker.getRegistrations().then(all => Promise.all(all.map(r => r.unregister())))")
    page.goto(address, wait_until="load")
    page.evaluate("document.fonts.ready")
    page.wait_for_selector("body[data-outbox=on]")
    first = {names[key]: size for key, size in sizes.items() if key in names}
    page.wait_for_timeout(3000)
    later = {names[key]: size for key, size in sizes.items() if key in names and names[key] not in first}
    html = page.request.get(address).text()
    bare = re.sub(r'(<div class="bench-drawing[^>]*>)\s*<svg.*?</svg>', r"\1", html, count=1, flags=re.DOTALL)
    drawing = len(gzip.compress(html.encode(), 5)) - len(gzip.compress(bare.encode(), 5))
    asked = {name: size for name, size in first.items() if not re.search(r"/walk$|/healthz$", name)}
    asked = {name: max(size - heads[name], 0) for name, size in asked.items()}
    for name, size in sorted(asked.items(), key=lambda pair: -pair[1]):
        print(f"  {size:7d}  {re.sub(r'^https?://[^/]+', '', name)}")
    total, headers = sum(asked.values()), sum(heads[name] for name in asked)
    print(
        f"first load: {(total - drawing) / 1000:.1f} kB compressed with fonts in {len(asked)} answers; apart from it "
        f"the drawing of {drawing / 1000:.1f} kB and {headers / 1000:.1f} kB of headers"
    )
    rest = sum(later.values()) + sum(first[name] for name in first.keys() - asked.keys())
    print(f"afterwards: {rest / 1000:.1f} kB (the walk with all its drawings, in the background)")


def tap_to_paint(page: Page, address: str) -> None:
    """Print how long the next step takes to appear after a tap, on a processor four times slower."""
    page.goto(address)
    page.wait_for_selector("body[data-outbox=on]")
    page.wait_for_timeout(1500)
    page.evaluate(WATCH_TAPS)
    devtools = page.context.new_cdp_session(page)
    for cut in (False, True):
        page.context.set_offline(cut)
        devtools.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
        page.evaluate("taps.length = events.length = 0")
        for _ in range(TAPS):
            tick = page.locator(".bar button.tick:not([disabled])")
            if not tick.count():
                break
            tick.click()
            page.wait_for_timeout(700)
        taps = sorted(page.evaluate("taps"))
        devtools.send("Emulation.setCPUThrottlingRate", {"rate": 1})
        where = "without a network" if cut else "with a network"
        if taps:
            median, worst = statistics.median(taps), taps[-1]
            print(
                f"tap to paint, {SLOWER}x slower, {where}: median {median:.0f} ms, worst {worst:.0f} ms of {len(taps)}"
            )
        events = sorted(page.evaluate("events"))
        if events:
            print(f"  event timing of the click: median {statistics.median(events):.0f} ms, worst {events[-1]:.0f} ms")
    page.context.set_offline(False)


def lighthouse(address: str, cookies: str, folder: Path) -> None:
    """Print Lighthouse's scores of the bench page, or why it did not run."""
    npx = shutil.which("npx")
    if npx is None:
        print("Lighthouse: no npx on this machine")
        return
    headers = folder / "headers.json"
    headers.write_text(json.dumps({"Cookie": cookies}))
    for look in ("mobile", "desktop"):
        report = folder / f"{look}.json"
        command = [
            npx, "--yes", LIGHTHOUSE, address, "--quiet", "--output=json", f"--output-path={report}",
            f"--only-categories={','.join(CATEGORIES)}", f"--extra-headers={headers}", "--max-wait-for-load=15000",
            "--chrome-flags=" + " ".join(FLAGS),
        ]  # fmt: skip
        command += ["--preset=desktop"] if look == "desktop" else []
        environment = {**os.environ, "CHROME_PATH": chromium_path() or ""}
        done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment, timeout=240)
        if done.returncode or not report.is_file():
            print(f"Lighthouse ({look}) did not run: {done.stderr.strip()[-400:]}")
            return
        show(look, json.loads(report.read_text()))


def show(look: str, report: dict[str, Any]) -> None:
    """Print the scores, and what kept one from being full."""
    scores = {name: round(100 * (report["categories"][name]["score"] or 0)) for name in CATEGORIES}
    print(f"Lighthouse {report['lighthouseVersion']} ({look}): " + ", ".join(f"{k} {v}" for k, v in scores.items()))
    for name in CATEGORIES:
        for part in report["categories"][name]["auditRefs"]:
            audit = report["audits"][part["id"]]
            if part["weight"] and audit["score"] is not None and audit["score"] < 0.9:
                print(f"  {name}: {audit['title']} {audit.get('displayValue', '')}")


if __name__ == "__main__":
    main()
