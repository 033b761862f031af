"""Times against plan: jobs that stand out are named, drift is told, and the figures are those worked out here."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from math import exp, log

import pytest

from app.platform.db import Database
from app.review.pages.times import LEAST
from app.rules.control_charts import D2
from tests.review.workshop import a_job, publish
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]
MARCH = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
STRETCH = "first=2026-03-01&last=2026-06-30"


def closed_jobs(db: Database, taken_s: Sequence[int], *, expected_s: int = 1000, code: str = "deckphone") -> list[str]:
    """Store a closed job a day that took so long at the bench; returns their numbers and leaves the model there."""
    with db.write() as session:
        model = publish(session, code=code, name=code.title())
        jobs = [
            a_job(
                session, model, serial=f"S{n}", booked_at=MARCH + timedelta(days=n), bench_s=seconds,
                closed_at=MARCH + timedelta(days=n, hours=2), median_s=expected_s,
            )
            for n, seconds in enumerate(taken_s)
        ]  # fmt: skip
        return [job.number for job in jobs]


def test_a_job_that_took_unusually_long_is_named_with_its_share_of_the_plan(db: Database, visit: Visit) -> None:
    numbers = closed_jobs(db, [900, 1100] * 5 + [3000])
    page = visit("supervisor").open(f"/review/times?{STRETCH}")
    row = next(tr for tr in page.soup.select("tbody tr") if numbers[-1] in tr.get_text())
    assert "Took unusually long: 300 % of what was expected." in row.get_text(" ")
    assert "17 min" in row.get_text(" ")
    assert "50 min" in row.get_text(" ")


def test_the_limits_are_those_of_the_moving_range_of_logarithms(db: Database, visit: Visit) -> None:
    taken = [900, 1100, 950, 1200, 1000, 1050, 980, 1010]
    closed_jobs(db, taken)
    # By hand: mean of the logarithms, and three times the mean change divided by d2 on both sides.
    shares = [log(seconds / 1000) for seconds in taken]
    mean = sum(shares) / 8
    half = 3 * sum(abs(b - a) for a, b in pairwise(shares)) / 7 / D2
    words = visit("supervisor").open(f"/review/times?{STRETCH}").words
    assert f"{100 * exp(mean - half):.0f} % to {100 * exp(mean + half):.0f} %" in words
    assert f"upper limit {100 * exp(mean + half):.0f} %" in words
    assert "No drift" in words
    assert "from so few jobs they are rough" in words


def test_a_slow_change_that_stays_is_told_though_no_single_job_stands_out(db: Database, visit: Visit) -> None:
    closed_jobs(db, [950, 1050] * 10 + [1080, 1190] * 10)
    words = visit("supervisor").open(f"/review/times?{STRETCH}").words
    assert "No job lies beyond the limits." in words
    assert "limits from the first 20 jobs" in words
    assert "jobs take longer than they used to" in words


def test_a_device_model_is_looked_at_by_itself(db: Database, visit: Visit) -> None:
    closed_jobs(db, [1000, 1010] * 5)
    other = closed_jobs(db, [2000, 2100] * 5, code="scanner")
    page = visit("supervisor").open("/review/times")
    chosen = next(str(o["value"]) for o in page.soup.select("select[name=model] option") if o.get_text() == "Scanner")
    words = visit("supervisor").open(f"/review/times?{STRETCH}&model={chosen}").words
    assert "The figures (10 jobs)" in words
    assert other[0] in words
    assert "205 %" in words


def test_too_few_jobs_and_jobs_without_an_expected_time_make_no_chart(db: Database, visit: Visit) -> None:
    closed_jobs(db, [1000] * (LEAST - 1))
    with db.write() as session:
        model = publish(session, code="scanner", name="Scanner")
        for n in range(5):
            a_job(session, model, serial=f"X{n}", booked_at=MARCH, closed_at=MARCH + timedelta(days=1), bench_s=500)
    page = visit("supervisor").open(f"/review/times?{STRETCH}")
    assert "Too few closed jobs" in page.words
    assert page.soup.find("svg", class_="times") is None


def test_jobs_that_all_took_the_same_have_limits_without_width(db: Database, visit: Visit) -> None:
    closed_jobs(db, [1050] * 12)
    words = visit("supervisor").open(f"/review/times?{STRETCH}").words
    assert "105 % to 105 %" in words
    assert "No job lies beyond the limits." in words


def test_days_that_run_backward_are_refused_in_words(db: Database, visit: Visit) -> None:
    page = visit("supervisor").open("/review/times?first=2026-06-30&last=2026-03-01")
    assert page.status == 422
    assert "Swap them" in page.words


@pytest.mark.parametrize("who", ["technician", "stores"])
def test_times_are_a_supervisors(db: Database, visit: Visit, who: str) -> None:
    assert visit(who).open("/review/times").status == 403
