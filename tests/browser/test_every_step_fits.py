"""No scrolling for a normal step: every step of the demo's procedures, down and up, on a tablet held either way."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from playwright.sync_api import Page
from sqlmodel import Session

from app.jobs.actions.bench import open_job
from app.jobs.actions.book_in import Booking, book_in
from app.jobs.actions.choose_targets import use_plan
from app.jobs.actions.issue_kit import hand_out_kit
from app.jobs.actions.make_safe import SafetyAnswers, make_safe
from app.jobs.models import Coverage, DataWish
from app.jobs.queries import jobs as queries
from app.jobs.queries.kit import outstanding
from app.people import queries as people
from app.people.demo_staff import demo_sign_ins
from app.platform import clock
from app.platform.clock import uuid7
from app.procedures import queries as procedures
from app.stores import actions as stores
from app.stores import queries as shelf
from app.stores.actions import Pick
from tests.browser.conftest import LANDSCAPE, PORTRAIT
from tests.browser.demo import DemoSite, OpenPage, sign_in_as

SERIALS = {"skarv-h2": "352099001761481", "teist-b8": "TB25-11-07001", "lomvi-s4": "LS25-11-07001"}

# Puts each frame of the walk on the page as a tap does, and returns what does not fit: its key and by how much.
TOO_HIGH = """
async (address) => {
  const walk = await (await fetch(address)).json();
  const main = document.getElementById("main");
  const found = [];
  for (const frame of walk.frames) {
    const shown = document.createRange().createContextualFragment(frame.html);
    for (const name of [".strip", ".bench-drawing", ".step", ".bench-rail", ".bar"]) {
      const next = shown.querySelector(name);
      if (next) main.querySelector(name).replaceWith(next);
    }
    await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
    const body = document.querySelector(".step-body");
    const over = body.scrollHeight - body.clientHeight;
    if (over > 1) found.push(`${frame.key} by ${over} px`);
  }
  return [walk.frames.length, found];
}
"""


def stock_everything(session: Session, who: int) -> None:
    """Put thirty of every part on the shelf."""
    at = clock.now()
    for number in sorted(shelf.known_numbers(session)):
        stores.receive_loose(
            session, number, f"FULL-{number}", date(at.year + 1, 6, 30), 30, Decimal(1), None, "opening stock",
            entry_id=uuid7(), at=at, who=who,
        )  # fmt: skip


def open_job_for_all_units(session: Session, code: str, who: int) -> str:
    """Take a device from the counter to the open bench, with every unit of its procedure to exchange."""
    at = clock.now() - timedelta(minutes=5)
    stamp: dict[str, Any] = {"at": at, "who": who}
    model = next(model for model in procedures.device_models(session) if model.code == code)
    booking = Booking(
        model.id, SERIALS[code], "Shows no life", "Clean", "Bridge", Coverage.WARRANTY, DataWish.KEEP, True
    )  # fmt: skip
    number = book_in(session, booking, event_id=uuid7(), **stamp)
    sound = SafetyAnswers("sound", cautions=True, strap=True, mat=True)
    make_safe(session, number, queries.find_job(session, number).version, sound, event_id=uuid7(), **stamp)
    job = queries.find_job(session, number)
    targets = [unit.id for unit in procedures.sheet(session, job.revision_id).units]
    short = use_plan(session, number, job.version, targets, event_id=uuid7(), **stamp)
    assert not short
    picks = []
    for n, pick in enumerate(shelf.propose_picks(session, outstanding(session, job.id), at.date())):
        serials = tuple(f"{number}-{n}-{k}" for k in range(pick.quantity)) if pick.serial_tracked else ()
        picks.append(Pick(pick.part_number, pick.lot_id, pick.location_id, pick.quantity, serials))
    hand_out_kit(session, number, picks, event_id=uuid7(), **stamp)
    open_job(session, number, event_id=uuid7(), **stamp)
    return number


@pytest.mark.parametrize("size", [LANDSCAPE, PORTRAIT], ids=["landscape", "portrait"])
def test_no_step_of_the_demos_procedures_needs_scrolling(
    open_page: OpenPage, own_demo_site: DemoSite, size: tuple[int, int]
) -> None:
    with own_demo_site.db.write() as session:
        me = next(i for i, name in people.names(session).items() if name == demo_sign_ins()[0][0])
        stock_everything(session, me)
        numbers = [open_job_for_all_units(session, code, me) for code in SERIALS]
    page = open_page(size)
    sign_in_as(page, own_demo_site)
    found = {number: too_high(page, own_demo_site.url, number) for number in numbers}
    assert not any(found.values()), found


def too_high(page: Page, url: str, number: str) -> list[str]:
    """Return the steps of a job that do not fit; there are dozens of steps to look at."""
    page.goto(f"{url}/jobs/{number}/bench")
    seen, found = page.evaluate(TOO_HIGH, f"/jobs/{number}/bench/walk")
    assert seen > 40
    return list(found)
