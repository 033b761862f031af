"""Discards against plan: figures worked out by hand, wide where pieces are few, and a step that stands out."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from sqlmodel import Session

from app.jobs.models import BenchEvent, Discard, Job, PartUse
from app.platform.clock import uuid7
from app.platform.db import Database
from app.review.waste_chart import WasteRow, waste_chart
from app.rules.sheet import WasteStream
from app.rules.statistics import wilson_interval
from tests.review.workshop import MORNING, a_job, publish, small_sheet, stock
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]
RECENT = datetime.now(UTC) - timedelta(days=40)


def used(session: Session, job: Job, item: str, part: str, lot: int, quantity: int = 1) -> None:
    """Store that new pieces were fitted."""
    session.add(
        PartUse(
            job_id=job.id or 0, event_id=uuid7(), step=item.partition("/")[0], item=item, part_number=part,
            lot_id=lot, quantity=quantity,
        )
    )  # fmt: skip


def spoilt(session: Session, job: Job, item: str, part: str, lot: int, *, struck: bool = False) -> None:
    """Store that a new piece was spoilt in fitting, with what was written about it."""
    event_id, step = uuid7(), item.partition("/")[0]
    job.last_sequence += 1
    session.add(job)
    session.add(
        BenchEvent(
            event_id=event_id, content_hash="", job_id=job.id or 0, sequence=job.last_sequence, kind="spoiled",
            step=step, at=job.booked_at, data={"spoiled": [[part, lot, 1, ""]], "note": "Folded over itself"}, chain="",
        )
    )  # fmt: skip
    session.add(
        Discard(
            job_id=job.id or 0, event_id=event_id, step=step, item=item, name="Rim seal", quantity=1,
            reason="spoiled", waste_stream=WasteStream.RESIDUAL, struck=struck,
        )
    )  # fmt: skip


def a_year(db: Database) -> None:
    """Twenty-four jobs with a seal and a cell each; every fourth spoils a seal, one fits a screw that broke."""
    with db.write() as session:
        model, other = publish(session), publish(session, small_sheet(), "scanner", "Scanner")
        lots = stock(session)
        for n in range(24):
            job = a_job(session, model, serial=f"A{n}", booked_at=RECENT, closed_at=RECENT + timedelta(days=1))
            used(session, job, "back/seal", "D-310", lots["D-310"])
            used(session, job, "cell/unit:cell", "D-120", lots["D-120"])
            if n % 4 == 0:
                spoilt(session, job, "back/seal", "D-310", lots["D-310"])
            if n == 5:
                used(session, job, "back/screws", "D-010", lots["D-010"])
                spoilt(session, job, "back/seal", "D-310", lots["D-310"], struck=True)
        late = a_job(session, other, revision_id=2, booked_at=RECENT, closed_at=RECENT + timedelta(days=1))
        used(session, late, "back/seal", "D-310", lots["D-310"])
        old = a_job(session, model, booked_at=MORNING - timedelta(days=900), closed_at=MORNING - timedelta(days=899))
        used(session, old, "back/seal", "D-310", lots["D-310"])


def cells(page: Page, step: str, part: str) -> list[str]:
    """Return the figures of a row of the table of steps."""
    for row in page.soup.select("table tbody tr"):
        head = row.find("th")
        if head is not None and step in head.get_text() and part in row.get_text():
            return [" ".join(cell.get_text(" ").split()) for cell in row.find_all("td")]
    raise AssertionError(page.words[:1200])


def test_the_figures_of_a_step_are_those_worked_out_by_hand(db: Database, visit: Visit) -> None:
    a_year(db)
    boss = visit("supervisor")
    page = boss.open("/review/discards")
    rate = wilson_interval(6, 30)
    interval = f"20.0 % {100 * rate.low:.1f} to {100 * rate.high:.1f} %"
    seal = cells(page, "Lift the back", "D-310")
    # 24 seals on the sheets, 6 spoilt: 30 used. 6/24 spares a good piece is a quarter.
    assert seal[:7] == ["D-310 Rim seal, Deckphone", "24", "24", "30", "6", interval, "none"]
    assert "Look at the step" in seal[7]
    assert "25 %" in seal[7]
    assert "6 of the 6 pieces that this procedure spoils" in page.words
    assert cells(page, "Unplug the cell", "D-120")[3:5] == ["24", "—"]
    assert "Fitted though no sheet planned it" in page.words
    chart = page.soup.select_one("svg.waste")
    assert chart is not None
    assert "6 of 30, 20.0 %" in chart.get_text()
    link = page.soup.select_one('td a[href^="/review/history"]')
    assert link is not None
    assert "24" in link.get_text()
    assert boss.open(str(link["href"])).words.count("Deckphone") >= 24


def test_it_is_narrowed_by_model_and_time_and_few_pieces_change_nothing(db: Database, visit: Visit) -> None:
    a_year(db)
    boss = visit("supervisor")
    page = boss.open("/review/discards?model=2")
    row = cells(page, "Lift the back", "D-310")
    assert row[1:5] == ["1", "1", "1", "—"]
    assert row[5] == "0.0 % 0.0 to 79.3 %"  # Wilson 0 of 1: 1.96²/(1 + 1.96²) = 0.7935, by hand.
    assert row[7] == "As it is"
    first = (MORNING - timedelta(days=910)).date()
    old = boss.open(f"/review/discards?first={first}&last={first + timedelta(days=20)}")
    assert cells(old, "Lift the back", "D-310")[1] == "1"
    assert "No new part was fitted" in boss.open("/review/discards?first=2001-01-01&last=2001-02-01").words
    swapped = boss.open("/review/discards?first=2026-02-01&last=2026-01-01")
    assert swapped.status == 422
    assert "The first day is after the last one. Swap them." in swapped.words
    assert "No new part was fitted" not in swapped.words, "nothing was looked up"
    assert visit("technician").client.get("/review/discards").status_code == 403


def test_a_row_leads_to_the_jobs_behind_it_and_to_the_decision(db: Database, visit: Visit) -> None:
    a_year(db)
    boss = visit("supervisor")
    page = boss.open("/spares/deckphone/back/D-310")
    assert len(page.soup.select('a[href^="/review/jobs/"]')) == 6
    assert "Folded over itself" in page.words
    form = page.form("/spares/deckphone/back/D-310")
    assert form.values["percent"] == ["25"]
    form.submit(reason="A quarter folds when laid")
    listed = cells(boss.open("/review/discards"), "Lift the back", "D-310")
    assert listed[6] == "25 %"
    assert "spoilt" in boss.open("/spares/deckphone/back/D-310").words


def test_spares_that_no_job_has_used_yet_are_listed_too(db: Database, visit: Visit) -> None:
    with db.write() as session:
        publish(session)
        publish(session, small_sheet(), "scanner", "Scanner")
        stock(session)
    boss = visit("supervisor")
    path = "/spares/deckphone/back/D-310"
    boss.open(path).form(path).submit(percent="10", reason="The seal folds when laid")
    assert cells(boss.open("/review/discards"), "Lift the back", "D-310")[5:7] == ["— not known", "10 %"]
    assert "D-310" not in boss.open("/review/discards?model=2").words


def test_the_chart_keeps_every_mark_within_it() -> None:
    rows = [WasteRow("A step", "P-1", 0.2, 0.1, 0.33, 0.2, "6 of 30"), WasteRow("B" * 90, "P-2", 1, 0.2, 1, 0, "1")]
    chart = waste_chart(rows)
    assert chart is not None
    assert waste_chart([]) is None
    for line in chart.lines:
        assert 430 <= line.x1 <= line.x <= line.x2 <= chart.words_x
    assert chart.lines[0].planned_x == chart.lines[0].x
    assert chart.lines[1].planned_x is None
    assert len(chart.lines[1].step) < 50
