"""Every page on a tablet both ways and on a desk: nothing axe calls a barrier (WCAG 2.2 AA), nothing over the edge."""

from dataclasses import dataclass
from datetime import date

import pytest
from playwright.sync_api import Page

from app.jobs.actions.record import load_job, record
from app.jobs.models import Coverage
from app.platform.clock import now, uuid7
from app.platform.db import Database
from app.stores import actions as stores
from app.stores.actions import OrderLine
from tests.browser.conftest import DESK, LANDSCAPE, PORTRAIT, SignedIn, Site, violations
from tests.jobs.bench_shop import BenchShop
from tests.jobs.bench_work import BenchWork

SCREENS = [
    pytest.param(LANDSCAPE, "light", id="landscape-light"),
    pytest.param(PORTRAIT, "dark", id="portrait-dark"),
    pytest.param(DESK, "contrast", id="desk-contrast"),
]


@dataclass(frozen=True)
class Scene:
    """Numbers of jobs at each stage, and of an order and a stocktake."""

    booked: str
    planned: str
    quoted: str
    kitted: str
    down: str
    up: str
    refitted: str
    counted: str
    closed: str
    order: str
    stocktake: int


def play(db: Database) -> Scene:
    """Bring jobs to every stage, place an order, open a stocktake."""
    with db.write() as session:
        shop = BenchShop(session, 1)
        booked = shop.book("FR-1")
        planned = shop.book("FR-2")
        shop.safe(planned)
        shop.plan(planned, ("cell",))
        quoted = shop.book("FR-3", Coverage.OWNER)
        shop.safe(quoted)
        shop.plan(quoted, ("speaker",))
        kitted = shop.kitted(("cell",), "FR-4")

        def work(serial: str) -> BenchWork:
            job = BenchWork(shop, shop.kitted(("cell",), serial))
            job.open()
            return job

        down, up, refitted, counted, closed = (work(f"FR-{n}") for n in range(5, 10))
        up.open()
        up.teardown()
        up.report("damage", "back/screws", count=1, note="thread stripped")
        _ask(up)
        for job in (refitted, counted, closed):
            job.open()
            job.teardown()
            job.refit()
        for job in (counted, closed):
            job.open()
            job.sign()
        closed.pass_tests()
        _close(closed)
        line = OrderLine("F-310", 20)
        order = stores.place_order(session, 1, [line], date(2026, 3, 20), entry_id=uuid7(), at=now(), who=3)
        take = stores.open_stocktake(session, 1, entry_id=uuid7(), at=now(), who=3)
    numbers = (booked, planned, quoted, kitted, down.number, up.number, refitted.number, counted.number, closed.number)
    return Scene(*numbers, order, take)


def _ask(work: BenchWork) -> None:
    """Leave a question on the job, tapped on a tablet whose clock was set meanwhile."""
    data = {
        "of": "tick", "side": "up", "step": "back", "sent": {}, "reason": "Another step has to go back first.",
        "changes": ["tick (cell), Tomo Brandsma"], "clock": {"skew_ms": 900_000, "by": "wall clock", "aside": True},
        "received": now().isoformat(),
    }  # fmt: skip
    job = load_job(work.session, work.number)
    record(work.session, job, kind="question", at=now(), who=work.who, event_id=uuid7(), step="back", data=data)


def _close(work: BenchWork) -> None:
    from app.jobs.actions.close import close_job

    close_job(work.session, work.number, work.job.version, work.shop.settings, **work.stamp())


def pages(scene: Scene, who: str) -> list[str]:
    """Return the addresses that a role is shown."""
    if who == "technician":
        return [
            "/", "/jobs", "/jobs/new", f"/jobs/{scene.booked}", f"/jobs/{scene.booked}/safety",
            f"/jobs/{scene.planned}/targets", f"/jobs/{scene.planned}/plan", f"/jobs/{scene.down}/bench",
            f"/jobs/{scene.down}/bench/pause", f"/jobs/{scene.up}/questions", f"/jobs/{scene.up}/bench",
            f"/jobs/{scene.up}/trouble", f"/jobs/{scene.refitted}/count", f"/jobs/{scene.counted}/tests",
            f"/jobs/{scene.closed}/card", f"/jobs/{scene.down}/replan",
            f"/jobs/{scene.down}/replan?choose=1&targets=cell&targets=speaker", "/procedures/field-recorder/ease",
            "/procedures", "/procedures/field-recorder", "/procedures/field-recorder/1/print", "/me",
            f"/jobs/{scene.up}/labels", f"/jobs/{scene.up}/labels?size=a4-24&start=3", "/scan", "/bench/keys",
        ]  # fmt: skip
    if who == "stores":
        return [
            "/stores", "/parts", "/parts?q=F-3", "/parts/F-310", "/parts/F-310/receive", "/parts/F-310/scrap",
            "/stores/recall", "/stores/count-plan", "/stores/accuracy", "/stores/import", "/parts/F-310/keeping",
            "/parts/new", "/reorder", "/orders", f"/orders/{scene.order}",
            f"/orders/{scene.order}/receive", f"/orders/{scene.order}/sheet", "/stocktakes",
            f"/stocktakes/{scene.stocktake}", f"/stocktakes/{scene.stocktake}/sheet", "/suppliers",
            "/locations", "/locations/labels", "/parts/F-310/labels?size=letter-10", f"/jobs/{scene.planned}/kit",
            f"/jobs/{scene.planned}/kit/list", "/stores/reorder/F-310", "/stores/overrides", "/stores/policy",
            "/stores/terms/1", "/stores/value", "/stores/ageing", "/stores/aside?part=F-310",
        ]  # fmt: skip
    return [
        "/", f"/jobs/{scene.quoted}", f"/jobs/{scene.quoted}/quote", f"/jobs/{scene.planned}/hold",
        f"/jobs/{scene.closed}", f"/jobs/{scene.closed}/close", f"/jobs/{scene.kitted}/bench", "/people", "/people/new",
        "/people/1", "/tokens", "/review/history", f"/review/jobs/{scene.closed}", "/review/totals",
        "/review/clocks", f"/jobs/{scene.up}", f"/jobs/{scene.quoted}/quote?two=cell&two=speaker",
        f"/jobs/{scene.planned}/promise", "/site/calendar", "/procedures/field-recorder/faults",
        "/procedures/field-recorder/ease", "/review/discards", "/spares/field-recorder/back/F-310",
        "/procedures/import", "/nowhere",
    ]  # fmt: skip


@pytest.mark.parametrize(("size", "theme"), SCREENS)
def test_no_page_has_barriers_or_runs_over_its_edge(
    sign_in: SignedIn, site: Site, size: tuple[int, int], theme: str
) -> None:
    scene = play(site.db)
    found: list[str] = []
    # The supervisor sits at a desk; a tablet held upright is the narrowest that anybody uses.
    for who in ("technician", "stores") if size == LANDSCAPE else ("technician", "stores", "supervisor"):
        page = sign_in(who, size, theme)
        for path in pages(scene, who):
            found += _faults(page, path)
    assert not found, "\n".join(found)


def _faults(page: Page, path: str) -> list[str]:
    answer = page.goto(path)
    assert answer is not None
    wanted = 404 if path == "/nowhere" else 200
    found = [] if answer.status == wanted else [f"{path}: {answer.status}"]
    if page.evaluate("document.documentElement.scrollWidth > window.innerWidth"):
        found.append(f"{path}: wider than the page")
    return found + [f"{path}: {fault}" for fault in violations(page)]


@pytest.mark.parametrize("size", [LANDSCAPE, PORTRAIT], ids=["landscape", "portrait"])
def test_the_tick_is_a_thumb_wide_and_in_reach_without_scrolling(
    sign_in: SignedIn, site: Site, size: tuple[int, int]
) -> None:
    # 20 mm at the 96 dpi of CSS is 75.6 px; the step's own text must not scroll either.
    scene = play(site.db)
    page = sign_in("technician", size)
    page.goto(f"/jobs/{scene.down}/bench")
    box = page.locator("button.tick").bounding_box()
    assert box is not None
    assert min(box["width"], box["height"]) >= 76
    assert box["y"] + box["height"] <= size[1]
    assert not page.evaluate("(b => b.scrollHeight > b.clientHeight + 1)(document.querySelector('.step-body'))")
