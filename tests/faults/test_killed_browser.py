"""The browser is killed with SIGKILL in the middle of ticking: what it showed as kept is confirmed later."""

import os
import signal
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Error, Page, Playwright, expect, sync_playwright
from sqlmodel import col, select

from app.jobs.models import BenchEvent, Job
from app.platform.db import Database
from tests.browser.conftest import FLAGS, LANDSCAPE, chromium_path
from tests.browser.test_offline import PATIENCE_MS, PRESS, STRIP, packed
from tests.faults import workshop
from tests.faults.agreement import project_faults
from tests.faults.conftest import Rig
from tests.faults.workshop import Bench

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("browser")]

# What the page shows goes out of the browser the moment it is shown.
TELL = """for (const what of ["kept", "confirmed"])
  document.addEventListener("countback:" + what, (event) =>
    event.detail.elsewhere || console.info("ledger " + what + " " + event.detail.id));"""
# Somebody who ticks as fast as the page lets them.
TICKING = """press => setInterval(() => document.querySelector(press)?.click(), 40)"""


@dataclass
class Tablet:
    """A browser on a profile that outlives it, and what it showed: ids as kept, ids as confirmed."""

    playwright: Playwright
    profile: Path
    url: str
    kept: set[str] = field(default_factory=set)
    confirmed: set[str] = field(default_factory=set)
    context: BrowserContext | None = None

    def start(self) -> Page:
        """Start it on its profile."""
        self.context = self.playwright.chromium.launch_persistent_context(
            str(self.profile), executable_path=chromium_path(), args=FLAGS, base_url=self.url,
            viewport={"width": LANDSCAPE[0], "height": LANDSCAPE[1]},
        )  # fmt: skip
        self.context.set_default_timeout(PATIENCE_MS)
        self.context.add_init_script(TELL)
        page = self.context.pages[0]
        page.on("console", lambda message: self._heard(message.text))
        return page

    def cookie(self, name: str, value: str) -> Any:
        """Return a cookie that lasts for a day."""
        lasts = time.time() + 86400
        return {"name": name, "value": value, "url": self.url, "expires": lasts, "httpOnly": True, "sameSite": "Lax"}

    def _heard(self, words: str) -> None:
        if words.startswith("ledger "):
            _, what, entry_id = words.split()
            (self.kept if what == "kept" else self.confirmed).add(entry_id)

    def kill(self) -> None:
        """SIGKILL to every process of the browser on this profile."""
        for pid in _processes(str(self.profile)):
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        deadline = time.monotonic() + 20
        while _processes(str(self.profile)) and time.monotonic() < deadline:
            time.sleep(0.02)
        self.close()

    def close(self) -> None:
        """Close it as its user does, if there is still anything to close."""
        if self.context:
            with suppress(Error):
                self.context.close()
            self.context = None


def _processes(mark: str) -> list[int]:
    """Return the ids of the running processes whose command line names a profile."""
    found = []
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit() and int(folder.name) != os.getpid():
            with suppress(OSError):
                words = (folder / "cmdline").read_bytes()
                if mark.encode() in words and b"--user-data-dir" in words:
                    found.append(int(folder.name))
    return found


@contextmanager
def tablet(profile: Path, url: str, bench: Bench) -> Iterator[Tablet]:
    """A tablet on which the technician signed in some time ago."""
    with sync_playwright() as playwright:
        made = Tablet(playwright, profile, url)
        made.start()
        assert made.context
        made.context.add_cookies(
            [made.cookie("countback", bench.cookie), made.cookie("countback-tablet", bench.tablet)]
        )
        made.close()
        yield made
        made.close()


def stored(db: Database, number: str) -> list[tuple[str, str, str]]:
    """Return id, kind and step of all that came from tablets for a job, in order."""
    with db.read() as session:
        job = session.exec(select(Job.id).where(Job.number == number)).one()
        rows = session.exec(
            select(BenchEvent.event_id, BenchEvent.kind, BenchEvent.step)
            .where(col(BenchEvent.job_id) == job, col(BenchEvent.device_id).is_not(None))
            .order_by(col(BenchEvent.id))
        ).all()
    return [(entry_id, kind, step or "") for entry_id, kind, step in rows]


def ready(page: Page, number: str) -> None:
    """Open the job; wait until the page's script works."""
    page.goto(f"/jobs/{number}/bench")
    expect(page.locator("body")).to_have_attribute("data-outbox", "on", timeout=PATIENCE_MS)


def tick_and_kill(rig: Rig, own: Tablet, number: str, chance: Random, served: bool) -> None:
    """Tick until some taps are kept, then kill the browser; with ``served`` false the server is killed before."""
    page = own.context.pages[0] if own.context else own.start()
    ready(page, number)
    if page.locator(PRESS).count() == 0:
        page.locator("form[data-outbox=open] button").first.click()
    packed(page, number)
    if not served:
        rig.server.kill()
    wanted = len(own.kept) + chance.randint(2, 3)
    page.evaluate(TICKING, PRESS)
    deadline = time.monotonic() + PATIENCE_MS / 1000
    while len(own.kept) < wanted and time.monotonic() < deadline:
        page.wait_for_timeout(chance.uniform(1, 25))
    own.kill()
    assert len(own.kept) >= wanted
    assert own.confirmed <= {row[0] for row in stored(rig.db, number)}
    if not served:
        rig.server.start()


def everything_kept_is_confirmed(rig: Rig, own: Tablet, number: str) -> None:
    """Start the browser again; once nothing waits, all that was ever shown as kept is stored, once."""
    page = own.start()
    ready(page, number)
    expect(page.locator(STRIP)).to_have_attribute("data-waiting", "0", timeout=PATIENCE_MS)
    rows = stored(rig.db, number)
    times = Counter(row[0] for row in rows)
    assert {entry_id: times[entry_id] for entry_id in own.kept if times[entry_id] != 1} == {}
    own.kept.clear()
    own.confirmed.clear()
    ticked = Counter((kind, step) for _id, kind, step in rows)
    assert not [row for row in rows if row[1] in ("also", "question")]
    assert max(n for (kind, step), n in ticked.items() if kind == "tick") <= 2  # Down, and up.


def test_what_a_killed_browser_showed_as_kept_is_confirmed(
    sqlite_rig: Rig, tmp_path: Path, pytestconfig: pytest.Config
) -> None:
    rig = sqlite_rig
    if chromium_path() is None:
        reason = "NO CHROMIUM FOUND: no browser was killed. Install chromium or set COUNTBACK_CHROMIUM."
        pytest.fail(reason) if os.environ.get("COUNTBACK_REQUIRE_BROWSER") else pytest.skip(reason)
    cycles = 40 if pytestconfig.getoption("--long") else 2
    bench = workshop.benches(rig.db, 1, cycles)[0]
    rig.server.start()

    def run() -> None:
        chance = Random(7)
        with tablet(tmp_path / "profile", f"http://127.0.0.1:{rig.server.port}", bench) as own:
            for cycle, job in enumerate(bench.jobs):
                tick_and_kill(rig, own, job.number, chance, served=cycle % 2 == 0)
                everything_kept_is_confirmed(rig, own, job.number)

    # In a thread of its own: other browser tests have theirs open in this one.
    with ThreadPoolExecutor(1) as pool:
        pool.submit(run).result()
    assert project_faults(rig.db) == []
