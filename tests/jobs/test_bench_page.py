"""The bench page through HTTP: opening, ticking, taking back, pausing, taking over, trouble, recount."""

from collections.abc import Callable

import pytest

from app.platform.clock import uuid7
from app.platform.db import Database
from tests.jobs.bench_shop import BenchShop, set_up
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]


@pytest.fixture
def number(db: Database) -> str:
    """A job with its kit handed out, the cell to exchange."""
    with db.write() as session:
        return BenchShop(session, set_up(session)).kitted(("cell",))


def bench(visitor: Visitor, number: str) -> Page:
    """Open the job at the bench and return its page."""
    page = visitor.open(f"/jobs/{number}/bench")
    return page.form("/bench/open").submit() if page.soup.select('form[action$="/bench/open"]') else page


def tick(page: Page) -> Page:
    """Tick the step in focus."""
    return page.form("/bench/tick").submit()


def title(page: Page) -> str:
    """The title of the step on the page."""
    found = page.soup.find(id="step-title")
    assert found is not None
    return found.get_text()


def test_one_form_with_one_button_ticks_a_step_and_shows_the_next(visit: Visit, number: str) -> None:
    page = bench(visit("technician"), number)
    first = title(page)
    after = tick(page)
    assert after.status == 200
    assert title(after) != first
    assert "step 2 of" in after.words


def test_the_same_tick_sent_twice_is_stored_once(visit: Visit, number: str) -> None:
    page = bench(visit("technician"), number)
    form = page.form("/bench/tick")
    second = form.submit()
    again = form.submit()
    assert again.status == 200
    assert title(again) == title(second)


def test_the_same_id_with_other_content_is_a_conflict(visit: Visit, number: str) -> None:
    page = bench(visit("technician"), number)
    form = page.form("/bench/tick")
    after = form.submit()
    step = after.form("/bench/tick").values["step"][0]
    assert form.submit(step=step).status == 409


def test_a_step_out_of_order_is_refused_with_what_comes_first(visit: Visit, number: str) -> None:
    page = bench(visit("technician"), number)
    later = page.soup.select(".levels a")[-1]["href"]
    form = page.form("/bench/tick")
    refused = form.submit(step=str(later).split("step=")[1])
    assert refused.status == 409
    assert "First:" in refused.words
    assert "Not stored" in refused.words


def test_back_takes_the_last_tick_back_with_a_new_entry(visit: Visit, number: str) -> None:
    page = bench(visit("technician"), number)
    first = title(page)
    back = tick(page).form("/bench/undo").submit()
    assert title(back) == first


def test_a_paused_job_takes_no_tick_until_it_is_resumed(visit: Visit, number: str) -> None:
    visitor = visit("technician")
    page = bench(visitor, number)
    visitor.open(f"/jobs/{number}/bench/pause").form("/bench/pause").submit(reason="Break")
    refused = tick(page)
    assert refused.status == 409
    assert "Resume" in refused.words
    assert title(refused.form("/bench/open").submit()) == title(page)


def test_a_second_technician_takes_over_and_recounts_first(visit: Visit, number: str) -> None:
    page = bench(visit("technician"), number)
    while "Start refit" not in page.words:
        page = tick(page)
    second = visit("second")
    page = second.open(f"/jobs/{number}/bench")
    assert "Take over" in page.words
    recount = page.form("/bench/open").submit()
    assert recount.path == f"/jobs/{number}/recount"
    refused = recount.form("/recount").submit()
    assert refused.status == 409
    counters = [str(i["name"]) for i in refused.soup.select('input[name^="pocket-"]')]
    assert counters
    assert second.open(f"/jobs/{number}/bench").path == f"/jobs/{number}/recount"


def test_a_piece_short_at_the_recount_is_recorded_as_lost(visit: Visit, number: str) -> None:
    page = bench(visit("technician"), number)
    while "Start refit" not in page.words:
        page = tick(page)
    second = visit("second")
    recount = second.open(f"/jobs/{number}/bench").form("/bench/open").submit()
    form = recount.form("/recount")
    names = [name for name in form.values if name.startswith("pocket-")]
    form.values |= {name: ["3"] for name in names}
    after = form.submit()
    assert "1 × Back screw" in after.words
    assert after.path == f"/jobs/{number}/trouble"
    assert "Short at the recount" in after.words


def test_a_lost_piece_that_turns_up_at_the_recount_is_told_with_the_way_out(visit: Visit, number: str) -> None:
    visitor = visit("technician")
    page = bench(visitor, number)
    while "Start refit" not in page.words:
        page = tick(page)
    lost = visitor.open(f"/jobs/{number}/trouble").form("/trouble").submit(kind="lost", item="back/screws", count="1")
    assert "Recorded: Lost: 1 × Back screw" in lost.words
    assert "3 of 4 out, 1 lost" in lost.words
    second = visit("second")
    form = second.open(f"/jobs/{number}/bench").form("/bench/open").submit().form("/recount")
    form.values |= {name: ["4"] for name in form.values if name.startswith("pocket-")}
    refused = form.submit()
    assert refused.status == 409
    assert "should hold 3, not 4. A piece of it is reported lost. If it is here, take that report back" in refused.words
    second.open(f"/jobs/{number}/trouble").form("/trouble/take-back").submit()
    assert form.submit().path == f"/jobs/{number}/bench"


def test_a_piece_beside_a_new_one_keeps_its_tray_pocket(visit: Visit, number: str) -> None:
    visitor = visit("technician")
    page = bench(visitor, number)
    while "Start refit" not in page.words:
        page = tick(page)
    tick(page)
    visitor.open(f"/jobs/{number}/trouble").form("/trouble").submit(kind="damage", item="back/screws", count="1")
    shown = visitor.open(f"/jobs/{number}/bench?step=back")
    line = next(li for li in shown.soup.select(".release li") if "Back screw" in li.get_text())
    assert "3 from the tray, 1 new" in line.get_text()
    assert [box.get_text() for box in line.select(".pocket")] == ["1"]


def test_damage_joins_the_kit_and_is_reserved_at_once(visit: Visit, number: str) -> None:
    visitor = visit("technician")
    page = bench(visitor, number)
    form = page.link("Trouble").form("/trouble")
    after = form.submit(kind="damage", item="back/screws", count="1", note="thread stripped")
    assert after.status == 200
    assert "Damaged: 1 × Back screw" in after.words
    assert "1 × F-210" in after.words
    assert "is reserved" in after.words
    taken = after.form("/trouble/take-back").submit()
    assert "taken back" in taken.words


def test_damage_without_an_item_says_so_beside_the_field_and_keeps_the_note(visit: Visit, number: str) -> None:
    trouble = bench(visit("technician"), number).link("Trouble")
    refused = trouble.form("/trouble").submit(kind="damage", item="", count="1", note="fell on the floor")
    assert refused.status == 409
    assert "Choose an item" in refused.words
    assert "fell on the floor" in refused.text


def test_a_piece_left_over_blocks_the_cover(visit: Visit, number: str) -> None:
    visitor = visit("technician")
    page = bench(visitor, number)
    while "Start refit" not in page.words:
        page = tick(page)
    visitor.open(f"/jobs/{number}/trouble").form("/trouble").submit(kind="leftover", item="", count="1")
    page = visitor.open(f"/jobs/{number}/bench")
    while page.soup.select('form[action$="/bench/tick"]'):
        page = tick(page)
    assert title(page) == "Close the back"
    assert "1 piece left over on the bench" in page.words


def test_stores_may_not_work_at_the_bench(visit: Visit, number: str) -> None:
    assert visit("stores").open(f"/jobs/{number}/bench").status == 403


def test_an_unknown_job_is_a_page_that_says_so(visit: Visit, number: str) -> None:
    assert visit("technician").open("/jobs/J999999/bench").status == 404


def test_a_tick_without_its_number_is_refused(visit: Visit, number: str) -> None:
    page = bench(visit("technician"), number)
    assert page.form("/bench/tick").submit(submission_id="nonsense").status == 409
    assert page.form("/bench/tick").submit(submission_id=uuid7()).status == 200


def test_the_turn_counts_the_pieces_of_its_list_that_lie_in_the_tray(visit: Visit, number: str) -> None:
    page = bench(visit("technician"), number)
    while "Start refit" not in page.words:
        page = tick(page)
    pieces = sum(int(count.get_text()) for count in page.soup.select("ul.release > li > b.count"))
    assert f"{pieces} pieces in the tray" in page.words


def test_a_job_without_its_kit_says_at_the_bench_that_work_has_not_begun(db: Database, visit: Visit) -> None:
    with db.write() as session:
        booked = BenchShop(session, set_up(session)).book()
    page = visit("technician").open(f"/jobs/{booked}/bench")
    assert "Not at the bench yet. Work starts once the kit is handed out" in page.words
    assert "is done" not in page.words
