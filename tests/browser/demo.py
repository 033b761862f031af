"""The demo workshop on a live server, for browser tests that look at many pages with work on them.

``demo_site`` is shared by all tests of a run: leave its jobs in peace. ``own_demo_site`` is a fresh copy for one
test. ``open_page`` gives pages of any size and theme, signed in or not.
"""

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from app.demo.history import make_history
from app.main import build_app
from app.people.demo_staff import demo_sign_ins
from app.platform import clock
from app.platform.db import Database
from app.platform.migrations import upgrade
from app.platform.settings import Settings
from tests.live import serve

TABLET = (1180, 820)
DEMO_JOBS = 40
# The demo's staff in the order of their file; the first technician has a job open, ready to tick.
PLACES = {"technician": 0, "second": 1, "stores": 4, "supervisor": 5}

Theme = Literal["light", "dark"]
OpenPage = Callable[..., Page]


@dataclass(frozen=True)
class DemoSite:
    """A live demo workshop: where it is, and its database for looking behind the pages."""

    url: str
    db: Database
    settings: Settings


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file with a small demo workshop: a year, few jobs, one at every stage."""
    path = tmp_path_factory.mktemp("demo") / "countback.db"
    db = Database(f"sqlite:///{path}")
    upgrade(db)
    until = clock.now() - timedelta(minutes=1)
    make_history(db, _settings(path.parent), jobs=DEMO_JOBS, seed=7, until=until, progress=lambda _n, _of: None)
    with db.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    db.dispose()
    return path


def _settings(folder: Path) -> Settings:
    return Settings(site_name="Marevind device workshop", data_dir=folder, demo=True)


def _served(source: Path, folder: Path) -> Iterator[DemoSite]:
    target = folder / "countback.db"
    shutil.copyfile(source, target)
    settings = _settings(folder)
    db = Database(f"sqlite:///{target}")
    with serve(build_app(settings, db)) as url:
        yield DemoSite(url, db, settings)
    db.dispose()


@pytest.fixture(scope="session")
def demo_site(demo_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[DemoSite]:
    """The demo workshop on a live server, shared by the tests of a run."""
    yield from _served(demo_file, tmp_path_factory.mktemp("site"))


@pytest.fixture
def own_demo_site(demo_file: Path, tmp_path: Path) -> Iterator[DemoSite]:
    """A copy of the demo workshop on a live server, for one test."""
    yield from _served(demo_file, tmp_path)


@pytest.fixture
def open_page(browser: Browser) -> Iterator[OpenPage]:
    """Return a function that opens a page of a size and theme; script errors on any page fail the test."""
    contexts: list[BrowserContext] = []
    errors: list[str] = []

    def opened(size: tuple[int, int] = TABLET, theme: Theme = "light") -> Page:
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, color_scheme=theme, reduced_motion="reduce"
        )
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("console", lambda m: errors.append(m.text) if "Content Security Policy" in m.text else None)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert not errors, f"errors on the pages: {errors}"


def sign_in_as(page: Page, site: DemoSite, who: str = "technician") -> None:
    """Sign in through the sign-in page: 'technician' (who has a job open), 'second', 'stores' or 'supervisor'."""
    name, _role, secret = demo_sign_ins()[PLACES[who]]
    page.goto(f"{site.url}/sign-in")
    page.get_by_label("Name", exact=True).fill(name)
    page.get_by_label("Passphrase or PIN").fill(secret)
    page.locator("main").get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "/sign-in" not in url)
