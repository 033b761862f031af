"""A part that no job has taken yet: its first suggestion rests on the procedures that use it and the devices known."""

from collections.abc import Callable
from datetime import timedelta

from sqlmodel import Session, select

from app.jobs.actions.supposing import suppose_use
from app.platform import clock
from app.platform.db import Database
from app.stores import actions as stores
from app.stores.models import Part, SupposedUse
from tests.jobs.bench_shop import BenchShop, set_up
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def three_jobs(session: Session) -> None:
    """Plan three jobs on two devices, two of them for the cell and one for the speaker; nothing is fitted yet."""
    shop = BenchShop(session, set_up(session))
    shop.now = clock.now() - timedelta(days=30)
    for serial, target in (("FR-1", "cell"), ("FR-2", "speaker"), ("FR-1", "cell")):
        number = shop.book(serial)
        shop.safe(number)
        shop.plan(number, [target])


def test_procedures_and_known_devices_make_the_prior_and_the_page_says_so(db: Database, visit: Visit) -> None:
    at = clock.now()
    with db.write() as session:
        three_jobs(session)
        assert suppose_use(session, at.date(), at=at) > 0
        rows = {
            number: (str(row.uses_per_job), row.devices)
            for row, number in session.exec(
                select(SupposedUse, Part.number).join(Part, Part.id == SupposedUse.part_id)  # type: ignore[arg-type]
            ).all()
        }
        # The seal goes in at every job; two strips for each cell are four in three jobs; the bond for the speaker.
        assert rows["F-310"] == ("1.0000", 2)
        assert rows["F-320"] == ("1.3333", 2)
        assert rows["F-340"] == ("0.6667", 2)
        assert suppose_use(session, at.date(), at=at) == 0
        stores.renew_suggestions(session, at.date(), at=at)
    clerk = visit("stores")
    page = clerk.open("/stores/reorder/F-320")
    assert "Supposed from procedures: Field recorder, exchange of units takes 4 in the 3 jobs planned" in page.words
    assert "(from procedures and the devices in the field)" in page.words
    form = page.form("/stores/reorder/F-320/settings")
    assert form.values["uses_per_job"] == [""]
    done = form.submit(uses_per_job="2", jobs_per_device_year="6", devices="10")
    assert "(set by hand)" in done.words
    assert "What is set here goes before it." in done.words


def test_a_part_no_procedure_uses_any_more_is_supposed_nothing_of(db: Database) -> None:
    at = clock.now()
    with db.write() as session:
        three_jobs(session)
        suppose_use(session, at.date(), at=at)
        later = at + timedelta(days=500)
        assert suppose_use(session, later.date(), at=later) > 0
        assert session.exec(select(SupposedUse)).all() == []
