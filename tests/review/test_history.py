"""The history of all jobs, through its pages, its CSV and its API."""

import csv
import io
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from urllib.parse import urlencode

import pytest
from sqlmodel import Session

from app.jobs.models import Stage
from app.platform.db import Database
from app.review.export import safe_cell
from tests.review.workshop import MORNING, a_job, a_use, publish, stock
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]


def numbers(page: Page) -> list[str]:
    """The job numbers of a history page, in their order."""
    return [a.get_text() for a in page.soup.select("a.row-link")]


def history(visitor: Visitor, **filters: object) -> list[str]:
    """Open the history under filters; returns the job numbers it shows."""
    page = visitor.open(f"/review/history?{urlencode(filters)}")
    assert page.status == 200, page.words
    return numbers(page)


def some(session: Session, count: int, model: int) -> list[str]:
    """Store closed jobs, a day apart; returns their numbers, the oldest first."""
    return [a_job(session, model, booked_at=MORNING + timedelta(days=n)).number for n in range(count)]


def test_it_lists_all_jobs_the_newest_first(db: Database, visit: Visit) -> None:
    with db.write() as session:
        made = some(session, 3, publish(session))
    assert history(visit("technician")) == made[::-1]


def test_an_empty_history_says_so(visit: Visit) -> None:
    assert "No jobs yet" in visit("stores").open("/review/history").words


def test_pages_follow_each_other_without_a_gap_though_jobs_are_booked_meanwhile(db: Database, visit: Visit) -> None:
    with db.write() as session:
        model = publish(session)
        made = some(session, 120, model)
    visitor = visit("supervisor")
    first = visitor.open("/review/history")
    with db.write() as session:
        late = some(session, 7, model)
    second = first.link("Older")
    third = second.link("Older")
    assert numbers(first) + numbers(second) + numbers(third) == made[::-1]
    assert not any("Older" in a.get_text() for a in third.soup.select("a"))
    assert numbers(third.link("Newer")) == numbers(second)
    back = second.link("Newer")
    assert numbers(back) == numbers(first)
    assert numbers(back.link("Newer")) == late[::-1]


def test_paging_keeps_the_filters(db: Database, visit: Visit) -> None:
    with db.write() as session:
        model, other = publish(session), publish(session, code="scanner", name="Scanner")
        wanted = []
        for n in range(130):
            number = a_job(session, model if n % 2 else other).number
            wanted += [number] if n % 2 else []
    first = visit("technician").open(f"/review/history?model={model}")
    assert numbers(first) + numbers(first.link("Older")) == wanted[::-1]


def test_it_filters_by_serial_in_any_spelling_or_by_job_number(db: Database, visit: Visit) -> None:
    with db.write() as session:
        model = publish(session)
        one = a_job(session, model, serial="AB12C").number
        two = a_job(session, model, serial="490154203237518").number
    visitor = visit("technician")
    assert history(visitor, serial="ab12c") == [one]
    assert history(visitor, serial="49-015420-323751-8") == [two]
    assert history(visitor, serial=two.lower()) == [two]
    assert history(visitor, serial="AB12") == []


def test_it_filters_by_technician_outcome_and_override(db: Database, visit: Visit) -> None:
    with db.write() as session:
        model = publish(session)
        mine = a_job(session, model, technician_id=1).number
        sent_back = a_job(session, model, technician_id=2, stage=Stage.RETURNED).number
        at_work = a_job(session, model, technician_id=2, stage=Stage.REFIT).number
        overridden = a_job(session, model, technician_id=2, overridden=True).number
    visitor = visit("technician")
    assert history(visitor, technician=1) == [mine]
    assert history(visitor, outcome="repaired") == [overridden, mine]
    assert history(visitor, outcome="returned unrepaired") == [sent_back]
    assert history(visitor, outcome="in work") == [at_work]
    assert history(visitor, overridden="yes") == [overridden]
    assert history(visitor, technician=2, outcome="repaired") == [overridden]
    assert history(visitor, technician=1, overridden="yes") == []


def test_days_are_those_of_the_workshop_and_both_ends_belong(db: Database, visit: Visit) -> None:
    # Half past eleven at night in UTC is half past midnight of the next day in the workshop.
    late = datetime(2026, 3, 10, 23, 30, tzinfo=UTC)
    with db.write() as session:
        model = publish(session)
        one = a_job(session, model, booked_at=late, closed_at=late + timedelta(days=3)).number
        a_job(session, model, booked_at=late - timedelta(days=3))
    visitor = visit("technician")
    assert history(visitor, booked_from="2026-03-11", booked_to="2026-03-11") == [one]
    assert history(visitor, booked_from="2026-03-10", booked_to="2026-03-10") == []
    assert history(visitor, closed_from="2026-03-14", closed_to="2026-03-14") == [one]


def test_it_finds_the_jobs_a_part_went_into_but_not_where_it_was_taken_back(db: Database, visit: Visit) -> None:
    with db.write() as session:
        model = publish(session)
        lots = stock(session)
        fitted, struck, other = (a_job(session, model, technician_id=n) for n in (1, 2, 1))
        a_use(session, fitted, "D-310", lots["D-310"])
        a_use(session, fitted, "D-310", lots["D-310"])
        a_use(session, struck, "D-310", lots["D-310"], struck=True)
        a_use(session, other, "D-120", lots["D-120"])
    visitor = visit("technician")
    assert history(visitor, part="d-310") == [fitted.number]
    assert history(visitor, part="D-310", technician=1) == [fitted.number]
    assert history(visitor, part="D-310", technician=2) == []
    assert history(visitor, part="D-310", booked_from="2026-03-01") == [fitted.number]
    assert history(visitor, part="D-310", booked_from="2027-03-01") == []


def test_dates_turned_round_are_refused_with_the_input_kept(visit: Visit) -> None:
    page = visit("technician").open("/review/history?booked_from=2026-05-02&booked_to=2026-05-01&serial=AB1")
    assert page.status == 422
    assert "Swap them" in page.words
    assert page.form("/review/history").values["serial"] == ["AB1"]


def test_a_date_that_is_none_is_told_beside_its_field(visit: Visit) -> None:
    page = visit("technician").open("/review/history?booked_from=yesterday")
    assert page.status == 422
    assert "Enter a date, such as 2026-03-31." in page.words


@pytest.mark.parametrize(
    ("value", "cell"),
    [
        ('=HYPERLINK("http://x")', '\'=HYPERLINK("http://x")'),
        ("+1", "'+1"),
        ("-2+3", "'-2+3"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1", "'\t=1"),
        ("\r=1", "'\r=1"),
        ("plain", "plain"),
        ("", ""),
        (None, ""),
        (-3, "-3"),
        (Decimal("-12.50"), "-12.50"),
    ],
)
def test_a_cell_cannot_be_a_formula_and_a_number_stays_one(value: str | int | Decimal | None, cell: str) -> None:
    assert safe_cell(value) == cell


def test_the_csv_has_the_filtered_jobs_and_no_formulas(db: Database, visit: Visit) -> None:
    with db.write() as session:
        model = publish(session)
        a_job(session, model, serial="OTHER")
        for n in range(3):
            a_job(
                session, model, serial="DK-5", fault="=cmd|' /C calc'!A0", bench_s=900, technician_id=1,
                parts_cost=Decimal("12.50"), booked_at=MORNING + timedelta(days=n),
            )  # fmt: skip
    answer = visit("supervisor").client.get("/review/history.csv?serial=DK-5")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert "attachment" in answer.headers["content-disposition"]
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    heads, *lines = rows
    assert len(lines) == 3
    last = dict(zip(heads, lines[-1], strict=True))
    assert last["fault"] == "'=cmd|' /C calc'!A0"
    assert last["bench seconds"] == "900"
    assert Decimal(last["parts cost"]) == Decimal("12.50")
    assert last["technician"] == "Ines Aldvik"
    assert last["booked in"] == "2026-03-02 09:00"


def test_the_csv_is_whole_over_many_chunks(db: Database, visit: Visit, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.review.routes.history.CHUNK", 7)
    with db.write() as session:
        made = some(session, 40, publish(session))
    text = visit("supervisor").client.get("/review/history.csv").content.decode("utf-8-sig")
    assert [row[0] for row in csv.reader(io.StringIO(text))][1:] == made[::-1]


def test_only_a_supervisor_exports_or_sees_totals(visit: Visit) -> None:
    for who in ("technician", "stores"):
        visitor = visit(who)
        assert visitor.open("/review/history.csv").status == 403
        assert visitor.open("/review/totals").status == 403
        assert "Export" not in visitor.open("/review/history").words


def test_the_api_lists_the_same_jobs_a_page_at_a_time(db: Database, visit: Visit) -> None:
    with db.write() as session:
        made = some(session, 5, publish(session))
    client = visit("technician").client
    first = client.get("/api/v1/history?limit=3").json()
    assert [item["number"] for item in first["items"]] == made[:1:-1]
    second = client.get(f"/api/v1/history?limit=3&after={first['next']}").json()
    assert [item["number"] for item in second["items"]] == made[1::-1]
    assert second["next"] is None
    assert client.get("/api/v1/history?outcome=lost").status_code == 422
    assert (
        client.get("/api/v1/history?booked_from=2026-03-03&booked_to=2026-03-03").json()["items"][0]["number"]
        == made[1]
    )
