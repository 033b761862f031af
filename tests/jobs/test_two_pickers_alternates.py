"""Two clerks take alternates at one shelf, on both databases: nothing is promised twice, nothing waits for ever."""

from collections.abc import Callable

from app.jobs.actions.take_alternate import take_alternate
from app.jobs.queries.faults import bench_faults
from app.platform.clock import uuid7
from app.platform.db import Database
from app.platform.errors import Refused
from app.stores import actions as stores
from app.stores import queries as stock
from tests.jobs.bench_shop import CLERK, START
from tests.jobs.test_alternates import OTHER, WANTED, approve, planned, short_of_a_speaker
from tests.stores.test_two_pickers import together


def taking(db: Database, number: str, wanted: str = WANTED, other: str = OTHER) -> Callable[[], bool]:
    """Return the work of taking one alternate for a job; it says whether it got it."""

    def act() -> bool:
        try:
            with db.write() as session:
                take_alternate(
                    session, number, wanted, other, 1, "Speaker late", at=START, who=CLERK, event_id=uuid7(),
                    today=START.date(),
                )  # fmt: skip
        except Refused:
            return False
        return True

    return act


def sound(db: Database) -> None:
    """The project's own checks find no fault."""
    with db.read() as session:
        assert bench_faults(session) == []
        assert stock.stock_faults(session) == []


def test_the_last_alternates_go_to_as_many_jobs_as_there_are_pieces(db: Database) -> None:
    with db.write() as session:
        shop = short_of_a_speaker(session)
        approve(session, WANTED, OTHER)
        numbers = [planned(shop) for _n in range(5)]
    assert sorted(together(*(taking(db, number) for number in numbers))) == [False, False, True, True, True]
    with db.read() as session:
        shown = stock.shelf(session, [OTHER], START.date())[OTHER]
        assert (shown.on_hand, shown.reserved, shown.available) == (3, 3, 0)
    sound(db)


def test_substitution_and_reservation_in_opposite_orders_do_not_wait_for_each_other(db: Database) -> None:
    with db.write() as session:
        shop = short_of_a_speaker(session)
        approve(session, WANTED, OTHER, both_ways=True)
        numbers = [planned(shop) for _n in range(2)]

    def reserving() -> bool:
        for n in range(6):
            with db.write() as session:
                order = (WANTED, OTHER) if n % 2 else (OTHER, WANTED)
                stores.reserve(session, f"job:X{n}", dict.fromkeys(order, 1), entry_id=uuid7(), at=START, who=CLERK)
            with db.write() as session:
                stores.release(session, f"job:X{n}", None, entry_id=uuid7(), at=START, who=CLERK)
        return True

    together(reserving, *(taking(db, number) for number in numbers), reserving)
    sound(db)
