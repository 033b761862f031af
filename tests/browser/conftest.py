"""A live server and a real Chromium. Without a Chromium the tests skip loudly, or fail where one is required."""

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from zlib import crc32

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from app.main import build_app
from app.platform.db import Database
from app.platform.settings import Settings
from tests.browser.demo import demo_file, demo_site, open_page, own_demo_site
from tests.conftest import CAST
from tests.jobs.bench_shop import set_up
from tests.live import serve
from tests.visitor import TABLET_TOKEN

__all__ = ["demo_file", "demo_site", "open_page", "own_demo_site"]

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
LANDSCAPE, PORTRAIT, DESK = (1180, 820), (820, 1180), (1440, 900)
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark the browser tests and keep those of a file together, in two groups that each start a browser."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)
            half = crc32(item.path.name.encode()) % 2
            item.add_marker(pytest.mark.xdist_group(f"browser-{half}"))


def chromium_path() -> str | None:
    """Return an installed Chromium, or None."""
    named = os.environ.get("COUNTBACK_CHROMIUM")
    found = [named] if named else [shutil.which(name) for name in NAMES]
    return next((path for path in found if path), None)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A Chromium for all browser tests."""
    path = chromium_path()
    if path is None:
        reason = "NO CHROMIUM FOUND: the browser tests did not run. Install chromium or set COUNTBACK_CHROMIUM."
        if os.environ.get("COUNTBACK_REQUIRE_BROWSER"):
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield launched
        launched.close()


@dataclass
class Site:
    """A running workshop with stock and the field recorder's procedure, and its database."""

    url: str
    db: Database


@pytest.fixture
def site(sqlite_template: Path, tmp_path: Path) -> Iterator[Site]:
    """Serve a fresh workshop on a free loopback port."""
    path = tmp_path / "countback.db"
    shutil.copyfile(sqlite_template, path)
    db = Database(f"sqlite:///{path}")
    with db.write() as session:
        set_up(session)
    with serve(build_app(Settings(site_name="Test workshop", data_dir=tmp_path), db)) as url:
        yield Site(url, db)
    db.dispose()


SignedIn = Callable[..., Page]


@pytest.fixture
def sign_in(browser: Browser, site: Site) -> Iterator[SignedIn]:
    """Return a function that gives a page on which a member of the cast is signed in; console errors fail the test."""
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def signed_in(who: str = "technician", size: tuple[int, int] = LANDSCAPE, theme: str = "light") -> Page:
        name, _role, secret = CAST[{"technician": 0, "second": 1, "stores": 2, "supervisor": 3}[who]]
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            color_scheme="dark" if theme == "dark" else "light",
            base_url=site.url,
        )
        contexts.append(context)
        context.add_cookies([{"name": "countback-tablet", "value": TABLET_TOKEN, "url": site.url}])
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda m: complaints.append(m.text) if "Content Security Policy" in m.text else None)
        page.goto("/sign-in")
        page.fill("input[name=name]", name)
        page.fill("input[name=secret]", secret)
        page.locator("main form button.button").first.click()
        page.wait_for_url(lambda url: "/sign-in" not in url)
        if theme == "contrast":
            page.goto("/me")
            page.locator("main button[name=theme][value=contrast]").click()
            page.wait_for_selector("html[data-theme=contrast]")
        return page

    yield signed_in
    for context in contexts:
        context.close()
    assert not complaints, complaints


def violations(page: Page) -> list[str]:
    """Return what axe finds against WCAG 2.2 AA on the page as it is shown, one line a rule."""
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": WCAG}})
    return [f"{v['id']}: {v['help']} at {[n['target'] for n in v['nodes']][:3]}" for v in found.response["violations"]]
