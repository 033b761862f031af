"""Totals by period, against figures worked out by hand here."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from app.jobs.models import Discard, KitLine, KitLot, Stage
from app.platform.clock import now, uuid7
from app.platform.db import Database
from app.review.chart import totals_chart
from app.review.summary import PeriodRow, Sums, buckets
from app.rules.sheet import WasteStream
from tests.review.workshop import a_job, publish, stock
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]
MARCH = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def row(page: Page, name: str, table: int = 0) -> list[str]:
    """The figures of one line of a table of totals."""
    for line in page.soup.select("table.totals")[table].select("tr"):
        head = line.find("th", scope="row")
        if head is not None and head.get_text(" ").split()[: len(name.split())] == name.split():
            return [td.get_text().strip() for td in line.find_all("td")]
    raise AssertionError(f"no line {name}: {page.words[:900]}")


def a_month(db: Database) -> None:
    """Two closed jobs and a returned one in the first week of March, one open; figures below rest on these."""
    with db.write() as session:
        model, other = publish(session), publish(session, code="scanner", name="Scanner")
        lots = stock(session)
        first = a_job(
            session, model, serial="A", technician_id=1, booked_at=MARCH, closed_at=MARCH + timedelta(days=1),
            bench_s=5400, parts_cost=Decimal("10.25"), labour_cost=Decimal("81.00"),
        )  # fmt: skip
        a_job(
            session, other, serial="B", technician_id=2, booked_at=MARCH, closed_at=MARCH + timedelta(days=3),
            bench_s=1800, parts_cost=Decimal("4.00"), labour_cost=Decimal("27.00"), overridden=True,
        )  # fmt: skip
        a_job(session, model, serial="C", stage=Stage.RETURNED, booked_at=MARCH, closed_at=MARCH + timedelta(days=2))
        a_job(session, model, serial="A", stage=Stage.REFIT, booked_at=MARCH + timedelta(days=8))
        # Three seals were used where one was planned: the first lot's one and the two of the dearer lot.
        session.add(KitLine(job_id=first.id or 0, part_number="D-310", planned=1, added=2, issued=3))
        for lot, cost, count in ((lots["D-310"], "1.845", 1), (lots["D-010"], "2.5", 2)):
            session.add(
                KitLot(
                    job_id=first.id or 0, part_number="D-310", lot_id=lot, lot_code="L", unit_cost=Decimal(cost),
                    issued=count, fitted=count,
                )
            )  # fmt: skip
        for reason, pieces, struck in (("planned", 3, False), ("damaged", 1, False), ("planned", 9, True)):
            session.add(
                Discard(
                    job_id=first.id or 0, event_id=uuid7(), step="back", item="back/seal", name="Rim seal",
                    quantity=pieces, reason=reason, waste_stream=WasteStream.RESIDUAL, struck=struck,
                )
            )  # fmt: skip


def test_a_week_adds_up_as_worked_out_by_hand(db: Database, visit: Visit) -> None:
    a_month(db)
    page = visit("supervisor").open("/review/totals?period=week&first=2026-03-02&last=2026-03-15")
    # Booked 3, closed 2, returned 1, none open at the end; 2.0 h; the median of 1 and 3 days is 2.
    expected = ["3", "2", "1", "0", "2.0", "€14.25", "€5.00", "€108.00", "1", "2.0"]
    assert row(page, "2026 week 10") == expected
    assert row(page, "2026 week 11")[:4] == ["1", "0", "—", "1"]
    assert row(page, "All")[:5] == ["4", "2", "1", "1", "2.0"]


def test_it_breaks_down_by_technician_and_by_device_model(db: Database, visit: Visit) -> None:
    a_month(db)
    page = visit("supervisor").open("/review/totals?period=month&first=2026-03-01&last=2026-03-31")
    assert row(page, "March 2026")[0] == "4"
    assert row(page, "Ines Aldvik", 1)[:3] == ["1", "—", "1.5"]
    assert row(page, "Tomo Brandsma", 1)[:3] == ["1", "—", "0.5"]
    assert row(page, "Nobody", 1)[:2] == ["0", "1"]
    assert row(page, "Scanner", 2)[0] == "1"


def test_discards_are_told_by_reason_and_waste_stream_without_struck_ones(db: Database, visit: Visit) -> None:
    a_month(db)
    words = visit("supervisor").open("/review/totals?first=2026-03-01&last=2026-03-31").words
    assert "Residual 3 1 — 4 All 3 1 0 4" in words


def test_a_repeat_visit_within_ninety_days_is_counted_once_the_time_is_over(db: Database, visit: Visit) -> None:
    a_month(db)
    assert now() > MARCH + timedelta(days=100)
    words = visit("supervisor").open("/review/totals?first=2026-03-01&last=2026-03-31").words
    # One of two came back: Wilson's interval of 1 of 2 is 9.5 % to 90.5 %.
    assert "50.0 % 1 of 2 repaired devices were booked in again within 90 days." in words
    assert "between 9.5 % and 90.5 %" in words


def test_a_job_closed_lately_has_not_had_the_time_to_come_back(db: Database, visit: Visit) -> None:
    with db.write() as session:
        a_job(session, publish(session), booked_at=now() - timedelta(days=5), closed_at=now() - timedelta(days=3))
    words = visit("supervisor").open("/review/totals").words
    assert "No repaired job of this time has had 90 days to come back." in words
    assert "1 job closed less than 90 days ago and not counted yet." in words


def test_a_time_without_jobs_says_what_to_do(visit: Visit) -> None:
    assert "No job ended in this time" in visit("supervisor").open("/review/totals").words


def test_more_than_two_years_or_turned_round_is_refused(visit: Visit) -> None:
    visitor = visit("supervisor")
    for first, last in (("2020-01-01", "2026-01-01"), ("2026-02-01", "2026-01-01")):
        page = visitor.open(f"/review/totals?first={first}&last={last}")
        assert page.status == 422
        assert page.form("/review/totals").values["first"] == [first]


def test_the_chart_has_a_title_a_description_and_a_bar_for_each_period(db: Database, visit: Visit) -> None:
    a_month(db)
    page = visit("supervisor").open("/review/totals?period=week&first=2026-03-02&last=2026-03-29")
    chart = page.soup.select_one("svg.chart")
    assert chart is not None
    title, words = chart.find("title"), chart.find("desc")
    assert title is not None
    assert title.get_text() == "Bench hours and closed jobs by week"
    assert words is not None
    assert "at most 2 h" in words.get_text()
    assert len(chart.select("rect.chart-bar")) == 2 * 4


def test_weeks_are_those_of_iso_8601_and_cut_ends_are_known() -> None:
    cut = buckets(date(2025, 12, 31), date(2026, 1, 12), "week")
    assert [(b.name, b.first, b.after, b.whole) for b in cut] == [
        ("2026 week 1", date(2025, 12, 31), date(2026, 1, 5), False),
        ("2026 week 2", date(2026, 1, 5), date(2026, 1, 12), True),
        ("2026 week 3", date(2026, 1, 12), date(2026, 1, 13), False),
    ]
    months = buckets(date(2024, 1, 31), date(2024, 3, 31), "month")
    assert [(b.name, b.whole) for b in months] == [
        ("January 2024", False), ("February 2024", True), ("March 2024", True)
    ]  # fmt: skip


def test_the_chart_of_nothing_is_none_and_bars_stand_on_their_foot() -> None:
    none = Sums(0, 0, 0, Decimal(0), Decimal(0), Decimal(0), 0, None)
    some = Sums(2, 0, 7200, Decimal(0), Decimal(0), Decimal(0), 0, None)
    cut = buckets(date(2026, 3, 2), date(2026, 3, 15), "week")
    assert totals_chart([PeriodRow(b, 0, 0, none) for b in cut], "week") is None
    chart = totals_chart([PeriodRow(b, 0, 0, s) for b, s in zip(cut, (none, some), strict=True)], "week")
    assert chart is not None
    hours = chart.panels[0]
    assert hours.bars[1].y + hours.bars[1].height == hours.foot
    assert hours.bars[1].y == hours.top
    assert hours.bars[0].height == 0
    assert hours.most == "2 h"
