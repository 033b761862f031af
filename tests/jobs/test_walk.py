"""The walk: the whole way of a job as its tablet keeps it, each page as it really looks when one gets there."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from bs4 import BeautifulSoup
from fastapi import FastAPI

from app.platform.db import Database
from tests.jobs.bench_shop import BenchShop, set_up
from tests.jobs.bench_work import job_of
from tests.jobs.tablet import Tablet, right_of
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


@pytest.fixture
def number(db: Database) -> str:
    """A job with its kit, cell and speaker to exchange: something cures on the way back."""
    with db.write() as session:
        return BenchShop(session, set_up(session)).kitted(("cell", "speaker"))


def walk(visitor: Visitor, number: str) -> dict[str, Any]:
    """Fetch the walk."""
    answer = visitor.client.get(f"/jobs/{number}/bench/walk")
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def plain(html: str) -> str:
    """Return markup without what differs each time it is drawn, and without the drawing."""
    text = re.sub(r'name="(csrf_token|submission_id|undoes)" value="[^"]*"', "", html)
    text = re.sub(r'data-(count-from|seconds|version|until|look-in)="[^"]*"', "", text)
    soup = BeautifulSoup(text, "html.parser")
    for gone in soup.select(".bench-drawing > svg:not(.places), .clock time, .cure, template"):
        gone.decompose()
    return " ".join(soup.get_text(" ").split())


def test_each_frame_is_what_the_bench_shows_when_one_gets_there(
    app: FastAPI, visit: Visit, db: Database, number: str
) -> None:
    visitor = visit("technician")
    tablet = Tablet(app, right_of(visitor), number)
    tablet.do("open")
    found = walk(visitor, number)
    assert found["now"] == 0
    ahead = [f for f in found["frames"] if not f["key"].startswith("look:")]
    tablet.pass_ms(0)
    for frame in ahead[:-1]:
        shown = visitor.open(f"/jobs/{number}/bench", **{"HX-Request-Type": "partial"})
        assert plain(frame["html"]) == plain(shown.text), frame["key"]
        assert frame["version"] == job_of(db, number).version
        entry = frame["entry"]
        answer = tablet.do(entry["kind"], entry["side"], entry["step"])
        assert answer["outcome"] == "stored", (frame["key"], answer)
        if ahead[frame["i"] + 1]["wait_s"]:
            break
    assert frame["i"] > 5


def test_the_walk_ends_at_the_closing_count_and_names_every_step(visit: Visit, db: Database, number: str) -> None:
    visitor = visit("technician")
    visitor.open(f"/jobs/{number}/bench").form("/bench/open").submit()
    found = walk(visitor, number)
    state = job_of(db, number).state
    keys = [f["key"] for f in found["frames"]]
    wanted = [*(f"down:{s}" for s in state.teardown), "turn", *(f"up:{s}" for s in state.refit), "count"]
    assert sorted(keys) == sorted(wanted)
    assert keys[0] == wanted[0]
    assert keys[-1] == "count"
    assert found["frames"][-1]["entry"] is None
    assert set(found["looks"]) == set(wanted) - {"turn", "count"}
    assert [f["version"] for f in found["frames"]] == [found["version"] + n for n in range(len(keys))]


def test_what_cures_is_told_in_seconds_from_the_tick_before(visit: Visit, db: Database, number: str) -> None:
    visitor = visit("technician")
    visitor.open(f"/jobs/{number}/bench").form("/bench/open").submit()
    waits = {f["key"]: f["wait_s"] for f in walk(visitor, number)["frames"] if f["wait_s"]}
    assert waits
    assert all(wait % 60 == 0 for wait in waits.values())


def test_a_press_is_told_by_the_frame_whose_tick_begins_it_and_holds_nothing_up(
    visit: Visit, db: Database, number: str
) -> None:
    visitor = visit("technician")
    visitor.open(f"/jobs/{number}/bench").form("/bench/open").submit()
    found = walk(visitor, number)
    timers = {f["key"]: (f["timer"], f["timer_s"]) for f in found["frames"] if f["timer_s"]}
    assert timers == {
        "up:speaker": ("Bond the speaker in: curing", 1800),
        "up:back": ("Close the back: keep pressed", 30),
    }
    assert found["timers"] == []
    shown = next(f for f in found["frames"] if f["key"] == "up:back")
    assert "Keep it pressed for 30 s from the tick on." in plain(shown["html"])


def test_three_ticks_can_be_taken_back_from_the_walk(app: FastAPI, visit: Visit, db: Database, number: str) -> None:
    visitor = visit("technician")
    tablet = Tablet(app, right_of(visitor), number)
    tablet.do("open")
    made = []
    for step in job_of(db, number).state.teardown[:4]:
        entry = tablet.tap("tick", "down", step)
        tablet.send(entry)
        made.append(entry["id"])
    found = walk(visitor, number)
    assert found["now"] == 3
    assert [f["undo"] for f in found["frames"][:4]] == [True] * 4
    undoes = [re.search(r'name="undoes" value="([^"]*)"', f["html"]) for f in found["frames"][:4]]
    assert [m and m.group(1) for m in undoes] == made
    # The first step lies before the walk, and can still be looked at.
    first = job_of(db, number).state.teardown[0]
    shown = found["frames"][found["looks"][f"down:{first}"]]
    assert shown["key"] == f"look:down:{first}"
    assert shown["entry"] is None


def test_drawings_are_sent_once_and_named_in_the_frames(visit: Visit, db: Database, number: str) -> None:
    visitor = visit("technician")
    visitor.open(f"/jobs/{number}/bench").form("/bench/open").submit()
    found = walk(visitor, number)
    named = {m for f in found["frames"] for m in re.findall(r'data-drawing="([^"]+)"', f["html"])}
    assert named == set(found["drawings"])
    assert all("<svg" in drawing for drawing in found["drawings"].values())


def test_parts_that_are_not_there_end_the_walk_and_are_named(visit: Visit, db: Database) -> None:
    with db.write() as session:
        shop = BenchShop(session, set_up(session))
        number = shop.book()
        shop.safe(number)
        shop.plan(number, ("cell",))
        shop.hand_out(number)
    visitor = visit("technician")
    page = visitor.open(f"/jobs/{number}/bench").form("/bench/open").submit()
    page.link("Trouble").form("/trouble").submit(kind="damage", item="back/screws", count="1")
    last = [f for f in walk(visitor, number)["frames"] if not f["key"].startswith("look:")][-1]
    assert last["key"] == "blocked:up:back"
    assert last["entry"] is None
    assert "Not handed out yet: 1 × Back screw" in last["blocked"]
    assert "Not handed out yet." in last["html"]


def test_a_paused_job_is_walked_on_as_once_it_is_resumed(visit: Visit, db: Database, number: str) -> None:
    visitor = visit("technician")
    visitor.open(f"/jobs/{number}/bench").form("/bench/open").submit()
    visitor.open(f"/jobs/{number}/bench/pause").form("/bench/pause").submit(reason="Break")
    found = walk(visitor, number)
    assert "Resume" in found["frames"][0]["html"]
    assert "Resume" not in found["opened"]
    assert 'data-outbox="tick"' in found["opened"]
    assert 'data-outbox="tick"' in found["frames"][1]["html"]
    assert found["frames"][0]["entry"]["step"] == job_of(db, number).state.teardown[0]


def test_somebody_elses_job_is_not_walked(visit: Visit, db: Database, number: str) -> None:
    first = visit("technician")
    first.open(f"/jobs/{number}/bench").form("/bench/open").submit().form("/bench/tick").submit()
    found = walk(visit("second"), number)
    now = found["frames"][found["now"]]
    assert now["key"] == "blocked:takeover"
    assert "needs the server" in now["blocked"]
    assert all(f["entry"] is None for f in found["frames"])


def test_the_walk_is_for_the_bench_and_is_stored_by_no_cache(visit: Visit, number: str) -> None:
    assert visit("stores").client.get(f"/jobs/{number}/bench/walk").status_code == 403
    answer = visit("technician").client.get(f"/jobs/{number}/bench/walk", headers={"accept-encoding": "gzip"})
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["content-encoding"] == "gzip"
    assert visit("technician").client.get("/jobs/J999999/bench/walk").status_code == 404
