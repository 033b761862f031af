"""Open life: a lot is opened when it is first used, and may be used until the earlier of the two days."""

from collections.abc import Callable
from datetime import date, timedelta

import pytest

from app.platform.db import Database
from app.platform.errors import Refused
from app.rules.stores.open_life import last_day
from app.stores import actions, queries
from tests.stores.shop import SOON, TODAY, faults, kit, receive, stamp
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


@pytest.mark.parametrize(
    ("printed", "life", "expected"),
    [
        (SOON, 30, TODAY + timedelta(30)),
        (TODAY + timedelta(5), 30, TODAY + timedelta(5)),
        (None, 30, TODAY + timedelta(30)),
        (SOON, None, SOON),
        (None, None, None),
    ],
)
def test_the_earlier_day_counts(printed: date | None, life: int | None, expected: date | None) -> None:
    assert last_day(printed, TODAY, life) == expected


def test_the_first_hand_out_opens_a_lot_and_it_is_blocked_when_its_open_life_ends(shop: Database) -> None:
    with shop.write() as session:
        lot = receive(session, "SEAL-1", 20, "S1")
        actions.save_keeping(session, "SEAL-1", 30, "5 to 25 °C")
        kit(session, "job:J000001", {"SEAL-1": 1})
    with shop.read() as session:
        opened = queries.openings(session, "SEAL-1")[lot]
        assert (opened.opened_on, opened.printed) == (TODAY, SOON)
        assert queries.lots_of(session, ["SEAL-1"])[0].expires_on == TODAY + timedelta(30)
        # Warned ahead on the morning page, blocked once it is over.
        assert [row.code for row in queries.expiring_lots(session, TODAY + timedelta(1))] == ["S1"]
        assert queries.propose_picks(session, {"SEAL-1": 1}, TODAY + timedelta(31)) == ()
        place = queries.lots_of(session, ["SEAL-1"])[0].location_id
    late = TODAY + timedelta(31)
    chosen = [actions.Pick("SEAL-1", lot, place, 1)]
    with pytest.raises(Refused, match="0 usable on the shelf"), shop.write() as session:
        actions.hand_out(session, "job:J000002", chosen, **stamp(), today=late)
    assert faults(shop) == []


def test_an_open_lot_is_used_before_a_closed_one(shop: Database) -> None:
    with shop.write() as session:
        actions.save_keeping(session, "SEAL-1", 30, "")
        receive(session, "SEAL-1", 20, "FIRST", expires=SOON)
        later = receive(session, "SEAL-1", 20, "LATER", expires=SOON + timedelta(30))
        actions.open_lot(session, later, at=stamp()["at"], who=None, today=TODAY)
    with shop.read() as session:
        assert [p.lot_code for p in queries.propose_picks(session, {"SEAL-1": 3}, TODAY)] == ["LATER"]


def test_the_clerk_sets_it_and_opens_a_lot_on_its_page(shop: Database, visit: Visit) -> None:
    with shop.write() as session:
        receive(session, "SEAL-1", 20, "S1", expires=date(2099, 1, 1))
    clerk = visit("stores")
    page = clerk.open("/parts/SEAL-1/keeping").form("/keeping").submit(open_life_days="14", storage="Dry, flat")
    done = page.form("/open").submit()
    assert done.status == 200
    assert "Closed" not in done.words
    assert "Dry, flat" in done.text
    bad = done.form("/keeping").submit(open_life_days="0")
    assert bad.status == 422
