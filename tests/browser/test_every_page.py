"""Every page on a tablet both ways and on a desk: nothing axe calls a barrier (WCAG 2.2 AA), nothing over the edge."""

import re
from dataclasses import dataclass, fields
from pathlib import Path

import pytest
from fastapi.routing import APIRoute, iter_route_contexts
from playwright.sync_api import Page

from app.jobs.actions.record import load_job, record
from app.jobs.models import Coverage
from app.main import build_app
from app.people.actions.links import make_setup_link
from app.platform.clock import now, uuid7
from app.platform.db import Database
from app.platform.settings import Settings
from app.procedures.actions.drafts import next_revision
from app.stores import actions as stores
from app.stores.actions import OrderLine
from tests.browser.conftest import DESK, LANDSCAPE, PORTRAIT, SignedIn, Site, violations
from tests.jobs.bench_shop import SECOND, SUPERVISOR, BenchShop
from tests.jobs.bench_work import BenchWork

SCREENS = [
    pytest.param(LANDSCAPE, "light", id="landscape-light"),
    pytest.param(PORTRAIT, "dark", id="portrait-dark"),
    pytest.param(DESK, "contrast", id="desk-contrast"),
]
OTHERS = [
    pytest.param(LANDSCAPE, "dark", id="landscape-dark"),
    pytest.param(PORTRAIT, "light", id="portrait-light"),
    pytest.param(DESK, "light", id="desk-light"),
    pytest.param(DESK, "dark", id="desk-dark"),
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
    taken_over: str
    order: str
    stocktake: int
    draft: int
    link: str


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
        taken_over = work("FR-10")
        taken_over.teardown()
        taken_over.open(SECOND)
        line = OrderLine("F-310", 20)
        order = stores.place_order(session, 1, [line], None, entry_id=uuid7(), at=now(), who=3)
        take = stores.open_stocktake(session, 1, entry_id=uuid7(), at=now(), who=3)
        draft = next_revision(session, 1, who=SUPERVISOR, at=now())
        link = make_setup_link(session, SECOND, now())
    numbers = (booked, planned, quoted, kitted, down.number, up.number, refitted.number, counted.number, closed.number)
    return Scene(*numbers, taken_over.number, order, take, draft, link)


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
            f"/jobs/{scene.planned}/correct", f"/jobs/{scene.taken_over}/recount", "/on-this-tablet",
            "/procedures/field-recorder/compare",
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
            "/stores/terms/1", "/stores/value", "/stores/ageing", "/stores/aside?part=F-310", "/locations/new",
            "/orders/new?supplier=1&line=F-310", f"/orders/{scene.order}/labels", "/parts/F-310/edit",
            "/parts/F-310/transfer", "/suppliers/new", "/suppliers/1",
        ]  # fmt: skip
    return [
        "/", f"/jobs/{scene.quoted}", f"/jobs/{scene.quoted}/quote", f"/jobs/{scene.planned}/hold",
        f"/jobs/{scene.closed}", f"/jobs/{scene.closed}/close", f"/jobs/{scene.kitted}/bench", "/people", "/people/new",
        "/people/1", "/tokens", "/review/history", f"/review/jobs/{scene.closed}", "/review/totals",
        "/review/clocks", "/review/times", f"/jobs/{scene.up}", f"/jobs/{scene.quoted}/quote?two=cell&two=speaker",
        f"/jobs/{scene.planned}/promise", "/site/calendar", "/procedures/field-recorder/faults",
        "/procedures/field-recorder/ease", "/review/discards", "/spares/field-recorder/back/F-310",
        "/procedures/import", "/nowhere", f"/jobs/{scene.quoted}/quote/sheet", "/people/tablets", "/people/tablets/1",
        "/people/tablets/1/revoke", "/sign-in", "/tablet", f"/setup/{scene.link}", "/procedures/drafts",
        "/procedures/drafts/from-words",
        *(
            f"/procedures/drafts/{scene.draft}{page}"
            for page in ("", "/head", "/tests", "/read", "/compare", "/recording", "/steps/cell", "/steps/cell/split")
        ),
    ]  # fmt: skip


# Addresses that give no page, and pages that are looked at elsewhere: the beginning of the address, and why.
NO_PAGE = {
    "/api/": "JSON", "/openapi.json": "JSON", "/healthz": "text", "/readyz": "text", "/sw.js": "a script",
    "/manifest.webmanifest": "JSON", "/icon-": "a picture", "/drawings/": "a picture", "/media/": "a recording",
    "/jobs/{number}/photos/": "a picture", "/jobs/{number}/bench/walk": "JSON for the tablet",
    "/orders/{number}.": "a file", "/stores/export/": "files", "/review/history.csv": "a file",
    "/procedures/schema.json": "JSON", "/procedures/dita.zip": "a file", "/procedures/{code}/{number}.": "files",
    "/procedures/drafts/{draft_id}.yaml": "a file", "/procedures/drafts/parts": "options of a field",
    "/review": "leads to the history",
    "/procedures/drafts/from-words/{sha256}": "test_from_words", "/parts/{number}/alternates": "test_rounds_pages",
    "/stores/returns": "test_rounds_pages", "/stores/units": "test_rounds_pages",
}  # fmt: skip


def test_every_address_that_gives_a_page_is_looked_at(tmp_path: Path) -> None:
    app = build_app(Settings(data_dir=tmp_path), Database(f"sqlite:///{tmp_path / 'none.db'}"))
    routes = {
        str(context.path)
        for context in iter_route_contexts(app.routes)
        if isinstance(context.original_route, APIRoute) and "GET" in (context.methods or ())
    }
    scene = Scene(**{field.name: "7" for field in fields(Scene)})  # type: ignore[arg-type]
    shown = {path.partition("?")[0] for who in ("technician", "stores", "supervisor") for path in pages(scene, who)}

    def seen(route: str) -> bool:
        form = re.compile(re.sub(r"\\{[^}]*\\}", "[^/]+", re.escape(route)))
        return any(form.fullmatch(path) for path in shown)

    def no_page(route: str) -> bool:
        return any(route == start or (start != "/review" and route.startswith(start)) for start in NO_PAGE)

    assert sorted(route for route in routes if not seen(route) and not no_page(route)) == []
    gone = [s for s in NO_PAGE if not any(r.startswith(s) for r in (*routes, "/openapi.json"))]
    assert gone == [], "no such address any more"


@pytest.mark.parametrize(("size", "theme"), OTHERS)
def test_no_page_has_barriers_on_the_screens_that_are_left(
    sign_in: SignedIn, site: Site, size: tuple[int, int], theme: str, request: pytest.FixtureRequest
) -> None:
    """Every page on one of these screens, by turns; with ``--long`` every page on each of them."""
    screen = [param.values for param in OTHERS].index((size, theme))
    scene = play(site.db)
    found: list[str] = []
    for who in ("technician", "stores", "supervisor"):
        page = sign_in(who, size, theme)
        for n, path in enumerate(pages(scene, who)):
            if n % len(OTHERS) == screen or request.config.getoption("--long"):
                found += _faults(page, path)
    assert not found, "\n".join(found)


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
