"""The stock ledger under any order of actions: conserved, never below zero, projections equal to facts.

A plain model of one part (dictionaries, no database) is moved along with the real one; they must agree.
"""

from collections.abc import Mapping
from datetime import date, timedelta
from itertools import count
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from app.platform.db import Database
from app.platform.errors import Refused
from app.stores import actions, queries
from tests.stores.shop import AT, TODAY, stamp

SOURCES = ("job:J000001", "job:J000002", "job:J000003")
PLACES = ("B-01", "C-01")
_numbers = count(1)
quantities = st.integers(min_value=1, max_value=6)
sources = st.sampled_from(SOURCES)
picks = st.integers(min_value=0, max_value=50)


class StockLedger(RuleBasedStateMachine):
    """Receive, reserve, release, pick, hand out, take back, set aside, scrap, transfer, adjust, and days that pass."""

    db: Database
    place_ids: Mapping[str, int]

    def __init__(self) -> None:
        super().__init__()
        self.number = f"PROP-{next(_numbers)}"
        self.today = TODAY
        self.shelf: dict[tuple[int, int], int] = {}
        self.expiry: dict[int, date | None] = {}
        self.promised: dict[str, int] = {}
        self.newest: list[str] = []
        self.used: dict[tuple[str, int], int] = {}
        self.aside: set[int] = set()
        self.held: dict[tuple[str, int, int], int] = {}
        self.gone = 0
        row = {"number": self.number, "name": "Any", "location": "B-01", "supplier": "KLP", "price": "1"}
        with self.db.write() as session:
            assert not actions.import_catalogue(session, [], [], [row], **stamp()).errors

    # What the model says.

    def usable(self) -> int:
        """What is on hand in lots neither expired nor set aside."""
        return sum(n for (lot, _place), n in self.shelf.items() if self.fresh(lot))

    def fresh(self, lot: int) -> bool:
        """Whether a lot may still be used."""
        last = self.expiry[lot]
        return lot not in self.aside and (last is None or last >= self.today)

    def held_there(self, lot: int, place: int, but_for: str = "") -> int:
        """What pickers hold of a lot at a place."""
        return sum(n for (who, *spot), n in self.held.items() if spot == [lot, place] and who != but_for)

    def end_claims(self, source: str, spots: set[tuple[int, int]]) -> None:
        """What a source was handed is no longer in a picker's hands."""
        self.held = {k: n for k, n in self.held.items() if k[0] != source or (k[1], k[2]) not in spots}

    def free(self) -> int:
        """What may still be promised."""
        return max(0, self.usable() - sum(self.promised.values()))

    def spot(self, pick: int) -> tuple[int, int]:
        """Any lot and place with something on it."""
        full = sorted(key for key, n in self.shelf.items() if n)
        return full[pick % len(full)]

    def fall(self) -> dict[str, int]:
        """Let the newest promises fall that the usable stock no longer keeps."""
        missing = sum(self.promised.values()) - self.usable()
        fallen: dict[str, int] = {}
        for source in reversed(self.newest):
            share = min(missing, self.promised.get(source, 0))
            if share > 0:
                fallen[source] = share
                self.promised[source] -= share
                missing -= share
        return fallen

    def take(self, key: tuple[int, int], quantity: int) -> None:
        self.shelf[key] -= quantity

    # What may happen.

    @rule(quantity=quantities, days=st.none() | st.integers(min_value=0, max_value=6))
    def receive(self, quantity: int, days: int | None) -> None:
        last = None if days is None else self.today + timedelta(days=days)
        with self.db.write() as session:
            lot = actions.receive_loose(
                session, self.number, "", last, quantity, None, None, "Any", **stamp(), today=self.today
            )
        self.expiry[lot] = last
        self.shelf[lot, self.place_ids["B-01"]] = quantity

    @rule()
    def a_day_passes(self) -> None:
        self.today += timedelta(days=1)

    @rule(source=sources, quantity=quantities)
    def reserve(self, source: str, quantity: int) -> None:
        expected = min(quantity, self.free())
        with self.db.write() as session:
            got = actions.reserve(session, source, {self.number: quantity}, **stamp(), today=self.today)
        assert got == {self.number: expected}
        if expected:
            self.promised[source] = self.promised.get(source, 0) + expected
            self.newest = [s for s in self.newest if s != source] + [source]

    @rule(source=sources, quantity=st.none() | quantities)
    def release(self, source: str, quantity: int | None) -> None:
        with self.db.write() as session:
            named = None if quantity is None else {self.number: quantity}
            actions.release(session, source, named, **stamp())
        if quantity is None:
            self.held = {key: n for key, n in self.held.items() if key[0] != source}
        held = self.promised.get(source, 0)
        self.promised[source] = held - (held if quantity is None else min(held, quantity))

    @precondition(lambda self: any(self.shelf.values()))
    @rule(source=sources, quantity=quantities, pick=picks)
    def hand_out(self, source: str, quantity: int, pick: int) -> None:
        lot, place = self.spot(pick)
        own = self.promised.get(source, 0)
        others = sum(self.promised.values()) - own
        allowed = (
            self.fresh(lot)
            and quantity <= self.shelf[lot, place] - max(self.held_there(lot, place, source), 0)
            and quantity <= min(self.usable(), max(own, self.usable() - others))
        )
        chosen = [actions.Pick(self.number, lot, place, quantity)]
        if not allowed:
            with pytest.raises(Refused), self.db.write() as session:
                actions.hand_out(session, source, chosen, **stamp(), today=self.today)
            return
        with self.db.write() as session:
            actions.hand_out(session, source, chosen, **stamp(), today=self.today)
        self.take((lot, place), quantity)
        self.end_claims(source, {(lot, place)})
        self.promised[source] = own - min(own, quantity)
        self.used[source, lot] = self.used.get((source, lot), 0) + quantity

    @precondition(lambda self: bool(self.promised))
    @rule(source=sources)
    def hand_out_as_proposed(self, source: str) -> None:
        with self.db.write() as session:
            proposed = queries.propose_picks(session, queries.reserved_for(session, source), self.today)
            proposed = tuple(p for p in proposed if p.part_number == self.number)
            if not proposed:
                return
            order = [self.expiry[p.lot_id] or date.max for p in sorted(proposed, key=lambda p: p.walk_order)]
            assert order == sorted(order) or len({p.location_id for p in proposed}) > 1
            assert all(self.fresh(p.lot_id) for p in proposed)
            actions.hand_out(session, source, proposed, **stamp(), today=self.today)
        for p in proposed:
            self.take((p.lot_id, p.location_id), p.quantity)
            self.used[source, p.lot_id] = self.used.get((source, p.lot_id), 0) + p.quantity
        self.promised[source] -= sum(p.quantity for p in proposed)
        self.end_claims(source, {(p.lot_id, p.location_id) for p in proposed})

    @precondition(lambda self: bool(self.used))
    @rule(quantity=quantities, pick=picks)
    def take_back(self, quantity: int, pick: int) -> None:
        source, lot = sorted(self.used)[pick % len(self.used)]
        if quantity > self.used[source, lot]:
            with pytest.raises(Refused), self.db.write() as session:
                actions.take_back(session, source, [(lot, quantity)], **stamp())
            return
        with self.db.write() as session:
            actions.take_back(session, source, [(lot, quantity)], **stamp())
        self.used[source, lot] -= quantity
        key = (lot, self.place_ids["B-01"])
        self.shelf[key] = self.shelf.get(key, 0) + quantity

    @precondition(lambda self: any(self.shelf.values()))
    @rule(quantity=quantities, pick=picks)
    def scrap(self, quantity: int, pick: int) -> None:
        key = self.spot(pick)
        if quantity > self.shelf[key]:
            with pytest.raises(Refused), self.db.write() as session:
                actions.scrap_stock(session, *key, quantity, "Any", **stamp(), today=self.today)
            return
        with self.db.write() as session:
            fallen = actions.scrap_stock(session, *key, quantity, "Any", **stamp(), today=self.today)
        self.take(key, quantity)
        self.gone += quantity
        assert {f.source_ref: f.quantity for f in fallen} == self.fall()

    @precondition(lambda self: any(self.shelf.values()))
    @rule(quantity=quantities, pick=picks, to=st.sampled_from(PLACES))
    def transfer(self, quantity: int, pick: int, to: str) -> None:
        lot, place = self.spot(pick)
        target = self.place_ids[to]
        if target == place or quantity > self.shelf[lot, place]:
            with pytest.raises(Refused), self.db.write() as session:
                actions.transfer(session, lot, place, to, quantity, **stamp())
            return
        with self.db.write() as session:
            actions.transfer(session, lot, place, to, quantity, **stamp())
        self.take((lot, place), quantity)
        self.shelf[lot, target] = self.shelf.get((lot, target), 0) + quantity

    @precondition(lambda self: any(self.shelf.values()))
    @rule(counted=st.integers(min_value=0, max_value=8), pick=picks)
    def adjust(self, counted: int, pick: int) -> None:
        key = self.spot(pick)
        difference = counted - self.shelf[key]
        if difference == 0:
            return
        with self.db.write() as session:
            fallen = actions.adjust(session, *key, difference, "Counted", **stamp(), today=self.today)
        self.shelf[key] = counted
        self.gone -= difference
        assert {f.source_ref: f.quantity for f in fallen} == (self.fall() if difference < 0 else {})

    @precondition(lambda self: any(self.shelf.values()))
    @rule(source=sources, quantity=quantities, pick=picks)
    def claim(self, source: str, quantity: int, pick: int) -> None:
        """A picker takes pieces into their hands: the book does not move, and nobody else is handed them."""
        lot, place = self.spot(pick)
        mine = sum(n for (who, *_spot), n in self.held.items() if who == source)
        own = self.promised.get(source, 0)
        hands = {who: sum(n for (w, *_s), n in self.held.items() if w == who) for who in SOURCES}
        others = sum(max(self.promised.get(who, 0), hands[who]) for who in SOURCES if who != source)
        allowed = (
            self.fresh(lot)
            and quantity <= self.shelf[lot, place] - self.held_there(lot, place)
            and mine + quantity <= min(self.usable(), max(own, self.usable() - others))
        )
        chosen = actions.Pick(self.number, lot, place, quantity)
        more: dict[str, Any] = {"scanned": False, "at": AT, "who": None, "today": self.today}
        if not allowed:
            with pytest.raises(Refused), self.db.write() as session:
                actions.claim_pick(session, source, chosen, 999, **more)
            return
        with self.db.write() as session:
            actions.claim_pick(session, source, chosen, 999, **more)
        self.held[source, lot, place] = self.held.get((source, lot, place), 0) + quantity

    @precondition(lambda self: bool(self.held))
    @rule(pick=picks)
    def put_back(self, pick: int) -> None:
        source, lot, place = sorted(self.held)[pick % len(self.held)]
        with self.db.write() as session:
            mine = queries.picks_in_hand(session, source)
            claim = next(p.id for p in mine if (p.lot_id, p.location_id) == (lot, place))
            actions.put_back_pick(session, source, claim, at=AT, who=None)
        del self.held[source, lot, place]

    @precondition(lambda self: any(self.shelf.values()))
    @rule(pick=picks)
    def set_aside_or_release(self, pick: int) -> None:
        """A lot is set aside wherever it lies, and released again; nothing moves."""
        lot, _place = self.spot(pick)
        act = actions.release_lot if lot in self.aside else actions.quarantine_lot
        with self.db.write() as session:
            act(session, lot, "Any", at=AT, who=None)
        self.aside ^= {lot}

    @precondition(lambda self: any(self.shelf.values()))
    @rule(pick=picks)
    def hand_out_too_much(self, pick: int) -> None:
        lot, place = self.spot(pick)
        too_many = [actions.Pick(self.number, lot, place, self.shelf[lot, place] + 1)]
        with pytest.raises(Refused), self.db.write() as session:
            actions.hand_out(session, SOURCES[0], too_many, **stamp(), today=self.today)

    # What must always hold.

    @invariant()
    def the_book_says_what_the_model_says(self) -> None:
        with self.db.read() as session:
            shown = queries.shelf(session, [self.number], self.today)[self.number]
            lots = {(r.lot_id, r.location_id): r.on_hand for r in queries.lots_of(session, [self.number])}
            moved = sum(m.quantity for m in queries.movement_page(session, part_number=self.number, limit=9999))
            held = {s: queries.reserved_for(session, s).get(self.number, 0) for s in SOURCES}
        assert lots == {key: n for key, n in self.shelf.items() if n}
        assert shown.on_hand == sum(self.shelf.values()) == moved
        assert held == {s: self.promised.get(s, 0) for s in SOURCES}
        assert (shown.usable, shown.reserved) == (self.usable(), sum(self.promised.values()))
        assert shown.available == self.free() >= 0
        assert shown.reserved <= shown.on_hand
        with self.db.read() as session:
            hands = {
                (source, p.lot_id, p.location_id): p.quantity
                for source in SOURCES
                for p in queries.picks_in_hand(session, source)
                if p.part_number == self.number
            }
        assert hands == self.held

    def teardown(self) -> None:
        with self.db.read() as session:
            assert queries.stock_faults(session) == []


def test_stock_is_conserved_in_any_order_of_actions(shop: Database, request: pytest.FixtureRequest) -> None:
    long = bool(request.config.getoption("--long"))
    with shop.read() as session:
        ids = {place.code: place.id for place in queries.locations(session)}

    class Ledger(StockLedger):
        db = shop
        place_ids = ids

    run_state_machine_as_test(
        Ledger,
        settings=settings(
            max_examples=300 if long else 12,
            stateful_step_count=60 if long else 25,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            phases=(Phase.explicit, Phase.generate, Phase.shrink),
            database=None,
            print_blob=False,
        ),
    )
