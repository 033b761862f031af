"""Places on the drawing in a real browser: tapped, ticked, taken back, and one left over named on the closing count."""

import time
from collections.abc import Callable, Sequence
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from sqlmodel import col, select

from app.jobs.actions import bench
from app.jobs.models import Job
from app.jobs.queries import jobs as queries
from app.platform import clock
from app.procedures import queries as procedures
from app.rules import bench as rules
from app.rules.counting import BenchState
from tests.browser.conftest import LANDSCAPE, PORTRAIT, violations
from tests.browser.demo import DemoSite, OpenPage, sign_in_as

MM_PX = 96 / 25.4
"""CSS pixels in a millimetre: CSS counts 96 px an inch."""
SCREWS = "short-screws/short"
NAME = "Side screw M1.6 × 4 with locking patch"


class Bench:
    """The job that the demo's first technician has open, on a page and behind it."""

    def __init__(self, page: Page, site: DemoSite) -> None:
        self.page, self.site = page, site
        with site.db.read() as session:
            rows = session.exec(select(Job).order_by(col(Job.id).desc())).all()
            job = next(j for j in rows if j.bench.get("at_bench") and len(j.bench.get("down", [])) == 5)
            self.number, self.who = job.number, int(job.bench["at_bench"])

    def open(self) -> None:
        """Show the step in hand and wait until taps are kept on the tablet."""
        self.page.goto(f"{self.site.url}/jobs/{self.number}/bench")
        self.page.locator("body[data-outbox=on]").wait_for()

    def state(self) -> BenchState:
        """Where the job stands."""
        with self.site.db.read() as session:
            return queries.find_job(session, self.number).state

    def to(self, side: str, step: str) -> None:
        """Tick on behind the page until a step is next."""
        with self.site.db.write() as session:
            sheet = procedures.sheet(session, queries.find_job(session, self.number).revision_id)
            while (found := rules.focus(sheet, queries.find_job(session, self.number).state)) != (side, step):
                now, which = found or ("turn", "")
                stamp: dict[str, Any] = {"at": clock.now(), "who": self.who, "event_id": clock.uuid7()}
                bench.tick(session, self.number, now, which, **stamp)

    def tap(self, *places: int) -> None:
        """Tap places on the drawing; each must be marked on the drawing and in the list before anything is sent."""
        for n in places:
            before = self.marks()
            self.page.locator(f"svg.places [data-place=place-short-{n}] button").click()
            after = self.marks()
            assert after != before
            assert [m for k, m in enumerate(after, 1) if k != n] == [m for k, m in enumerate(before, 1) if k != n]

    def marks(self) -> list[str]:
        """The marks on the drawing, which are those in the list."""
        drawn = self._hrefs("svg.places .place use")
        assert drawn == self._hrefs(".place-row .mark use")
        return drawn

    def _hrefs(self, where: str) -> list[str]:
        found = self.page.locator(where).evaluate_all("all => all.map(x => x.getAttribute('href'))")
        return [str(href).removeprefix("#m-ring-") for href in found]

    def wait_for(self, what: Callable[[BenchState], bool]) -> None:
        """Wait until the server has it."""
        for _ in range(100):
            if what(self.state()):
                return
            time.sleep(0.1)
        raise AssertionError(f"not so after 10 s: {self.state().items[SCREWS]}")


def out(pieces: int) -> Callable[[BenchState], bool]:
    """Whether so many side screws are out."""
    return lambda state: state.items[SCREWS].out == pieces


@pytest.mark.browser
def test_three_of_six_are_tapped_the_rest_is_ticked_and_a_place_left_is_named(
    open_page: OpenPage, own_demo_site: DemoSite
) -> None:
    page = open_page()
    sign_in_as(page, own_demo_site)
    work = Bench(page, own_demo_site)
    work.open()
    page.locator("form[data-outbox=undo] button").click()
    expect(page.locator("#step-title")).to_have_text("Undo the six short side screws")
    work.wait_for(lambda s: "short-screws" not in s.down)

    work.tap(1, 4, 5)
    assert work.marks() == ["struck", "open", "open", "struck", "struck", "open"]
    target = page.locator("svg.places [data-place=place-short-4] button")
    expect(target).to_have_attribute("aria-label", f"Place 4 of 6, {NAME}, scrapped")
    work.wait_for(out(3))

    page.locator("button.tick").click()
    work.wait_for(out(6))
    expect(page.locator("#step-title")).not_to_have_text("Undo the six short side screws")
    page.locator("form[data-outbox=undo] button").click()
    work.wait_for(out(3))
    work.open()
    assert work.marks() == ["struck", "open", "open", "struck", "struck", "open"]

    work.to("up", "short-screws")
    work.open()
    assert work.marks() == ["struck"] * 6
    work.tap(1, 2, 4, 5, 6)
    assert work.marks() == ["back", "back", "struck", "back", "back", "back"]
    work.wait_for(lambda s: s.items[SCREWS].new == 5)
    page.goto(f"{own_demo_site.url}/jobs/{work.number}/count")
    expect(page.locator("main")).to_contain_text(f"{NAME} 3 of 6 is not back.")
    left = page.locator(".left-over .place-left")
    expect(left).to_have_count(1)
    expect(left.locator("xpath=..").locator("text")).to_have_text("3")
    assert violations(page) == []


@pytest.mark.browser
@pytest.mark.parametrize("size", [LANDSCAPE, PORTRAIT], ids=["landscape", "portrait"])
def test_places_are_as_large_as_a_thumb_and_lie_on_their_rings(
    open_page: OpenPage, own_demo_site: DemoSite, size: tuple[int, int]
) -> None:
    page = open_page(size)
    sign_in_as(page, own_demo_site)
    work = Bench(page, own_demo_site)
    work.open()
    page.locator("form[data-outbox=undo] button").click()
    expect(page.locator("#step-title")).to_have_text("Undo the six short side screws")
    for where in ("svg.places .place-target", ".place-button"):
        sizes = _boxes(page, where)
        assert len(sizes) == 6
        assert all(min(w, h) >= 15 * MM_PX for _x, _y, w, h in sizes), sizes
    targets, rings = _boxes(page, "svg.places .place-target"), _boxes(page, ".bench-drawing circle.hole")
    for (x, y, w, h), (a, b, c, d) in zip(targets, rings, strict=True):
        assert abs(x + w / 2 - a - c / 2) < 2
        assert abs(y + h / 2 - b - d / 2) < 2
    assert violations(page) == []
    body = page.locator(".step-body")
    assert body.evaluate("x => x.scrollHeight <= x.clientHeight"), "no scrolling for a normal step"


def _boxes(page: Page, where: str) -> Sequence[tuple[float, float, float, float]]:
    found = page.locator(where).evaluate_all(
        "all => all.map(x => { const r = x.getBoundingClientRect(); return [r.x, r.y, r.width, r.height]; })"
    )
    return [tuple(box) for box in found]


@pytest.mark.browser
@pytest.mark.parametrize("theme", ["dark", "contrast"])
def test_the_places_can_be_told_apart_in_every_theme(open_page: OpenPage, own_demo_site: DemoSite, theme: str) -> None:
    page = open_page(LANDSCAPE, "dark" if theme == "dark" else "light")
    sign_in_as(page, own_demo_site)
    work = Bench(page, own_demo_site)
    work.open()
    page.locator("form[data-outbox=undo] button").click()
    expect(page.locator("#step-title")).to_have_text("Undo the six short side screws")
    if theme == "contrast":
        page.evaluate("document.documentElement.dataset.theme = 'contrast'")
    work.tap(2)
    assert violations(page) == []


@pytest.mark.browser
def test_places_tapped_without_contact_are_kept_shown_again_and_counted_once(
    open_page: OpenPage, own_demo_site: DemoSite
) -> None:
    page = open_page()
    sign_in_as(page, own_demo_site)
    work = Bench(page, own_demo_site)
    work.open()
    page.locator("form[data-outbox=undo] button").click()
    work.wait_for(lambda s: "short-screws" not in s.down)
    work.open()
    page.wait_for_timeout(1500)  # The plan of the job comes to the tablet behind the page.

    page.context.set_offline(True)
    work.tap(6, 2, 3)
    page.wait_for_timeout(350)  # A second tap sooner than 300 ms after the first is a glove that bounced.
    work.tap(2)
    tapped = ["open", "open", "struck", "open", "open", "struck"]
    assert work.marks() == tapped
    page.locator("button.tick").click()
    expect(page.locator("#step-title")).not_to_have_text("Undo the six short side screws")
    page.locator("form[data-outbox=undo] button").click()
    expect(page.locator("#step-title")).to_have_text("Undo the six short side screws")
    expect(page.locator("svg.places .place-struck")).to_have_count(2)
    assert work.marks() == tapped
    assert work.state().items[SCREWS].out == 0

    page.context.set_offline(False)
    work.wait_for(lambda s: out(2)(s) and set(s.places[SCREWS].out) == {3, 6})
    page.wait_for_timeout(3000)
    assert work.marks() == tapped
    work.open()
    assert work.marks() == tapped
